"""What lists of the API may be narrowed down by. Related rows are given by id, so no choice of another team shows."""

from __future__ import annotations

import django_filters as filters

from builds.models import Build, BuildLine, BuildState, Circuit, CircuitRole, Event, Match, Outing, Robot


class Narrowed(filters.FilterSet):  # type: ignore[misc]  # the library has no types
    """Base of the filters."""


class RobotFilter(Narrowed):
    season = filters.NumberFilter("season_id")

    class Meta:
        model = Robot
        fields = ("code", "archived")


class BuildFilter(Narrowed):
    robot = filters.NumberFilter("robot_id")
    state = filters.ChoiceFilter(choices=BuildState.choices)

    class Meta:
        model = Build
        fields = ("label",)


class BuildLineFilter(Narrowed):
    build = filters.NumberFilter("build_id")
    part = filters.NumberFilter("part_id")

    class Meta:
        model = BuildLine
        fields = ()


class CircuitFilter(Narrowed):
    build = filters.NumberFilter("build_id")
    robot = filters.NumberFilter("build__robot_id")
    fed_from = filters.NumberFilter("fed_from_id")
    wire = filters.NumberFilter("wire_id")
    device = filters.NumberFilter("device_id")
    component = filters.NumberFilter("component_id")
    profile = filters.NumberFilter("profile_id")
    role = filters.ChoiceFilter(choices=CircuitRole.choices)

    class Meta:
        model = Circuit
        fields = ("code", "critical", "wired", "mechanism")


class EventFilter(Narrowed):
    season = filters.NumberFilter("season_id")
    robot = filters.NumberFilter("robots", distinct=True)

    class Meta:
        model = Event
        fields = {"starts_on": ["gte", "lte"], "ends_on": ["gte", "lte"]}


class MatchFilter(Narrowed):
    event = filters.NumberFilter("event_id")
    robot = filters.NumberFilter("robot_id")

    class Meta:
        model = Match
        fields = {"importance": ["exact"], "called_off": ["exact"], "starts_at": ["gte", "lt"]}


class OutingFilter(Narrowed):
    battery = filters.NumberFilter("battery_id")
    robot = filters.NumberFilter("robot_id")
    match = filters.NumberFilter("match_id")
    event = filters.NumberFilter("match__event_id")

    class Meta:
        model = Outing
        fields = {"in_robot": ["exact"], "started_at": ["gte", "lt"]}
