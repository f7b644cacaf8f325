"""The next match: which battery, is it ready, how long is left, who carries it, and what to do now."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime, timedelta

from django.utils import timezone

from builds.models import Event, Handling, Match, Robot
from builds.selectors.cart import CartRow, CartState, cart
from builds.selectors.rotation import PlanView, StepView, current_plan
from inventory.models import Battery
from shared.access import Scope


@dataclass(frozen=True, slots=True)
class NextMatch:
    """``battery``: the one of the plan; ``in_robot``: the one that is in the robot now, if any.

    ``ready``: it may go out now, or is in the robot; ``in_time``: it will be by ``swap_by``, None if nobody can tell.
    """

    match: Match
    step: StepView | None
    battery: Battery | None
    row: CartRow | None
    in_robot: Battery | None
    ready: bool
    in_time: bool | None
    ready_at: datetime | None
    swap_by: datetime
    minutes_to_start: float
    minutes_to_swap: float
    carrier: str
    do_now: str

    @property
    def done(self) -> bool:
        """The battery of the plan is in the robot: nothing is left to do before the match."""
        return self.battery is not None and self.in_robot is not None and self.battery.pk == self.in_robot.pk


def next_match(scope: Scope, event: Event, now: datetime, robot: Robot | None = None) -> NextMatch | None:
    """The next match to be played (of one robot, or of any), in a fixed number of queries; None after the last."""
    return next_of(scope, event, now, current_plan(scope, event), cart(scope, event, now), robot)


def next_of(
    scope: Scope,
    event: Event,
    now: datetime,
    view: PlanView | None,
    rows: tuple[CartRow, ...],
    robot: Robot | None = None,
) -> NextMatch | None:
    """The same from a plan and a cart that were read before; one query."""
    matches = (
        scope.rows(Match).filter(event=event, called_off=False, starts_at__gte=now).select_related("robot")
    )
    if robot is not None:
        matches = matches.filter(robot=robot)
    match = matches.order_by("starts_at", "pk").first()
    if match is None:
        return None
    handling = view.handling if view else Handling()
    steps = {step.match.pk: step for step in view.steps} if view else {}
    return _next(match, steps.get(match.pk), rows, handling, now)


def _next(
    match: Match, step: StepView | None, rows: tuple[CartRow, ...], handling: Handling, now: datetime
) -> NextMatch:
    battery = step.battery if step else None
    row = next((r for r in rows if battery and r.battery.pk == battery.pk), None)
    inside = next(
        (
            r
            for r in rows
            if r.state == CartState.IN_ROBOT and r.outing and r.outing.robot_id == match.robot_id
        ),
        None,
    )
    swap_by = match.starts_at - timedelta(minutes=handling.ready_before_min)
    is_in = row is not None and inside is not None and row.battery.pk == inside.battery.pk
    ready = is_in or (row is not None and may_go(row, now))
    ready_at = now if ready else row.ready_at if row else None
    off_at = _off_at(row, swap_by, handling) if row else None
    return NextMatch(
        match=match,
        step=step,
        battery=battery,
        row=row,
        in_robot=inside.battery if inside else None,
        ready=ready,
        in_time=None if ready_at is None else ready_at <= max(swap_by, now) or off_at is not None,
        ready_at=ready_at,
        swap_by=swap_by,
        minutes_to_start=(match.starts_at - now) / timedelta(minutes=1),
        minutes_to_swap=(swap_by - now) / timedelta(minutes=1),
        carrier=match.carrier,
        do_now=_do_now(match, step, row, inside, swap_by, off_at, now),
    )


def may_go(row: CartRow, now: datetime) -> bool:
    """Whether a battery may go out now: charged, rested, in service."""
    if row.state not in (CartState.READY, CartState.STORED):
        return False
    return row.ready_at is not None and row.ready_at <= now


def _do_now(
    match: Match,
    step: StepView | None,
    row: CartRow | None,
    inside: CartRow | None,
    swap_by: datetime,
    off_at: datetime | None,
    now: datetime,
) -> str:
    """What whoever reads it should do, in a sentence."""
    if row is None:
        if step is None:
            return f"No plan says which battery match {match.number} gets. Ask for a plan."
        return f"No battery is free for match {match.number}. See what would fix it."
    code, robot = row.battery.code, match.robot.name
    if inside is not None and inside.battery.pk == row.battery.pk:
        return f"{code} is in {robot}. Check that its plug is locked."
    if may_go(row, now):
        first = f"Take {inside.battery.code} out, put" if inside is not None else "Put"
        return f"{first} {code} into {robot} {'now' if swap_by <= now else f'by {_clock(swap_by)}'}."
    if off_at is not None and row.charger is not None:
        when = "now" if off_at <= now else f"at {_clock(off_at)}"
        return f"Take {code} off {row.charger.name} {when}: it is charged enough by then, if not full."
    return _until_ready(row, step, swap_by)


def _off_at(row: CartRow, swap_by: datetime, handling: Handling) -> datetime | None:
    """When to take a battery off its charger that will not be full in time, but charged enough; None otherwise."""
    if (
        row.state != CartState.CHARGING
        or row.ready_at is None
        or row.enough_at is None
        or row.ready_at <= swap_by
    ):
        return None
    off_at = swap_by - timedelta(minutes=handling.rest_min)
    return off_at if row.enough_at <= off_at else None


def _until_ready(row: CartRow, step: StepView | None, swap_by: datetime) -> str:
    code = row.battery.code
    if row.state == CartState.OUT:
        return f"{code} must not go out ({row.words.lower()}). Ask for a new plan."
    if row.state in (CartState.CHARGING, CartState.RESTING) and row.ready_at is not None:
        late = "" if row.ready_at <= swap_by else f": too late for {_clock(swap_by)}, see the other batteries"
        return f"Leave {code} where it is until {_clock(row.ready_at)}{late}."
    if row.state == CartState.IN_ROBOT:
        return f"Take {code} out of {row.outing.robot.name if row.outing and row.outing.robot else 'the robot'} first."
    if row.state == CartState.COOLING and row.next_at is not None:
        return f"{code} cools until {_clock(row.next_at)}, then put it on {_charger(step)}."
    return f"Put {code} on {_charger(step)} now."


def _charger(step: StepView | None) -> str:
    return step.charger.name if step and step.charger else "a charger"


def _clock(moment: datetime) -> str:
    return f"{timezone.localtime(moment):%H:%M}"
