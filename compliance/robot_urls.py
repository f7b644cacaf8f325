"""Robot pages that show what the checks say."""

from __future__ import annotations

from django.urls import URLPattern, path

from compliance.views import answers, power, robots

urlpatterns: list[URLPattern] = [
    path("robots/", robots.RobotList.as_view(), name="robot-list"),
    path("robots/<int:pk>/", robots.RobotDetail.as_view(), name="robot-detail"),
    path("builds/<int:pk>/", robots.BuildDetail.as_view(), name="build-detail"),
    path("robots/<int:pk>/power/", power.RobotPower.as_view(), name="robot-power"),
    path("builds/<int:pk>/power/", power.BuildPower.as_view(), name="build-power"),
    path("builds/<int:pk>/power/simulate/", power.MatchAsk.as_view(), name="build-simulate"),
    path("builds/<int:pk>/fixes/", answers.BuildFixes.as_view(), name="build-fixes"),
    path("builds/<int:pk>/cart/", answers.BuildCart.as_view(), name="build-cart"),
    path("builds/<int:pk>/limits/", answers.BuildLimits.as_view(), name="build-limits"),
    path("builds/<int:pk>/compare/", answers.BuildCompare.as_view(), name="build-compare"),
    path("circuits/<int:pk>/", robots.CircuitDetail.as_view(), name="circuit-detail"),
]
