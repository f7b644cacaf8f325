"""What the rotation page shows: the plan match by match, the batteries on the cart, and the time chart."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime

from builds.models import Event, Handling, Match, Outing, RotationPlan
from builds.selectors.cart import CartRow, CartState, cart
from builds.selectors.cart_rows import handling_of
from builds.selectors.events import matches_of
from builds.selectors.next_match import NextMatch, next_of
from builds.selectors.rotation import PlanView, StepView, current_plan, plans_of
from compliance.selectors.rotation_days import Drawn, charges_during, rotation_picture
from inventory.models import Battery, Charger
from shared.access import Scope
from shared.web.charts import RotationChart

#: Earlier plans that are named under the current one.
EARLIER = 6


@dataclass(frozen=True)
class PlanRow:
    """One match of the schedule with what the plan and the log say of it; ``weight`` and ``word``: its verdict."""

    match: Match
    step: StepView | None
    outing: Outing | None
    weight: str
    word: str

    @property
    def battery(self) -> Battery | None:
        """The one that went out, else the one of the plan."""
        if self.outing is not None:
            return self.outing.battery
        return self.step.battery if self.step else None

    @property
    def instead_of(self) -> Battery | None:
        """The planned battery, where another one went out."""
        if self.outing is None or self.step is None or self.step.battery is None:
            return None
        return self.step.battery if self.step.battery.pk != self.outing.battery_id else None


@dataclass(frozen=True)
class Rotation:
    """Everything the page shows."""

    event: Event
    now: datetime
    view: PlanView | None
    handling: Handling
    rows: tuple[PlanRow, ...]
    cart: tuple[CartRow, ...]
    chart: RotationChart
    next: NextMatch | None
    earlier: Sequence[RotationPlan]
    chargers: Sequence[Charger]

    @property
    def ahead(self) -> tuple[PlanRow, ...]:
        return tuple(row for row in self.rows if row.match.starts_at > self.now)

    @property
    def out(self) -> tuple[CartRow, ...]:
        """Batteries that must not go out."""
        return tuple(row for row in self.cart if row.state == CartState.OUT)

    @property
    def may_go(self) -> tuple[CartRow, ...]:
        return tuple(row for row in self.cart if row.state != CartState.OUT)


def rotation(scope: Scope, event: Event, now: datetime) -> Rotation:
    """The rotation of an event at ``now``, in a fixed number of queries."""
    view = current_plan(scope, event)
    handling = view.handling if view else handling_of(event)
    matches = list(matches_of(scope, event).select_related("robot", "event"))
    rows = cart(scope, event, now)
    outings = _outings(scope, event)
    by_match = {outing.match_id: outing for outing in outings}
    steps = {step.match.pk: step for step in view.steps} if view else {}
    drawn = Drawn(view, rows, matches, outings, charges_during(scope, event, rows), handling, now)
    chosen = event.chargers.filter(archived=False).order_by("name")
    every = scope.rows(Charger).filter(archived=False).order_by("name")
    return Rotation(
        event=event,
        now=now,
        view=view,
        handling=handling,
        rows=tuple(_row(match, steps, by_match, now) for match in matches),
        cart=rows,
        chart=rotation_picture(event, drawn),
        next=next_of(scope, event, now, view, rows),
        earlier=list(plans_of(scope, event).filter(current=False)[:EARLIER]),
        chargers=list(chosen) or list(every),
    )


def _outings(scope: Scope, event: Event) -> list[Outing]:
    """What went out for the event's matches, oldest first; one query."""
    rows = scope.rows(Outing).filter(match__event=event).select_related("battery", "match", "robot")
    return list(rows.order_by("started_at", "pk"))


def _row(
    match: Match, steps: Mapping[int, StepView], outings: Mapping[int | None, Outing], now: datetime
) -> PlanRow:
    step, outing = steps.get(match.pk), outings.get(match.pk)
    weight, word = _verdict(match, step, outing, now)
    return PlanRow(match, step, outing, weight, word)


def _verdict(match: Match, step: StepView | None, outing: Outing | None, now: datetime) -> tuple[str, str]:
    """A severity and a word of our own for one match."""
    if match.called_off:
        return "unknown", "Called off"
    if outing is not None:
        return ("ok", "In the robot") if outing.in_robot else ("ok", "Done")
    if match.starts_at < now:
        return "unknown", "Nothing noted"
    if step is None:
        return "unknown", "Not planned"
    if step.battery is None:
        return "stop", "No battery"
    if step.margin_v is not None and step.margin_v < 0:
        return "fix", "Browns out"
    return "ok", "Planned"
