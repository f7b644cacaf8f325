"""The charging board: what is on which charger and when it is ready, what may go out, what waits, what must not."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from datetime import date, datetime

from django.db.models import Exists, OuterRef, Q

from builds.models import Event, Outing
from builds.selectors.cart import CartRow, CartState, by_next_ready, cart
from builds.selectors.scan import find
from compliance.rules.battery_verdict import HealthVerdict
from compliance.selectors.battery_health import verdicts
from inventory.models import Battery, BatteryState, Charge, Charger
from inventory.selectors.batteries import chargers, open_charges
from inventory.services.charge_undo import UNDO
from shared.access import Scope
from shared.errors import DomainError
from shared.labels.codes import Kind

#: States in which a battery waits for somebody or for time.
WAITS = (CartState.WAITING, CartState.COOLING, CartState.RESTING, CartState.STORED)


@dataclass(frozen=True)
class Place:
    """A charger with what is on it; ``row`` None beside a charge: the battery is not on this event's cart."""

    charger: Charger
    charge: Charge | None = None
    row: CartRow | None = None

    @property
    def ready_at(self) -> datetime | None:
        return self.row.ready_at if self.row else None

    @property
    def battery(self) -> Battery | None:
        return self.charge.battery if self.charge else None


@dataclass(frozen=True)
class Held:
    """A battery that must not go out, or only for practice, with the reason."""

    row: CartRow
    word: str
    why: str
    practice: bool


@dataclass(frozen=True)
class Board:
    """Everything the board shows, each battery in one place only."""

    now: datetime
    event: Event | None
    go: tuple[CartRow, ...]
    places: tuple[Place, ...]
    free: tuple[Charger, ...]
    waits: tuple[CartRow, ...]
    in_robots: tuple[CartRow, ...]
    held: tuple[Held, ...]
    undo: tuple[Charge, ...]
    rows: Mapping[int, CartRow] = field(repr=False)
    verdicts: Mapping[int, HealthVerdict] = field(repr=False)

    @property
    def next_ready(self) -> Place | None:
        """The charger whose battery is ready next."""
        return next((place for place in self.places if place.ready_at and place.ready_at > self.now), None)

    @property
    def next_to_charge(self) -> CartRow | None:
        """What waits for a charger longest."""
        waiting = [row for row in self.waits if row.state == CartState.WAITING]
        return min(waiting, key=lambda row: row.since or self.now, default=None)


def event_on(scope: Scope, day: date) -> Event | None:
    """The event that is on; its minutes and its cart then hold for the board."""
    rows = scope.rows(Event).filter(starts_on__lte=day, ends_on__gte=day)
    return rows.order_by("starts_on", "pk").first()


def charging_board(scope: Scope, event: Event | None, now: datetime) -> Board:
    """The board of an event's cart, or of the whole team; a fixed number of queries."""
    rows = by_next_ready(cart(scope, event, now))
    told = verdicts(scope, [row.battery.pk for row in rows], now=now) if rows else {}
    by_battery = {row.battery.pk: row for row in rows}
    places = _places(scope, event, by_battery)
    held = tuple(found for row in rows if (found := _held(row, told.get(row.battery.pk))) is not None)
    out = {found.row.battery.pk for found in held}
    out |= {place.battery.pk for place in places if place.battery}
    rest = [row for row in rows if row.battery.pk not in out]
    return Board(
        now=now,
        event=event,
        go=tuple(row for row in rest if row.state == CartState.READY),
        places=tuple(sorted((p for p in places if p.charge), key=_by_ready)),
        free=tuple(place.charger for place in places if place.charge is None),
        waits=tuple(row for row in rest if row.state in WAITS),
        in_robots=tuple(row for row in rows if row.state == CartState.IN_ROBOT),
        held=held,
        undo=just_entered(scope, now),
        rows=by_battery,
        verdicts=told,
    )


def just_entered(scope: Scope, now: datetime) -> tuple[Charge, ...]:
    """Charges begun or ended within the last minute, newest first: these can be taken back.

    Not one whose battery went out or was put aside meanwhile, nor one that was put on earlier and is on still.
    """
    rows = scope.rows(Charge).filter(updated_at__gt=now - UNDO, updated_at__lte=now)
    rows = rows.filter(Q(created_at__gt=now - UNDO) | Q(ended_at__isnull=False))
    used = Outing.objects.filter(battery=OuterRef("battery"), started_at__gte=OuterRef("started_at"))
    aside = Q(battery__state__in=(BatteryState.QUARANTINE, BatteryState.RETIRED)) | Exists(used)
    rows = rows.exclude(Q(ended_at__isnull=False) & aside)
    return tuple(rows.select_related("battery", "charger").order_by("-updated_at")[:3])


def _places(scope: Scope, event: Event | None, rows: Mapping[int, CartRow]) -> list[Place]:
    """The chargers of the event, else of the team, and every other one that has something on it."""
    standing = {charge.charger_id: charge for charge in open_charges(scope)}
    known = list(chargers(scope).filter(events=event)) if event else []
    known = known or list(chargers(scope))
    seen = {charger.pk for charger in known}
    known += [charge.charger for charge in standing.values() if charge.charger_id not in seen]
    return [_place(charger, standing.get(charger.pk), rows) for charger in known]


def _place(charger: Charger, charge: Charge | None, rows: Mapping[int, CartRow]) -> Place:
    return Place(charger, charge, rows.get(charge.battery_id) if charge else None)


def _by_ready(place: Place) -> tuple[bool, float, str]:
    moment = place.ready_at
    return moment is None, moment.timestamp() if moment else 0.0, place.charger.name


def _held(row: CartRow, verdict: HealthVerdict | None) -> Held | None:
    """Why a battery must not go out, if it must not; one kept for practice is told apart."""
    if row.state == CartState.OUT or (verdict is not None and not verdict.may_practice):
        word = verdict.word if verdict else str(row.battery.get_state_display())
        why = row.battery.state_reason or (verdict.sentence if verdict else "")
        return Held(row, word, why, practice=False)
    if row.state in (CartState.IN_ROBOT, CartState.CHARGING):
        return None
    if verdict is not None and not verdict.may_match:
        return Held(row, verdict.word, verdict.sentence, practice=True)
    return None


def free_chargers(board: Board) -> Iterable[Charger]:
    """Chargers with nothing on them, the strongest first: it is done soonest."""
    return sorted(board.free, key=lambda charger: (-(charger.current_a or 0.0), charger.name))


def chargeable(board: Board) -> list[CartRow]:
    """Batteries that may go on a charger now, those that wait for one first."""
    on = {place.battery.pk for place in board.places if place.battery}
    rows = [
        row for row in board.rows.values() if row.battery.pk not in on and not must_not_charge(row.battery)
    ]
    return sorted(rows, key=lambda row: (row.state != CartState.WAITING, row.battery.code))


def battery_by_code(scope: Scope, text: str) -> Battery:
    """The battery that a scanned or typed text means; anything else is refused in words."""
    thing = find(scope, text)
    if thing.kind != Kind.BATTERY:
        raise DomainError(f"{text.strip()} is {thing}", field="code", value=text, remedy="Scan a battery")
    return scope.get(Battery.objects.select_related("model"), pk=thing.pk)


def must_not_charge(battery: Battery) -> bool:
    """Quarantined and retired batteries go on no charger."""
    return battery.state in (BatteryState.QUARANTINE, BatteryState.RETIRED)
