"""What an event will ask of the stores: what the robots that go still lack, and the repairs to be expected.

At risk of a repair is a part that stands in the current build of a robot that goes, or that was used at
an event before. A robot that is archived, or has no current build, asks for nothing.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from decimal import Decimal

from django.utils import timezone

from builds.models import Build, BuildLine, BuildState, Circuit, Event
from builds.selectors.bill import BillLine, Gap, bill_from
from builds.selectors.repairs import (
    PartFacts,
    Repairs,
    UsedAtEvents,
    Window,
    expected_repairs,
    past_windows,
    used_at,
)
from inventory.models import Part
from shared.access import Scope


@dataclass(frozen=True)
class PartDemand:
    """What one part is wanted for. ``repairs`` is None where no past event tells of any ("cannot judge")."""

    part_id: int
    service_frac: float
    lacks: tuple[BillLine, ...]
    repairs: Repairs | None

    @property
    def lacking(self) -> Decimal:
        return sum((line.lacking for line in self.lacks), Decimal(0))

    @property
    def total(self) -> Decimal:
        return self.lacking + (self.repairs.quantity if self.repairs else Decimal(0))


@dataclass(frozen=True)
class EventDemand:
    """The demand of one event, part by part; parts that nobody asks for are left out."""

    event: Event
    robots: int
    exposure_ahead: float
    exposure_seen: float
    past_events: int
    parts: Mapping[int, PartDemand]
    gaps: tuple[Gap, ...]


def demand_before(scope: Scope, event: Event) -> EventDemand:
    """The demand of one event of the team."""
    scope.get(Event, pk=event.pk)
    return demand_of_events([event], today=timezone.localdate())[event.pk]


def demand_of_events(events: Sequence[Event], *, today: date) -> dict[int, EventDemand]:
    """Event id -> its demand; the number of queries does not grow with events, teams or robots."""
    facts = _Facts.read(events, today)
    return {event.pk: _demand_of(event, facts) for event in events}


@dataclass
class _Facts:
    """Everything read, keyed by team or event."""

    robots_of: dict[int, set[int]]
    past: dict[int, list[Window]]
    lacks: dict[int, list[BillLine]]
    gaps: dict[int, list[Gap]]
    at_risk: dict[int, set[int]]
    used: dict[int, dict[int, UsedAtEvents]]
    parts: dict[int, PartFacts]

    @classmethod
    def read(cls, events: Sequence[Event], today: date) -> _Facts:
        team_ids = {event.team_id for event in events}
        going: dict[int, set[int]] = defaultdict(set)
        goes = Event.robots.through.objects.filter(event__in=events, robot__archived=False)
        for event_id, robot_id in goes.values_list("event_id", "robot_id"):
            going[event_id].add(robot_id)
        robot_of_build = dict(
            Build.objects.filter(
                state=BuildState.CURRENT, robot__events__in=events, robot__archived=False
            ).values_list("pk", "robot_id")
        )
        past = past_windows(team_ids, today)
        lacks, gaps = _lacks(robot_of_build)
        return cls(
            robots_of=going,
            past=past,
            lacks=lacks,
            gaps=gaps,
            at_risk=_parts_on(robot_of_build),
            used=used_at(past),
            parts={
                pk: PartFacts(kind, unit, service)
                for pk, kind, unit, service in Part.objects.filter(
                    team_id__in=team_ids, archived=False
                ).values_list("pk", "kind", "unit", "service_frac")
            },
        )


def _lacks(robot_of_build: Mapping[int, int]) -> tuple[dict[int, list[BillLine]], dict[int, list[Gap]]]:
    """Robot id -> what its current build lacks, and what its circuits do not tell."""
    bill = bill_from(
        Circuit.objects.filter(build_id__in=list(robot_of_build)),
        BuildLine.objects.filter(build_id__in=list(robot_of_build)),
        only_lacking=True,
    )
    lacks: dict[int, list[BillLine]] = defaultdict(list)
    for line in bill.lines:
        lacks[robot_of_build[line.build_id]].append(line)
    gaps: dict[int, list[Gap]] = defaultdict(list)
    for gap in bill.gaps:
        gaps[robot_of_build[gap.build_id]].append(gap)
    return lacks, gaps


def _parts_on(robot_of_build: Mapping[int, int]) -> dict[int, set[int]]:
    """Robot id -> ids of the parts in its current build."""
    found: dict[int, set[int]] = defaultdict(set)
    builds = list(robot_of_build)
    columns = ("device_id", "wire_id", "component_id", "terminal_source_id", "terminal_load_id")
    rows = Circuit.objects.filter(build_id__in=builds).order_by().values_list("build_id", *columns)
    for build_id, *part_ids in rows.distinct():
        found[robot_of_build[build_id]].update(p for p in part_ids if p is not None)
    lines = BuildLine.objects.filter(build_id__in=builds).order_by().values_list("build_id", "part_id")
    for build_id, part_id in lines:
        found[robot_of_build[build_id]].add(part_id)
    return found


def _demand_of(event: Event, facts: _Facts) -> EventDemand:
    robots = facts.robots_of.get(event.pk, set())
    ahead = float(event.matches_planned * len(robots))
    past = facts.past.get(event.team_id, [])
    seen = sum(window.exposure for window in past)
    lacks: dict[int, list[BillLine]] = defaultdict(list)
    at_risk: set[int] = set()
    for robot_id in robots:
        at_risk |= facts.at_risk.get(robot_id, set())
        for line in facts.lacks.get(robot_id, []):
            lacks[line.part_id].append(line)
    used = facts.used.get(event.team_id, {})
    known = (at_risk | used.keys()) & facts.parts.keys()
    repairs = expected_repairs(known, used, facts.parts, seen, ahead)
    parts = {
        part_id: PartDemand(
            part_id=part_id,
            service_frac=facts.parts[part_id].service_frac,
            lacks=tuple(lacks.get(part_id, ())),
            repairs=repairs.get(part_id),
        )
        for part_id in sorted(known | lacks.keys() & facts.parts.keys())
    }
    gaps = tuple(gap for robot_id in sorted(robots) for gap in facts.gaps.get(robot_id, ()))
    return EventDemand(event, len(robots), ahead, seen, len(past), parts, gaps)
