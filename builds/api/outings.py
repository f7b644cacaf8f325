"""API of what batteries do: go into a robot and out again, and onto a charger wherever they were before."""

from __future__ import annotations

from typing import Any

from drf_spectacular.utils import extend_schema
from rest_framework import mixins
from rest_framework.decorators import action
from rest_framework.request import Request
from rest_framework.response import Response

from builds.api.filters import OutingFilter
from builds.api.outing_shapes import (
    OutingChangeSerializer,
    OutingEndOfSerializer,
    OutingEndSerializer,
    OutingSerializer,
    OutingStartSerializer,
)
from builds.models import Outing
from builds.services.charging import put_on_charger
from builds.services.outings import Whereabouts, outing_end, outing_end_of, outing_log, outing_start
from inventory.api.batteries import ChargeReadViewSet
from shared.api import TeamViewSet


class OutingViewSet(TeamViewSet):
    """Outings; the same one sent twice is one, and a battery out of service is refused unless it is said so.

    ``start/`` and ``end/`` enter a swap as it happens; a plain POST notes an outing that is over.
    """

    queryset = Outing.objects.order_by("-started_at", "-pk")
    serializer_class = OutingSerializer
    filterset_class = OutingFilter

    def get_serializer_class(self) -> Any:
        if self.action in ("update", "partial_update"):
            return OutingChangeSerializer
        return super().get_serializer_class()

    def perform_create(self, serializer: Any) -> None:
        serializer.instance = outing_log(scope=self.scope, **serializer.validated_data)

    @extend_schema(
        request=OutingStartSerializer, responses=OutingSerializer, summary="A battery goes into a robot"
    )
    @action(detail=False, methods=["post"])
    def start(self, request: Request, team: str) -> Response:
        """It comes off its charger, and the battery that was in the robot comes out."""
        asked = OutingStartSerializer(data=request.data, context=self.get_serializer_context())
        asked.is_valid(raise_exception=True)
        return self.told(outing_start(scope=self.scope, **asked.validated_data))

    @extend_schema(
        request=OutingEndSerializer, responses=OutingSerializer, summary="The battery of an outing is out"
    )
    @action(detail=True, methods=["post"], url_path="end", url_name="end")
    def end_one(self, request: Request, team: str, pk: str) -> Response:
        """Of one that is out already only what is missing is filled in."""
        outing = self.get_object()
        asked = OutingEndSerializer(data=request.data, context=self.get_serializer_context())
        asked.is_valid(raise_exception=True)
        return self.told(outing_end(scope=self.scope, outing=outing, **asked.validated_data))

    @extend_schema(
        request=OutingEndOfSerializer,
        responses=OutingSerializer,
        summary="The battery in a robot, or a battery wherever it is, is out",
        operation_id="v1_t_outings_end_of_create",
    )
    @action(detail=False, methods=["post"], url_path="end", url_name="end-of")
    def end_of(self, request: Request, team: str) -> Response:
        """Named by robot or battery; with ``ended_at`` in the past, the one that was in there then."""
        asked = OutingEndOfSerializer(data=request.data, context=self.get_serializer_context())
        asked.is_valid(raise_exception=True)
        given = dict(asked.validated_data)
        where = Whereabouts(given.pop("robot", None), given.pop("battery", None))
        return self.told(outing_end_of(scope=self.scope, where=where, **given))

    def told(self, outing: Outing) -> Response:
        return Response(OutingSerializer(outing, context=self.get_serializer_context()).data)


class ChargeViewSet(mixins.CreateModelMixin, ChargeReadViewSet):
    """Charges; a new one begins, and the battery's own address ends it.

    A battery noted as in a robot has come out. ``purpose`` left out is found out from what the battery did.
    """

    def perform_create(self, serializer: Any) -> None:
        serializer.instance = put_on_charger(scope=self.scope, **serializer.validated_data)
