"""The pit at one moment: the next match and its battery, is it ready, the two after it, and what is still to note."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from datetime import datetime, timedelta

from django.db.models import Q

from builds.models import Event, Handling, Match, Outing
from builds.selectors.cart import CartRow, CartState, cart
from builds.selectors.cart_rows import handling_of
from builds.selectors.events import matches_of
from builds.selectors.next_match import next_of
from builds.selectors.rotation import PlanView, StepView, current_plan
from compliance.rules.battery_verdict import HealthVerdict
from compliance.selectors.battery_health import verdicts
from compliance.selectors.pit_ready import Ready, readiness
from inventory.models import Battery
from shared.access import Scope
from shared.models import Role

#: A match that began is talked of as the next one for so long while nobody has logged its battery.
LATE = timedelta(minutes=15)
#: How many matches after the next one are shown, and how many batteries whose end voltage is still to measure.
AFTER = 2
UNMEASURED = 6
MOST_NAMES = 8
MOST_LIKELY = 4


@dataclass(frozen=True)
class PitMatch:
    """A match as the pit needs it: which battery, is it ready, when must it be in the robot."""

    match: Match
    due_at: datetime
    battery: Battery | None
    planned: Battery | None
    row: CartRow | None
    ready: Ready
    step: StepView | None
    outing: Outing | None

    @property
    def is_in(self) -> bool:
        """Its battery is in the robot."""
        return self.outing is not None and self.outing.in_robot


@dataclass(frozen=True)
class Pit:
    """Everything the event page shows."""

    event: Event
    now: datetime
    handling: Handling
    matches: Sequence[Match] = field(repr=False)
    next: PitMatch | None
    do_now: str
    after: tuple[PitMatch, ...]
    on_field: PitMatch | None
    in_robots: tuple[Outing, ...]
    unmeasured: tuple[Outing, ...]
    unlogged: tuple[Match, ...]
    plan: PlanView | None
    cart: Mapping[int, CartRow] = field(repr=False)
    verdicts: Mapping[int, HealthVerdict] = field(repr=False)

    @property
    def over(self) -> bool:
        """Matches were entered, and none is left."""
        return bool(self.matches) and self.next is None

    def in_robot_of(self, match: Match) -> Outing | None:
        """What is in the robot of that match now."""
        return next((outing for outing in self.in_robots if outing.robot_id == match.robot_id), None)


def pit(scope: Scope, event: Event, now: datetime) -> Pit:
    """The pit of an event at ``now``; a fixed number of queries."""
    plan = current_plan(scope, event)
    handling = plan.handling if plan else handling_of(event)
    matches = [match for match in matches_of(scope, event) if not match.called_off]
    logged = _outings(scope, event)
    rows = cart(scope, event, now)
    seen = _View(
        rows={row.battery.pk: row for row in rows},
        verdicts=verdicts(scope, [row.battery.pk for row in rows], now=now) if rows else {},
        steps={step.match.pk: step for step in plan.steps} if plan else {},
        of_match=_by_match(logged),
        handling=handling,
        now=now,
    )
    ahead = [match for match in matches if seen.is_ahead(match)]
    begun = [match for match in matches if match.starts_at <= now and match.pk in seen.of_match]
    running = begun[-1] if begun and now - begun[-1].starts_at < _back(handling) else None
    soon = next_of(scope, event, now, plan, rows)
    return Pit(
        event=event,
        now=now,
        handling=handling,
        matches=matches,
        next=seen.of(ahead[0]) if ahead else None,
        do_now=soon.do_now if soon and ahead and soon.match.pk == ahead[0].pk else "",
        after=tuple(seen.of(match) for match in ahead[1 : 1 + AFTER]),
        on_field=seen.of(running) if running else None,
        in_robots=tuple(outing for outing in logged if outing.in_robot),
        unmeasured=tuple(o for o in logged if not o.in_robot and o.end_rest_v is None)[:UNMEASURED],
        unlogged=tuple(m for m in matches if m.starts_at < now - LATE and m.pk not in seen.of_match),
        plan=plan,
        cart=seen.rows,
        verdicts=seen.verdicts,
    )


@dataclass(frozen=True)
class _View:
    """What one match is looked at with."""

    rows: Mapping[int, CartRow]
    verdicts: Mapping[int, HealthVerdict]
    steps: Mapping[int, StepView]
    of_match: Mapping[int, Outing]
    handling: Handling
    now: datetime

    def of(self, match: Match) -> PitMatch:
        outing, step = self.of_match.get(match.pk), self.steps.get(match.pk)
        planned = step.battery if step else None
        battery = outing.battery if outing else planned
        row = self.rows.get(battery.pk) if battery else None
        due_at = match.starts_at - timedelta(minutes=self.handling.ready_before_min)
        verdict = self.verdicts.get(battery.pk) if battery else None
        ready = readiness(
            match,
            battery,
            row,
            verdict,
            step=step,
            outing=outing,
            due_at=due_at,
            now=self.now,
            handling=self.handling,
        )
        return PitMatch(match, due_at, battery, planned, row, ready, step, outing)

    def is_ahead(self, match: Match) -> bool:
        """Still to be played, as far as the pit knows: one that began counts until its battery is logged."""
        if match.starts_at > self.now:
            return True
        return match.pk not in self.of_match and self.now - match.starts_at < LATE


def _back(handling: Handling) -> timedelta:
    return timedelta(minutes=handling.back_after_min)


def _outings(scope: Scope, event: Event) -> list[Outing]:
    """What went out for the event's matches, and what is in the robots that go; newest first, one query."""
    here = Q(match__event=event) | Q(in_robot=True, robot__events=event)
    rows = scope.rows(Outing).filter(here).select_related("battery", "robot", "match")
    return list(rows.order_by("-started_at", "-pk").distinct())


def _by_match(outings: Sequence[Outing]) -> dict[int, Outing]:
    """Match -> the newest that went out for it."""
    found: dict[int, Outing] = {}
    for outing in outings:
        if outing.match_id is not None:
            found.setdefault(outing.match_id, outing)
    return found


def likely_batteries(seen: Pit) -> list[Battery]:
    """Batteries offered as one tap for the next swap: the planned one first, then those that may go out now."""
    planned = [seen.next.planned] if seen.next and seen.next.planned else []
    ready = [row.battery for row in seen.cart.values() if row.state == CartState.READY]
    fit = [battery for battery in ready if (told := seen.verdicts.get(battery.pk)) is None or told.may_match]
    return list(dict.fromkeys([*planned, *fit]))[:MOST_LIKELY]


def carriers(scope: Scope, seen: Pit) -> list[str]:
    """Names offered as one tap: who carried at this event, the latest first, then the team's members."""
    used = [match.carrier for match in reversed(seen.matches) if match.carrier]
    rows = scope.team.memberships.exclude(role=Role.AUDITOR).select_related("user").order_by("user__username")
    names = dict.fromkeys([*used, *(member.user.display_name for member in rows)])
    return list(names)[:MOST_NAMES]
