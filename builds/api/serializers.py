"""What the API takes and gives of seasons, robots, builds, circuits, events and matches."""

from __future__ import annotations

from typing import Any

from rest_framework import serializers

from builds.models import Build, BuildLine, Circuit, Event, Handling, Match, Robot, Season
from builds.services.events import HANDLING_FIELDS
from builds.views.circuits import CIRCUIT_FIELDS
from shared.api import ScopedSerializer, team_serializer

SeasonSerializer = team_serializer(Season, "name", "starts_on", "ends_on", "match_s")
RobotSerializer = team_serializer(
    Robot, "code", "name", "season", "notes", "archived", read_only=("archived",)
)
BuildSerializer = team_serializer(
    Build, "robot", "label", "dated", "state", "battery_model", "ambient_c", "source_mohm", "notes",
    read_only=("state",),
)  # fmt: skip
BuildLineSerializer = team_serializer(BuildLine, "build", "part", "quantity", "installed", "note")
CircuitSerializer = team_serializer(Circuit, "build", *CIRCUIT_FIELDS)
EventSerializer = team_serializer(
    Event,
    "name",
    "season",
    "place",
    "starts_on",
    "ends_on",
    "goods_by",
    "matches_planned",
    "robots",
    "batteries",
    "chargers",
)
MatchSerializer = team_serializer(
    Match, "event", "robot", "number", "starts_at", "importance", "strength", "carrier", "called_off"
)


class ShiftSerializer(ScopedSerializer):
    """A match, and all later ones of that day, moved by minutes."""

    from_match = serializers.PrimaryKeyRelatedField(queryset=Match.objects.all())
    minutes = serializers.IntegerField(help_text="With a minus: earlier")
    later = serializers.BooleanField(
        required=False, default=True, help_text="All later matches of that day too"
    )
    was = serializers.DateTimeField(
        required=False,
        help_text="The start that is shown for the match: has it moved as asked already, nothing moves again",
    )


class CallOffSerializer(serializers.Serializer[Any]):
    called_off = serializers.BooleanField(default=True, help_text="false: it is played after all")


HandlingSerializer = team_serializer(Handling, *HANDLING_FIELDS)


class BuildCopySerializer(serializers.Serializer[Any]):
    label = serializers.CharField(max_length=40)  # type: ignore[assignment]  # a field, not the caption
    dated = serializers.DateField()


class GapSerializer(serializers.Serializer[Any]):
    circuit_code = serializers.CharField()
    missing = serializers.CharField()


class BillRowSerializer(serializers.Serializer[Any]):
    part = serializers.IntegerField(source="part.pk")
    code = serializers.CharField(source="part.code")
    name = serializers.CharField(source="part.name")
    unit = serializers.CharField(source="part.unit")
    used_for = serializers.CharField()
    needed = serializers.DecimalField(12, 3, source="line.needed")
    installed = serializers.DecimalField(12, 3, source="line.installed")
    lacking = serializers.DecimalField(12, 3, source="line.lacking")
    on_hand = serializers.DecimalField(12, 3)
    short = serializers.DecimalField(12, 3)


class BillSerializer(serializers.Serializer[Any]):
    """A build's bill of materials; with gaps it is not complete."""

    rows = BillRowSerializer(many=True)
    gaps = GapSerializer(many=True)


class AdviceSerializer(serializers.Serializer[Any]):
    offer = serializers.IntegerField(source="offer.pk")
    packs = serializers.IntegerField()
    quantity = serializers.DecimalField(12, 3)
    cost = serializers.DecimalField(12, 2)
    last_day = serializers.DateField()
    arrives_on = serializers.DateField()
    in_time = serializers.BooleanField()


class NeedSerializer(serializers.Serializer[Any]):
    part = serializers.IntegerField(source="part.pk")
    code = serializers.CharField(source="part.code")
    name = serializers.CharField(source="part.name")
    unit = serializers.CharField(source="part.unit")
    lacking = serializers.DecimalField(12, 3, source="demand.lacking")
    repairs = serializers.DecimalField(
        12, 3, source="demand.repairs.quantity", default=None, help_text="null: cannot be judged"
    )
    total = serializers.DecimalField(12, 3, source="demand.total")
    on_hand = serializers.DecimalField(12, 3)
    short = serializers.DecimalField(12, 3)
    order = AdviceSerializer(source="advice", allow_null=True)


class DemandSerializer(serializers.Serializer[Any]):
    """What an event will eat: short parts first."""

    event = serializers.IntegerField(source="demand.event.pk")
    goods_by = serializers.DateField()
    robot_matches_ahead = serializers.FloatField(source="demand.exposure_ahead")
    robot_matches_seen = serializers.FloatField(source="demand.exposure_seen")
    past_events = serializers.IntegerField(source="demand.past_events")
    rows = NeedSerializer(many=True)
    gaps = GapSerializer(many=True, source="demand.gaps")
