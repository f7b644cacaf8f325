"""Pages of an event before and after it: the rotation, its schedule, the review."""

from __future__ import annotations

from django.urls import URLPattern, path

from compliance.views import review, rotation, schedule

urlpatterns: list[URLPattern] = [
    path("events/<int:pk>/rotation/", rotation.RotationPage.as_view(), name="rotation"),
    path("events/<int:pk>/rotation/plan/", rotation.RotationPlanAnew.as_view(), name="rotation-plan"),
    path("events/<int:pk>/rotation/move/", rotation.RotationMove.as_view(), name="rotation-move"),
    path("events/<int:pk>/rotation/add/", rotation.RotationAdd.as_view(), name="rotation-add"),
    path("events/<int:pk>/rotation/played/", rotation.RotationPlayed.as_view(), name="rotation-played"),
    path("events/<int:pk>/rotation/pull/", rotation.RotationPull.as_view(), name="rotation-pull"),
    path("events/<int:pk>/rotation/back/", rotation.RotationBack.as_view(), name="rotation-back"),
    path("events/<int:pk>/rotation/cart/", rotation.RotationCart.as_view(), name="rotation-cart"),
    path("events/<int:pk>/rotation/sheet/", rotation.RotationSheet.as_view(), name="rotation-sheet"),
    path("events/<int:pk>/rotation/calendar/", rotation.RotationCalendar.as_view(), name="rotation-calendar"),
    path("events/<int:pk>/schedule/", schedule.SchedulePage.as_view(), name="schedule"),
    path("events/<int:pk>/schedule/out/", schedule.ScheduleOut.as_view(), name="schedule-out"),
    path("events/<int:pk>/review/", review.EventReviewPage.as_view(), name="review"),
]
