"""Pages of an event as it goes on: the pit and the charging board."""

from __future__ import annotations

from django.urls import URLPattern, path

from compliance.views import charging, pit, pit_acts

urlpatterns: list[URLPattern] = [
    path("charging/", charging.ChargingBoard.as_view(), name="charging-board"),
    path("charging/on/", charging.ChargingOn.as_view(), name="charging-on"),
    path("charging/off/", charging.ChargingOff.as_view(), name="charging-off"),
    path("charging/undo/", charging.ChargingUndo.as_view(), name="charging-undo"),
    path("pit/", pit.PitList.as_view(), name="pit-list"),
    path("pit/<int:pk>/", pit.PitPage.as_view(), name="pit"),
    path("pit/<int:pk>/swap/", pit_acts.PitSwap.as_view(), name="pit-swap"),
    path("pit/<int:pk>/out/", pit_acts.PitOut.as_view(), name="pit-out"),
    path("pit/<int:pk>/carrier/", pit_acts.PitCarrier.as_view(), name="pit-carrier"),
    path("pit/<int:pk>/pull/", pit_acts.PitPull.as_view(), name="pit-pull"),
    path("pit/<int:pk>/move/", pit_acts.PitMove.as_view(), name="pit-move"),
    path("pit/<int:pk>/add/", pit_acts.PitAdd.as_view(), name="pit-add"),
    path("pit/<int:pk>/off/", pit_acts.PitOff.as_view(), name="pit-off"),
    path("pit/<int:pk>/plan/", pit_acts.PitPlan.as_view(), name="pit-plan"),
]
