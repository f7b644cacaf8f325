"""The cart: where every battery is now, what is left in it, and when it may go out again.

One place for the charging board, the event page and the plan. What comes after what: in the robot, cooling, waiting for
a charger, on a charger, resting, ready; nothing for some days after that: stored.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime, timedelta

from django.db.models import TextChoices

from builds.models import Event, Handling, Outing
from builds.selectors.cart_charge import Level, Phase, Tank
from builds.selectors.cart_rows import BatteryRows, CartRows, read_cart
from inventory.models import Battery, BatteryState, Charge, Charger
from shared.access import Scope

#: A battery that nothing happened to for longer is stored: what is left in it is then a guess (our choice).
STORED_AFTER = timedelta(days=3)


class CartState(TextChoices):
    IN_ROBOT = "robot", "In robot"
    COOLING = "cooling", "Cooling"
    WAITING = "waiting", "Waiting for a charger"
    CHARGING = "charging", "On charger"
    RESTING = "resting", "Resting"
    READY = "ready", "Ready"
    STORED = "stored", "Stored"
    OUT = "out", "Out of service"


@dataclass(frozen=True, slots=True)
class CartRow:
    """One battery now. ``charge_frac`` None: not known; of one in a robot it is what it went in with.

    ``next_at``: when ``next_state`` comes by itself; ``ready_at``: from when it may go out, if nothing else happens
    to it; None: only if somebody does something. ``enough_at``: when a running charge reaches what the event asks for.
    ``charge_words``: how the state of charge is known, in a sentence.
    """

    battery: Battery
    state: CartState
    phase: Phase | None
    since: datetime | None
    next_at: datetime | None
    next_state: CartState | None
    ready_at: datetime | None
    level: Level
    capacity_ah: float
    cycles: int
    charger: Charger | None
    charge: Charge | None
    outing: Outing | None
    enough_at: datetime | None = None

    @property
    def charge_frac(self) -> float | None:
        return self.level.frac

    @property
    def charge_words(self) -> str:
        return self.level.words

    @property
    def practice_only(self) -> bool:
        return bool(self.battery.state == BatteryState.PRACTICE)

    @property
    def words(self) -> str:
        """The state in words: where it is, or why it is out of service."""
        if self.state == CartState.OUT:
            reason = f": {self.battery.state_reason}" if self.battery.state_reason else ""
            return f"{self.battery.get_state_display()}{reason}"
        if self.state == CartState.IN_ROBOT and self.outing and self.outing.robot:
            return f"In {self.outing.robot.name}"
        if self.state == CartState.CHARGING and self.charger:
            phase = f", {self.phase.label.lower()}" if self.phase else ""
            return f"On {self.charger.name}{phase}"
        return str(self.state.label)


def cart(scope: Scope, event: Event | None, now: datetime) -> tuple[CartRow, ...]:
    """Every battery on the cart of the event (without one: of the team) by code, in eleven queries at most."""
    rows = read_cart(scope, event)
    return tuple(cart_row(battery, rows, now) for battery in rows.batteries)


def by_next_ready(rows: tuple[CartRow, ...]) -> tuple[CartRow, ...]:
    """The same, ready ones first, then by when they will be; those that wait for somebody, then the rest, last."""
    late = datetime.max.replace(tzinfo=None)
    order = list(CartState)

    def key(row: CartRow) -> tuple[bool, datetime, int, str]:
        ready_at = row.ready_at.replace(tzinfo=None) if row.ready_at else late
        return row.ready_at is None, ready_at, order.index(row.state), row.battery.code

    return tuple(sorted(rows, key=key))


def cart_row(battery: Battery, rows: CartRows, now: datetime) -> CartRow:
    """One battery of what was read."""
    mine = rows.of(battery)
    tank = Tank(mine, rows, now)
    state, since, next_state, next_at, phase = _where(mine, tank, rows.handling, now)
    charging = mine.charging if state == CartState.CHARGING else None
    return CartRow(
        battery=battery,
        state=state,
        phase=phase,
        since=since,
        next_at=next_at,
        next_state=next_state,
        ready_at=_ready_at(state, since, next_at, tank, rows.handling),
        level=tank.level,
        capacity_ah=mine.capacity_ah,
        cycles=mine.cycles,
        charger=charging.charger if charging else None,
        charge=charging or mine.last_charge,
        outing=mine.in_robot or mine.last_outing,
        enough_at=tank.enough_at if charging else None,
    )


_Where = tuple[CartState, datetime | None, CartState | None, datetime | None, Phase | None]


def _where(mine: BatteryRows, tank: Tank, handling: Handling, now: datetime) -> _Where:
    """State, since when, the next state and when that comes, phase of the charge."""
    if mine.in_robot is not None:
        match = mine.in_robot.match
        back = match.starts_at + timedelta(minutes=handling.back_after_min) if match else None
        return CartState.IN_ROBOT, mine.in_robot.started_at, CartState.COOLING, back, None
    if mine.battery.state in (BatteryState.QUARANTINE, BatteryState.RETIRED):
        return CartState.OUT, None, None, None, None
    if mine.charging is not None:
        until = tank.full_at
        resting = CartState.RESTING if until else None
        return CartState.CHARGING, mine.charging.started_at, resting, until, tank.phase
    charged, used = mine.last_charge_end, mine.last_outing_end(handling)
    enough = tank.level.frac is not None and tank.level.frac >= handling.least_charge_frac - 1e-9
    if used is not None and (charged is None or used > charged):
        cool_at = used + timedelta(minutes=handling.cool_min)
        after = CartState.READY if enough else CartState.WAITING
        if now < cool_at:
            return CartState.COOLING, used, after, cool_at, None
        return after, cool_at, None, None, None
    if charged is not None:
        rested_at = charged + timedelta(minutes=handling.rest_min)
        if not enough:
            return CartState.WAITING, charged, None, None, None
        if now < rested_at:
            return CartState.RESTING, charged, CartState.READY, rested_at, None
        if now - rested_at <= STORED_AFTER:
            return CartState.READY, rested_at, None, None, None
        return CartState.STORED, rested_at, None, None, None
    return CartState.STORED, None, None, None, None


def _ready_at(
    state: CartState, since: datetime | None, next_at: datetime | None, tank: Tank, handling: Handling
) -> datetime | None:
    if state == CartState.CHARGING:
        return tank.full_at and tank.full_at + timedelta(minutes=handling.rest_min)
    if state == CartState.RESTING:
        return next_at
    if state == CartState.READY:
        return since
    enough = tank.level.frac is not None and tank.level.frac >= handling.least_charge_frac - 1e-9
    if state == CartState.COOLING and enough:
        return next_at
    return since if state == CartState.STORED and enough else None
