"""API of robots and events."""

from __future__ import annotations

from django.urls import URLPattern, URLResolver, include, path
from rest_framework.routers import SimpleRouter

from builds.api.duties import DutyProfileViewSet
from builds.api.events import EventViewSet, MatchViewSet
from builds.api.labels import LabelsApi
from builds.api.match_studies import MatchStudyViewSet
from builds.api.outings import ChargeViewSet, OutingViewSet
from builds.api.robots import (
    BuildLineViewSet,
    BuildViewSet,
    CircuitViewSet,
    RobotViewSet,
    SeasonViewSet,
)
from builds.api.scan import ScanApi

router = SimpleRouter()
router.register("seasons", SeasonViewSet, basename="api-season")
router.register("robots", RobotViewSet, basename="api-robot")
router.register("builds", BuildViewSet, basename="api-build")
router.register("build-lines", BuildLineViewSet, basename="api-buildline")
router.register("circuits", CircuitViewSet, basename="api-circuit")
router.register("duty-profiles", DutyProfileViewSet, basename="api-dutyprofile")
router.register("events", EventViewSet, basename="api-event")
router.register("matches", MatchViewSet, basename="api-match")
router.register("match-studies", MatchStudyViewSet, basename="api-matchstudy")
router.register("outings", OutingViewSet, basename="api-outing")
router.register("charges", ChargeViewSet, basename="api-charge")
urlpatterns: list[URLPattern | URLResolver] = [
    path("scan/", ScanApi.as_view(), name="api-scan"),
    path("labels/", LabelsApi.as_view(), name="api-labels"),
    path("", include(router.urls)),
]
