"""How a plan, the cart, the next match and a review look over the API."""

from __future__ import annotations

from typing import Any

from rest_framework import serializers

from builds.models import RotationPlan


def _code(source: str) -> serializers.CharField:
    return serializers.CharField(source=source, default=None, allow_null=True, read_only=True)


def _frac(help_text: str = "") -> serializers.FloatField:
    return serializers.FloatField(read_only=True, allow_null=True, help_text=help_text)


def _at(help_text: str = "") -> serializers.DateTimeField:
    return serializers.DateTimeField(read_only=True, allow_null=True, help_text=help_text)


class StepSerializer(serializers.Serializer[Any]):
    """One match of a plan."""

    match = serializers.IntegerField(source="match.pk", read_only=True)
    number = serializers.CharField(source="match.number", read_only=True)
    robot = serializers.CharField(source="match.robot.code", read_only=True)
    starts_at = serializers.DateTimeField(source="match.starts_at", read_only=True)
    carrier = serializers.CharField(source="match.carrier", read_only=True)
    battery = serializers.IntegerField(source="battery.pk", default=None, allow_null=True, read_only=True)
    battery_code = _code("battery.code")
    was_code = _code("was.code")
    changed = serializers.BooleanField(
        read_only=True, help_text="The plan before had another battery, or none"
    )
    fixed = serializers.BooleanField(read_only=True, help_text="Happened already, or is happening")
    went_out_code = _code("done.battery.code")
    swap_by = serializers.DateTimeField(read_only=True, help_text="The battery must be in the robot by then")
    charge_frac = _frac("State of charge when it goes out")
    lowest_v = _frac("Lowest board voltage expected")
    margin_v = _frac("Above the highest brown-out level")
    charger = _code("charger.name")
    charge_from = _at()
    charge_until = _at()
    ready_at = _at()


class PlanSerializer(serializers.Serializer[Any]):
    """The current plan of an event with its sentences."""

    id = serializers.IntegerField(source="plan.pk", read_only=True)
    event = serializers.IntegerField(source="plan.event_id", read_only=True)
    asked_at = serializers.DateTimeField(source="plan.asked_at", read_only=True)
    reason = serializers.ChoiceField(
        choices=RotationPlan.Reason.choices, source="plan.reason", read_only=True
    )
    state = serializers.ChoiceField(choices=RotationPlan.State.choices, source="plan.state", read_only=True)
    instant = serializers.BooleanField(
        source="plan.instant", read_only=True, help_text="First answer; the search runs"
    )
    proven = serializers.BooleanField(source="plan.proven", read_only=True)
    gap_v = serializers.FloatField(source="plan.gap_v", read_only=True, allow_null=True)
    worst_margin_v = serializers.FloatField(source="plan.worst_margin_v", read_only=True, allow_null=True)
    solve_s = serializers.FloatField(source="plan.solve_s", read_only=True, allow_null=True)
    headline = serializers.CharField(read_only=True)
    why = serializers.CharField(read_only=True, help_text="What set this plan off")
    short = serializers.ListField(
        child=serializers.CharField(),
        read_only=True,
        help_text="Which match fails first and what would fix it",
    )
    changes = serializers.ListField(child=serializers.CharField(), read_only=True)
    assumed = serializers.ListField(child=serializers.CharField(), read_only=True)
    steps = StepSerializer(many=True, read_only=True)


class CartRowSerializer(serializers.Serializer[Any]):
    """One battery now."""

    battery = serializers.IntegerField(source="battery.pk", read_only=True)
    battery_code = serializers.CharField(source="battery.code", read_only=True)
    state = serializers.CharField(
        read_only=True, help_text="robot, cooling, waiting, charging, resting, ready, stored, out"
    )
    words = serializers.CharField(read_only=True)
    phase = serializers.CharField(
        read_only=True, allow_null=True, help_text="Of a charge: bulk, absorption, full"
    )
    since = _at()
    next_at = _at("When the next state comes by itself")
    next_state = serializers.CharField(read_only=True, allow_null=True)
    ready_at = _at("From when it may go out, if nothing else happens to it")
    charge_frac = _frac("State of charge, null if not known")
    charge_words = serializers.CharField(read_only=True, help_text="How the state of charge is known")
    cycles = serializers.IntegerField(read_only=True)
    charger = _code("charger.name")


class NextMatchSerializer(serializers.Serializer[Any]):
    """The next match and what to do for it."""

    match = serializers.IntegerField(source="match.pk", read_only=True)
    number = serializers.CharField(source="match.number", read_only=True)
    robot = serializers.CharField(source="match.robot.code", read_only=True)
    starts_at = serializers.DateTimeField(source="match.starts_at", read_only=True)
    battery_code = _code("battery.code")
    in_robot_code = _code("in_robot.code")
    ready = serializers.BooleanField(read_only=True)
    in_time = serializers.BooleanField(read_only=True, allow_null=True)
    ready_at = _at()
    swap_by = serializers.DateTimeField(read_only=True)
    minutes_to_start = serializers.FloatField(read_only=True)
    minutes_to_swap = serializers.FloatField(read_only=True)
    carrier = serializers.CharField(read_only=True)
    do_now = serializers.CharField(read_only=True)


class NextSerializer(serializers.Serializer[Any]):
    """The next match with the server's time, against which its minutes are counted."""

    now = serializers.DateTimeField(read_only=True)
    next = NextMatchSerializer(read_only=True, allow_null=True)


class ReviewMatchSerializer(serializers.Serializer[Any]):
    """One match looked back on."""

    match = serializers.IntegerField(source="match.pk", read_only=True)
    number = serializers.CharField(source="match.number", read_only=True)
    planned_code = _code("planned.code")
    ran_code = _code("ran.code")
    as_planned = serializers.BooleanField(read_only=True, allow_null=True)
    start_rest_v = serializers.FloatField(
        source="outing.start_rest_v", default=None, allow_null=True, read_only=True
    )
    end_rest_v = serializers.FloatField(
        source="outing.end_rest_v", default=None, allow_null=True, read_only=True
    )
    lowest_v = serializers.FloatField(source="outing.lowest_v", default=None, allow_null=True, read_only=True)
    used_ah = serializers.FloatField(source="outing.used_ah", default=None, allow_null=True, read_only=True)
    expected_v = _frac(
        "Lowest board voltage expected, by the median of simulated matches where there are any"
    )
    off_v = _frac("Lowest voltage measured, less what was expected")
    sentence = serializers.CharField(read_only=True)


class ReviewBatterySerializer(serializers.Serializer[Any]):
    """What one battery did at the event."""

    battery = serializers.IntegerField(source="battery.pk", read_only=True)
    battery_code = serializers.CharField(source="battery.code", read_only=True)
    matches = serializers.SerializerMethodField()
    lowest_v = _frac()
    used_ah = _frac()
    off_v = _frac("Mean of lowest voltage measured less expected")
    learned = serializers.ListField(child=serializers.CharField(), read_only=True)

    def get_matches(self, row: Any) -> list[str]:
        return [match.number for match in row.matches]


class ReviewSerializer(serializers.Serializer[Any]):
    """An event looked back on."""

    event = serializers.IntegerField(source="event.pk", read_only=True)
    headline = serializers.CharField(read_only=True)
    matches = ReviewMatchSerializer(many=True, read_only=True)
    batteries = ReviewBatterySerializer(many=True, read_only=True)
