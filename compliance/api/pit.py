"""API of what the pit logs: for the phone's outbox, and for whoever logs from elsewhere."""

from __future__ import annotations

from typing import Any

from django.contrib import messages
from django.db.models import QuerySet
from drf_spectacular.utils import extend_schema
from rest_framework import serializers
from rest_framework.authentication import SessionAuthentication
from rest_framework.request import Request
from rest_framework.response import Response

from builds.models import Event, Match, Robot
from compliance.pit_forms import MOST_MOVE_MIN
from compliance.selectors.charging import battery_by_code
from compliance.services.pit import battery_pull, match_move, swap
from inventory.models import BatteryIncident
from shared.api import TeamScoped
from shared.fields import QuantitySerializerField


class MatchHere(serializers.PrimaryKeyRelatedField[Match]):
    """A match of the event, by id."""

    def get_queryset(self) -> QuerySet[Match]:
        rows: QuerySet[Match] = self.context["scope"].rows(Match).filter(event=self.context["event"])
        return rows.select_related("robot", "event")


class RobotHere(serializers.PrimaryKeyRelatedField[Robot]):
    """A robot that goes to the event, by id."""

    def get_queryset(self) -> QuerySet[Robot]:
        rows: QuerySet[Robot] = self.context["scope"].rows(Robot).filter(events=self.context["event"])
        return rows


class PitSwapSerializer(serializers.Serializer[Any]):
    code = serializers.CharField(max_length=80, help_text="Of the battery that went in, as scanned or typed")
    match = MatchHere(queryset=Match.objects.all(), required=False)
    robot = RobotHere(queryset=Robot.objects.all(), required=False, help_text="For practice, without a match")
    start_rest_v = QuantitySerializerField(unit="v", required=False, help_text="Of what went in, at rest")
    out_end_rest_v = QuantitySerializerField(unit="v", required=False, help_text="Of what came out, at rest")
    out_lowest_v = QuantitySerializerField(unit="v", required=False, help_text="Of what came out, in use")
    started_at = serializers.DateTimeField(required=False, help_text="When it went in; else now")
    although_unfit = serializers.BooleanField(
        required=False, default=False, help_text="It went in although it is not fit or not charged"
    )


class PitPullSerializer(serializers.Serializer[Any]):
    code = serializers.CharField(max_length=80, help_text="Of the battery, as scanned or typed")
    kind = serializers.ChoiceField(choices=BatteryIncident.Kind.choices)
    note = serializers.CharField(max_length=200, required=False, allow_blank=True)
    happened_at = serializers.DateTimeField(required=False, help_text="Else now")


class MatchMoveSerializer(serializers.Serializer[Any]):
    match = MatchHere(queryset=Match.objects.all())
    minutes = serializers.IntegerField(min_value=-MOST_MOVE_MIN, max_value=MOST_MOVE_MIN)
    later = serializers.BooleanField(required=False, default=False, help_text="And all later ones of the day")
    seen = serializers.DateTimeField(
        required=False, help_text="When the schedule was read: a match that moved since does not move twice"
    )


class PitSaidSerializer(serializers.Serializer[Any]):
    """What happened and what it changed in the plan, in sentences."""

    said = serializers.CharField()
    cautions = serializers.ListField(child=serializers.CharField())
    changes = serializers.ListField(child=serializers.CharField())


class PitEntry(TeamScoped):
    """One entry of an event's pit; sent again with the same Idempotency-Key it is the same entry."""

    subject_model = Event
    asked: type[serializers.Serializer[Any]]

    def entry(self, request: Request, pk: int) -> tuple[Event, dict[str, Any]]:
        event = self.scope.get(Event, pk=pk)
        asked = self.asked(data=request.data, context={"scope": self.scope, "event": event})
        asked.is_valid(raise_exception=True)
        return event, asked.validated_data

    def told(self, said: str, cautions: tuple[str, ...] = (), changes: tuple[str, ...] = ()) -> Response:
        """The answer; somebody with a session reads the same on the next page."""
        if isinstance(self.request.successful_authenticator, SessionAuthentication):
            for sentence in (said, *cautions, *changes):
                messages.success(self.request._request, sentence)
        return Response({"said": said, "cautions": cautions, "changes": changes})


class PitSwapEntry(PitEntry):
    asked = PitSwapSerializer

    @extend_schema(
        request=PitSwapSerializer, responses=PitSaidSerializer, summary="A battery went into a robot"
    )
    def post(self, request: Request, team: str, pk: int) -> Response:
        event, given = self.entry(request, pk)
        battery = battery_by_code(self.scope, given.pop("code"))
        done = swap(scope=self.scope, event=event, battery=battery, **given)
        return self.told(done.sentence, tuple(c.sentence for c in done.cautions), done.changes)


class PitPullEntry(PitEntry):
    asked = PitPullSerializer

    @extend_schema(
        request=PitPullSerializer, responses=PitSaidSerializer, summary="A battery leaves the rotation"
    )
    def post(self, request: Request, team: str, pk: int) -> Response:
        event, given = self.entry(request, pk)
        battery = battery_by_code(self.scope, given.pop("code"))
        done = battery_pull(scope=self.scope, event=event, battery=battery, **given)
        return self.told(done.sentence, changes=done.changes)


class PitMoveEntry(PitEntry):
    asked = MatchMoveSerializer

    @extend_schema(
        request=MatchMoveSerializer, responses=PitSaidSerializer, summary="A match is earlier or later"
    )
    def post(self, request: Request, team: str, pk: int) -> Response:
        event, given = self.entry(request, pk)
        done = match_move(scope=self.scope, event=event, **given)
        return self.told(done.sentence, changes=done.changes)
