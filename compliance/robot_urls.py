"""Robot pages that show what the checks say."""

from __future__ import annotations

from django.urls import URLPattern, path

from compliance.views import robots

urlpatterns: list[URLPattern] = [
    path("robots/", robots.RobotList.as_view(), name="robot-list"),
    path("robots/<int:pk>/", robots.RobotDetail.as_view(), name="robot-detail"),
    path("builds/<int:pk>/", robots.BuildDetail.as_view(), name="build-detail"),
    path("circuits/<int:pk>/", robots.CircuitDetail.as_view(), name="circuit-detail"),
]
