"""API of batteries: themselves, readings, charges, capacity tests."""

from __future__ import annotations

from typing import Any

from drf_spectacular.utils import extend_schema
from rest_framework.decorators import action
from rest_framework.request import Request
from rest_framework.response import Response

from inventory.api.catalogue import Archivable
from inventory.api.serializers import (
    BatterySerializer,
    BatteryStateSerializer,
    CapacityTestSerializer,
    ChargeEndSerializer,
    ChargerSerializer,
    ChargeSerializer,
    IncidentCloseSerializer,
    IncidentInSerializer,
    IncidentSerializer,
    IntakeDoneSerializer,
    IntakeSerializer,
    ReadingSerializer,
)
from inventory.models import Battery, BatteryIncident, CapacityTest, Charge, Charger, Reading
from inventory.services.batteries import (
    battery_set_state,
    capacity_test_log,
    charge_end,
    reading_log,
)
from inventory.services.chargers import charger_save
from inventory.services.incidents import incident_close, incident_log
from inventory.services.intake import battery_intake
from shared.access import Can, Scope
from shared.api import TeamReadViewSet, TeamViewSet


class BatteryViewSet(Archivable):
    queryset = Battery.objects.order_by("code")
    serializer_class = BatterySerializer
    filterset_fields = ("code", "state", "model", "archived")

    @extend_schema(
        request=IntakeSerializer, responses={201: IntakeDoneSerializer}, summary="A battery joins the team"
    )
    @action(detail=False, methods=["post"])
    def intake(self, request: Request, team: str) -> Response:
        """With its first reading and its first charge, all or nothing; the same one sent twice is one."""
        asked = IntakeSerializer(data=request.data, context=self.get_serializer_context())
        asked.is_valid(raise_exception=True)
        first = asked.first_reading()
        charger = asked.validated_data.pop("charger_name", None)
        made = battery_intake(
            scope=self.scope,
            battery=Battery(team=self.scope.team, **asked.validated_data),
            first=first,
            charger=charger,
        )
        return Response(IntakeDoneSerializer(made).data, status=201)

    @extend_schema(request=BatteryStateSerializer, responses=BatterySerializer, summary="May it go out?")
    @action(detail=True, methods=["post"], url_path="state", url_name="state")
    def set_state(self, request: Request, team: str, pk: str) -> Response:
        battery = self.get_object()
        asked = BatteryStateSerializer(data=request.data)
        asked.is_valid(raise_exception=True)
        row = battery_set_state(scope=self.scope, battery=battery, **asked.validated_data)
        return Response(BatterySerializer(row).data)

    @extend_schema(
        request=IncidentInSerializer, responses=IncidentSerializer, summary="Something happened to it"
    )
    @action(detail=True, methods=["post"], url_path="incidents", url_name="incidents")
    def log_incident(self, request: Request, team: str, pk: str) -> Response:
        """Grave ones put it into quarantine and end its charge; nobody charges or uses it until it is looked at."""
        battery = self.get_object()
        asked = IncidentInSerializer(data=request.data)
        asked.is_valid(raise_exception=True)
        row = incident_log(scope=self.scope, battery=battery, **asked.validated_data)
        return Response(IncidentSerializer(row).data, status=201)

    @extend_schema(request=ChargeEndSerializer, responses=ChargeSerializer, summary="Off the charger")
    @action(detail=True, methods=["post"], url_path="charge-end", url_name="charge-end")
    def end_charge(self, request: Request, team: str, pk: str) -> Response:
        battery = self.get_object()
        asked = ChargeEndSerializer(data=request.data)
        asked.is_valid(raise_exception=True)
        row = charge_end(scope=self.scope, battery=battery, **asked.validated_data)
        return Response(ChargeSerializer(row).data)


class IncidentViewSet(TeamReadViewSet):
    """Incidents of batteries; one is entered at the battery's own address and closed here."""

    queryset = BatteryIncident.objects.order_by("-happened_at", "-pk")
    serializer_class = IncidentSerializer
    filterset_fields = {"battery": ["exact"], "kind": ["exact"], "looked_at": ["isnull"]}

    @extend_schema(
        request=IncidentCloseSerializer,
        responses=IncidentSerializer,
        summary="A qualified adult looked at it",
    )
    @action(detail=True, methods=["post"])
    def close(self, request: Request, team: str, pk: str) -> Response:
        incident = self.get_object()
        asked = IncidentCloseSerializer(data=request.data)
        asked.is_valid(raise_exception=True)
        row = incident_close(scope=self.scope, incident=incident, **asked.validated_data)
        return Response(IncidentSerializer(row).data)


def save_charger(*, scope: Scope, instance: Charger, need: Can) -> Charger:
    scope.require(need)
    return charger_save(scope=scope, charger=instance)


class ChargerViewSet(Archivable):
    queryset = Charger.objects.order_by("name")
    serializer_class = ChargerSerializer
    filterset_fields = ("name", "archived")
    save = staticmethod(save_charger)


class ReadingViewSet(TeamViewSet):
    """Readings; the same reading sent twice within a minute is one."""

    queryset = Reading.objects.order_by("-taken_at", "-pk")
    serializer_class = ReadingSerializer
    filterset_fields = {
        "battery": ["exact"],
        "method": ["exact"],
        "instrument": ["exact"],
        "taken_at": ["gte", "lt"],
    }

    def perform_create(self, serializer: Any) -> None:
        serializer.instance = reading_log(scope=self.scope, **serializer.validated_data)


class ChargeReadViewSet(TeamReadViewSet):
    """Charges as they are read; builds adds how one begins, since the battery may have been in a robot."""

    queryset = Charge.objects.select_related("charger").order_by("-started_at", "-pk")
    serializer_class = ChargeSerializer
    filterset_fields = {
        "battery": ["exact"],
        "charger": ["exact"],
        "purpose": ["exact"],
        "ended_at": ["isnull"],
    }


class CapacityTestViewSet(TeamViewSet):
    queryset = CapacityTest.objects.order_by("-tested_at", "-pk")
    serializer_class = CapacityTestSerializer
    filterset_fields = ("battery",)

    def perform_create(self, serializer: Any) -> None:
        serializer.instance = capacity_test_log(scope=self.scope, **serializer.validated_data)
