"""API of seasons, robots, builds, their further parts, and circuits."""

from __future__ import annotations

from typing import Any

from drf_spectacular.utils import extend_schema
from rest_framework.decorators import action
from rest_framework.request import Request
from rest_framework.response import Response

from builds.api.filters import BuildFilter, BuildLineFilter, CircuitFilter, RobotFilter
from builds.api.serializers import (
    BillSerializer,
    BuildCopySerializer,
    BuildLineSerializer,
    BuildSerializer,
    CircuitSerializer,
    RobotSerializer,
    SeasonSerializer,
)
from builds.api.studies import StudyActions
from builds.models import Build, BuildLine, Circuit, Robot, Season
from builds.selectors.stores import build_bill
from builds.services.builds import build_copy, build_make_current
from builds.services.circuits import circuit_delete, circuit_save
from inventory.api.catalogue import Archivable
from shared.access import Can, Scope
from shared.api import TeamViewSet
from shared.records import record_delete

WITH_DELETE = [*TeamViewSet.http_method_names, "delete"]


class SeasonViewSet(TeamViewSet):
    queryset = Season.objects.order_by("-starts_on", "pk")
    serializer_class = SeasonSerializer
    filterset_fields = ("name",)
    need = write = Can.SUPPLY


class RobotViewSet(Archivable):
    queryset = Robot.objects.order_by("code")
    serializer_class = RobotSerializer
    filterset_class = RobotFilter


class BuildViewSet(StudyActions, TeamViewSet):
    """Builds; which one is current changes by ``make-current`` alone, so that there is one at most."""

    queryset = Build.objects.order_by("robot__code", "-dated", "pk")
    serializer_class = BuildSerializer
    filterset_class = BuildFilter

    @extend_schema(
        request=BuildCopySerializer,
        responses={201: BuildSerializer},
        summary="Start a new draft from this build, with its circuits and further parts",
    )
    @action(detail=True, methods=["post"])
    def copy(self, request: Request, team: str, pk: str) -> Response:
        build = self.get_object()  # first: a row of another team is not found, whatever was sent
        asked = BuildCopySerializer(data=request.data)
        asked.is_valid(raise_exception=True)
        made = build_copy(scope=self.scope, build=build, **asked.validated_data)
        return Response(BuildSerializer(made).data, status=201)

    @extend_schema(request=None, responses=BuildSerializer, summary="Make this the build its robot runs with")
    @action(detail=True, methods=["post"], url_path="make-current")
    def make_current(self, request: Request, team: str, pk: str) -> Response:
        made = build_make_current(scope=self.scope, build=self.get_object())
        return Response(BuildSerializer(made).data)

    @extend_schema(responses=BillSerializer, summary="The bill of materials, with what the stores hold of it")
    @action(detail=True, methods=["get"])
    def bill(self, request: Request, team: str, pk: str) -> Response:
        return Response(BillSerializer(build_bill(self.scope, self.get_object())).data)


class BuildLineViewSet(TeamViewSet):
    """Parts a build needs besides what its circuits imply."""

    http_method_names = WITH_DELETE
    queryset = BuildLine.objects.order_by("build_id", "pk")
    serializer_class = BuildLineSerializer
    filterset_class = BuildLineFilter

    def perform_destroy(self, instance: Any) -> None:
        record_delete(scope=self.scope, instance=instance)


def save_circuit(*, scope: Scope, instance: Circuit, need: Can) -> Circuit:
    scope.require(need)
    return circuit_save(scope=scope, circuit=instance)


class CircuitViewSet(TeamViewSet):
    """Circuits; one that feeds others is not deleted, and none is fed in a ring."""

    http_method_names = WITH_DELETE
    queryset = Circuit.objects.order_by("build_id", "code")
    serializer_class = CircuitSerializer
    filterset_class = CircuitFilter
    save = staticmethod(save_circuit)

    def perform_destroy(self, instance: Any) -> None:
        circuit_delete(scope=self.scope, circuit=instance)
