"""The plan of an event as pages, the API and the calendar read it: which battery goes out for which match."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import Any

from django.db.models import QuerySet

from builds.models import Event, Handling, Match, Outing, RotationPlan, RotationStep
from builds.selectors.cart_rows import handling_of
from inventory.models import Battery, Charger
from shared.access import Scope


@dataclass(frozen=True, slots=True)
class StepView:
    """One match of the plan. ``done``: the outing that was noted for it; ``fixed``: it happened, or is happening.

    ``changed``: the plan before had another battery here (``was``), or none. ``swap_by``: when the battery must be in.
    """

    match: Match
    battery: Battery | None
    was: Battery | None
    changed: bool
    fixed: bool
    done: Outing | None
    swap_by: datetime
    charge_frac: float | None
    lowest_v: float | None
    margin_v: float | None
    charger: Charger | None
    charge_from: datetime | None
    charge_until: datetime | None
    ready_at: datetime | None

    @property
    def as_planned(self) -> bool | None:
        """Whether the battery of the plan went out; None while nothing did."""
        if self.done is None or self.battery is None:
            return None
        return self.done.battery_id == self.battery.pk


@dataclass(frozen=True, slots=True)
class PlanView:
    """The current plan. The sentences: ``headline`` first, then ``short`` (what fails and what would fix it),

    ``why`` it was made anew, ``changes`` against the one before, ``assumed`` where figures were missing.
    """

    plan: RotationPlan
    steps: tuple[StepView, ...]
    handling: Handling

    @property
    def headline(self) -> str:
        return str(self.plan.told.get("headline", ""))

    @property
    def why(self) -> str:
        return str(self.plan.told.get("why", ""))

    @property
    def short(self) -> tuple[str, ...]:
        return tuple(self.plan.told.get("short", ()))

    @property
    def changes(self) -> tuple[str, ...]:
        return tuple(self.plan.told.get("changes", ()))

    @property
    def assumed(self) -> tuple[str, ...]:
        return tuple(self.plan.told.get("assumed", ()))

    @property
    def working(self) -> bool:
        """The search for the best plan is not over: what stands here is the first answer."""
        return bool(self.plan.state == RotationPlan.State.WORKING)

    @property
    def ahead(self) -> tuple[StepView, ...]:
        return tuple(step for step in self.steps if not step.fixed)

    @property
    def without_battery(self) -> tuple[StepView, ...]:
        return tuple(step for step in self.ahead if step.battery is None)

    @property
    def weakest(self) -> StepView | None:
        """The step to come with the least voltage to spare."""
        known = [step for step in self.ahead if step.margin_v is not None]
        return min(known, key=lambda step: (step.margin_v or 0.0, step.match.starts_at), default=None)


@dataclass(frozen=True, slots=True)
class PlanChange:
    """What one plan does other than the one before; ``kind``: battery, time, added, off."""

    match: Match
    kind: str
    was: Battery | None
    now: Battery | None
    sentence: str


def plans_of(scope: Scope, event: Event) -> QuerySet[RotationPlan]:
    """Every plan of an event, the newest first."""
    return (
        scope.rows(RotationPlan).filter(event=event).select_related("by", "run").order_by("-asked_at", "-pk")
    )


def current_plan(scope: Scope, event: Event) -> PlanView | None:
    """The plan the pit follows, with what was done; four queries, none of the steps more."""
    plan = plans_of(scope, event).filter(current=True).first()
    return plan_view(scope, plan, event) if plan is not None else None


def plan_view(scope: Scope, plan: RotationPlan, event: Event) -> PlanView:
    """Any plan of the event, current or earlier; three queries."""
    handling = handling_of(event)
    outings = (
        scope.rows(Outing).filter(match__event=event).select_related("battery").order_by("started_at", "pk")
    )
    done = {outing.match_id: outing for outing in outings}
    steps = (
        scope.rows(RotationStep)
        .filter(plan=plan)
        .select_related("match__robot", "match__event", "battery__model", "was", "charger")
        .order_by("match__starts_at", "match_id")
    )
    changed = set(plan.told.get("changed", ()))
    lead = timedelta(minutes=handling.ready_before_min)
    return PlanView(
        plan=plan,
        steps=tuple(_step(row, done.get(row.match_id), row.match_id in changed, lead) for row in steps),
        handling=handling,
    )


def _step(row: RotationStep, done: Outing | None, changed: bool, lead: timedelta) -> StepView:
    return StepView(
        match=row.match,
        battery=row.battery,
        was=row.was,
        changed=changed or row.was_id is not None,
        fixed=row.fixed,
        done=done,
        swap_by=row.match.starts_at - lead,
        charge_frac=row.charge_frac,
        lowest_v=row.lowest_v,
        margin_v=row.margin_v,
        charger=row.charger,
        charge_from=row.charge_from,
        charge_until=row.charge_until,
        ready_at=row.ready_at,
    )


def plan_changes(old: PlanView | None, new: PlanView) -> tuple[PlanChange, ...]:
    """What the new plan does other than the old one, in the order of the matches; reads nothing.

    Times are those a plan was made with, since a match keeps only its newest one.
    """
    if old is None:
        return ()
    before = {step.match.pk: step for step in old.steps}
    was_at, now_at = (_times(view.plan) for view in (old, new))
    found: list[PlanChange] = []
    for step in new.steps:
        earlier = before.pop(step.match.pk, None)
        found += _changes_of(step, earlier, was_at, now_at)
    for gone in before.values():
        if not gone.fixed:
            sentence = f"Match {gone.match.number} is off; {_name(gone.battery)} is free."
            found.append(PlanChange(gone.match, "off", gone.battery, None, sentence))
    return tuple(sorted(found, key=lambda change: (change.match.starts_at, change.match.pk)))


def _changes_of(
    step: StepView, earlier: StepView | None, was_at: Mapping[int, datetime], now_at: Mapping[int, datetime]
) -> Sequence[PlanChange]:
    match, battery = step.match, step.battery
    if earlier is None:
        return [PlanChange(match, "added", None, battery, f"Match {match.number} is new: {_name(battery)}.")]
    found = []
    if (earlier.battery and earlier.battery.pk) != (battery and battery.pk):
        sentence = f"Match {match.number}: {_name(battery)} instead of {_name(earlier.battery)}."
        found.append(PlanChange(match, "battery", earlier.battery, battery, sentence))
    was, now = was_at.get(match.pk), now_at.get(match.pk)
    if was is not None and now is not None and was != now:
        minutes = round((now - was) / timedelta(minutes=1))
        sentence = f"Match {match.number} is {abs(minutes)} min {'later' if minutes > 0 else 'earlier'}."
        found.append(PlanChange(match, "time", earlier.battery, battery, sentence))
    return found


def _name(battery: Battery | None) -> str:
    return battery.code if battery else "no battery"


def _times(plan: RotationPlan) -> dict[int, datetime]:
    facts: Mapping[str, Any] = plan.told.get("facts", {})
    return {int(pk): datetime.fromisoformat(told["at"]) for pk, told in facts.get("matches", {}).items()}
