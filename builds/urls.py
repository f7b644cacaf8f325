"""Pages where seasons, robots, builds, circuits and events are entered; what is judged of them is in compliance."""

from __future__ import annotations

from django.urls import URLPattern, path

from builds.views import bill, charging, circuits, duties, event_forms, events, labels, outings, robots, scan

ROBOTS: list[URLPattern] = [
    path("seasons/new/", robots.SeasonPage.as_view(), name="season-new"),
    path("seasons/<int:pk>/edit/", robots.SeasonPage.as_view(), name="season-edit"),
    path("robots/new/", robots.RobotPage.as_view(), name="robot-new"),
    path("robots/<int:pk>/edit/", robots.RobotPage.as_view(), name="robot-edit"),
    path("robots/<int:pk>/archive/", robots.RobotArchive.as_view(), name="robot-archive"),
    path("robots/<int:pk>/builds/new/", robots.BuildNew.as_view(), name="build-new"),
    path("builds/<int:pk>/edit/", robots.BuildEdit.as_view(), name="build-edit"),
    path("builds/<int:pk>/copy/", robots.BuildCopy.as_view(), name="build-copy"),
    path("builds/<int:pk>/current/", robots.BuildCurrent.as_view(), name="build-current"),
]
CIRCUITS: list[URLPattern] = [
    path("builds/<int:pk>/circuits/new/", circuits.CircuitNew.as_view(), name="circuit-new"),
    path("circuits/<int:pk>/edit/", circuits.CircuitEdit.as_view(), name="circuit-edit"),
    path("circuits/<int:pk>/delete/", circuits.CircuitDelete.as_view(), name="circuit-delete"),
    path("builds/<int:pk>/bill/", bill.BillPage.as_view(), name="bill"),
    path("builds/<int:pk>/lines/new/", bill.LineNew.as_view(), name="line-new"),
    path("lines/<int:pk>/edit/", bill.LineEdit.as_view(), name="line-edit"),
    path("lines/<int:pk>/delete/", bill.LineDelete.as_view(), name="line-delete"),
]
DUTIES: list[URLPattern] = [
    path("duties/", duties.DutyList.as_view(), name="duty-list"),
    path("duties/new/", duties.DutyPage.as_view(), name="duty-new"),
    path("duties/<int:pk>/", duties.DutyDetail.as_view(), name="duty-detail"),
    path("duties/<int:pk>/edit/", duties.DutyPage.as_view(), name="duty-edit"),
    path("duties/<int:pk>/delete/", duties.DutyDelete.as_view(), name="duty-delete"),
]
OUTINGS: list[URLPattern] = [
    path("batteries/<int:pk>/charge/", charging.ChargeStart.as_view(), name="charge-start"),
    path("outings/new/", outings.OutingNew.as_view(), name="outing-new"),
    path("outings/<int:pk>/edit/", outings.OutingEdit.as_view(), name="outing-edit"),
    path("outings/<int:pk>/end/", outings.OutingEnd.as_view(), name="outing-end"),
]
EVENTS: list[URLPattern] = [
    path("events/", events.EventList.as_view(), name="event-list"),
    path("events/new/", event_forms.EventPage.as_view(), name="event-new"),
    path("events/<int:pk>/", events.EventDetail.as_view(), name="event-detail"),
    path("events/<int:pk>/edit/", event_forms.EventPage.as_view(), name="event-edit"),
    path("events/<int:pk>/matches/new/", event_forms.MatchNew.as_view(), name="match-new"),
    path("matches/<int:pk>/edit/", event_forms.MatchEdit.as_view(), name="match-edit"),
    path("events/<int:pk>/handling/", event_forms.HandlingPage.as_view(), name="handling-edit"),
]
LABELS: list[URLPattern] = [
    path("scan/", scan.ScanPage.as_view(), name="scan"),
    path("labels/", labels.LabelList.as_view(), name="label-list"),
    path("labels/pdf/", labels.LabelPdf.as_view(), name="label-pdf"),
]
urlpatterns: list[URLPattern] = [*ROBOTS, *CIRCUITS, *DUTIES, *EVENTS, *OUTINGS, *LABELS]
