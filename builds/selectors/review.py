"""An event looked back on: which battery ran which match with which voltages, planned against done."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from statistics import mean

from django.db.models import Q

from builds.match_study.batteries import tested_ah
from builds.models import Event, Match, Outing, RotationPlan, RotationStep
from builds.selectors.cart_rows import came_back_unused
from builds.selectors.expected import expected_charge
from builds.selectors.review_evidence import Evidence, evidence_of
from inventory.models import Battery
from shared.access import Scope

#: A lowest voltage that differs by less from the expected one is as expected.
SAME_V = 0.2


@dataclass(frozen=True, slots=True)
class ReviewMatch:
    """One match. ``planned``: what the plan that held when the battery went in had for it.

    ``as_planned`` None: no plan held, or no outing was noted. ``expected_v``: lowest board voltage expected,
    by the median of simulated matches where there are any: a plan is made for a match in which it falls lower.
    """

    match: Match
    planned: Battery | None
    outing: Outing | None
    as_planned: bool | None
    expected_v: float | None
    expected_frac: float | None
    sentence: str

    @property
    def ran(self) -> Battery | None:
        return self.outing.battery if self.outing else None

    @property
    def off_v(self) -> float | None:
        """Lowest voltage measured, less what the plan expected."""
        if self.outing is None or self.outing.lowest_v is None or self.expected_v is None:
            return None
        return self.outing.lowest_v - self.expected_v


@dataclass(frozen=True, slots=True)
class BatteryReview:
    """What one battery did at the event, and what that says of it (``learned``, one sentence each)."""

    battery: Battery
    outings: tuple[Outing, ...]
    matches: tuple[Match, ...]
    planned_matches: int
    lowest_v: float | None
    used_ah: float | None
    off_v: float | None
    evidence: Evidence | None
    learned: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class EventReview:
    """``headline`` in a sentence; ``plans``: how often it was planned; ``practice``: outings without a match."""

    event: Event
    headline: str
    matches: tuple[ReviewMatch, ...]
    batteries: tuple[BatteryReview, ...]
    practice: tuple[Outing, ...]
    plans: tuple[RotationPlan, ...]


def event_review(scope: Scope, event: Event) -> EventReview:
    """The event looked back on, in seven queries."""
    matches = list(scope.rows(Match).filter(event=event).select_related("robot").order_by("starts_at", "pk"))
    outings = _outings(scope, event)
    plans = list(scope.rows(RotationPlan).filter(event=event).order_by("asked_at", "pk"))
    steps = _steps(scope, plans)
    # A battery that came back unused counts only where no other went out.
    told_last = sorted(outings, key=lambda outing: not came_back_unused(outing))
    by_match: dict[int | None, Outing] = {outing.match_id: outing for outing in told_last}
    told = tuple(_match(match, by_match.get(match.pk), plans, steps) for match in matches)
    return EventReview(
        event=event,
        headline=_headline(told),
        matches=told,
        batteries=_batteries(told, outings, evidence_of(outings, expected_charge(scope), tested_ah(scope))),
        practice=tuple(outing for outing in outings if outing.match_id is None),
        plans=tuple(plans),
    )


def _outings(scope: Scope, event: Event) -> list[Outing]:
    """Outings in matches of the event, and those without a match of its robots on its days."""
    days = (event.starts_on, event.ends_on)
    loose = Q(match=None, robot__in=event.robots.all(), started_at__date__range=days)
    rows = scope.rows(Outing).filter(Q(match__event=event) | loose)
    return list(rows.select_related("battery__model", "robot", "match").order_by("started_at", "pk"))


def _steps(scope: Scope, plans: Sequence[RotationPlan]) -> dict[int, dict[int, RotationStep]]:
    """Plan -> match -> what it planned for a match still to come."""
    found: dict[int, dict[int, RotationStep]] = {}
    rows = scope.rows(RotationStep).filter(plan__in=plans, fixed=False).select_related("battery", "plan")
    for step in rows.order_by("pk"):
        found.setdefault(step.plan_id, {})[step.match_id] = step
    return found


def _match(
    match: Match,
    outing: Outing | None,
    plans: Sequence[RotationPlan],
    steps: Mapping[int, Mapping[int, RotationStep]],
) -> ReviewMatch:
    held = _held(match, outing.started_at if outing else match.starts_at, plans, steps)
    expected_v = _expected_v(held)
    ran = outing.battery_id if outing else None
    as_planned = None if held is None or outing is None else ran == held.battery_id
    return ReviewMatch(
        match=match,
        planned=held.battery if held else None,
        outing=outing,
        as_planned=as_planned,
        expected_v=expected_v if as_planned else None,
        expected_frac=held.charge_frac if held and as_planned else None,
        sentence=_match_words(match, outing, held, as_planned, expected_v),
    )


def _held(
    match: Match,
    moment: datetime,
    plans: Sequence[RotationPlan],
    steps: Mapping[int, Mapping[int, RotationStep]],
) -> RotationStep | None:
    """The step of the newest plan that was asked for before the battery went in and had the match still ahead."""
    for plan in reversed(plans):
        step = steps.get(plan.pk, {}).get(match.pk)
        if step is not None and plan.asked_at <= moment:
            return step
    return None


def _expected_v(held: RotationStep | None) -> float | None:
    if held is None or held.lowest_v is None:
        return None
    usual = held.plan.told.get("usual") or {}
    return held.lowest_v + float(usual.get(str(held.match_id), 0.0))


def _match_words(
    match: Match,
    outing: Outing | None,
    held: RotationStep | None,
    as_planned: bool | None,
    expected_v: float | None,
) -> str:
    if match.called_off:
        return "Called off."
    if outing is None:
        return "No outing was noted."
    ran = outing.battery.code
    if held is None:
        return f"{ran} ran it; no plan held."
    if not as_planned:
        return f"{ran} ran it, planned was {held.battery.code if held.battery else 'no battery'}."
    if outing.lowest_v is None or expected_v is None:
        return f"{ran} ran it as planned; its lowest voltage was not noted."
    off = outing.lowest_v - expected_v
    than = (
        "as expected"
        if abs(off) < SAME_V
        else f"{abs(off):.1f} V {'above' if off > 0 else 'below'} what was expected"
    )
    return f"{ran} ran it as planned and fell to {outing.lowest_v:.1f} V, {than}."


def _headline(rows: Sequence[ReviewMatch]) -> str:
    played = [row for row in rows if not row.match.called_off]
    ran = [row for row in played if row.outing is not None]
    if not ran:
        return "No outing was noted at this event."
    judged = [row for row in ran if row.as_planned is not None]
    kept = sum(bool(row.as_planned) for row in judged)
    lowest = min((r.outing.lowest_v for r in ran if r.outing and r.outing.lowest_v is not None), default=None)
    words = f"{len(ran)} of {len(played)} match{'' if len(played) == 1 else 'es'} with a battery on record"
    if judged:
        words += f", {kept} of {len(judged)} as planned"
    if lowest is not None:
        worst = next(r for r in ran if r.outing and r.outing.lowest_v == lowest)
        words += f"; lowest was {lowest:.1f} V in match {worst.match.number} with {worst.ran}"
    return f"{words}."


def _batteries(
    rows: Sequence[ReviewMatch], outings: Iterable[Outing], evidence: Mapping[int, Evidence]
) -> tuple[BatteryReview, ...]:
    """Every battery that went out or was planned to, by code."""
    found: dict[int, Battery] = {row.planned.pk: row.planned for row in rows if row.planned}
    went: dict[int, list[Outing]] = {}
    for outing in outings:
        found[outing.battery_id] = outing.battery
        went.setdefault(outing.battery_id, []).append(outing)
    return tuple(
        _battery(battery, went.get(battery.pk, []), rows, evidence.get(battery.pk))
        for battery in sorted(found.values(), key=lambda battery: battery.code)
    )


def _battery(
    battery: Battery, outings: Sequence[Outing], rows: Sequence[ReviewMatch], evidence: Evidence | None
) -> BatteryReview:
    mine = [row for row in rows if row.ran and row.ran.pk == battery.pk]
    off = [row.off_v for row in mine if row.off_v is not None]
    lowest = [outing.lowest_v for outing in outings if outing.lowest_v is not None]
    used = [outing.used_ah for outing in outings if outing.used_ah is not None]
    off_v = mean(off) if off else None
    return BatteryReview(
        battery=battery,
        outings=tuple(outings),
        matches=tuple(row.match for row in mine),
        planned_matches=sum(bool(row.planned and row.planned.pk == battery.pk) for row in rows),
        lowest_v=min(lowest, default=None),
        used_ah=sum(used) if used else None,
        off_v=off_v,
        evidence=evidence,
        learned=(*_learned(off_v, len(off)), *(evidence.words if evidence else ())),
    )


def _learned(off_v: float | None, count: int) -> tuple[str, ...]:
    """What the outings say of the battery against what was expected of it."""
    if off_v is None:
        return ("Nothing to compare: note the lowest voltage of its outings from the robot's log.",)
    times = f"{count} match{'es' if count != 1 else ''}"
    if abs(off_v) < SAME_V:
        return (f"It held what was expected of it ({times}).",)
    return (f"It fell {abs(off_v):.1f} V {'lower' if off_v < 0 else 'less low'} than expected ({times}).",)
