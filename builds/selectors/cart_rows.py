"""What is read for the cart: the newest charges, outings and readings of every battery, in few queries."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from datetime import datetime, timedelta
from typing import Any, TypeVar

from django.db.models import F, Model, QuerySet, Window
from django.db.models.functions import RowNumber

from builds.match_study.batteries import tested_ah
from builds.models import Event, Handling, Outing
from builds.selectors.expected import ExpectedCharge, expected_charge
from inventory.models import Battery, BatteryState, Charge, Reading
from inventory.selectors.batteries import cycles_since_intake
from shared.access import Scope

#: So much of a battery's past tells its state of charge: a charge or two, and what it did since.
NEWEST = 12

M = TypeVar("M", bound=Model)


@dataclass(frozen=True)
class BatteryRows:
    """One battery with its newest rows, oldest first."""

    battery: Battery
    charges: Sequence[Charge]
    outings: Sequence[Outing]
    readings: Sequence[Reading]
    capacity_ah: float
    cycles: int

    @property
    def in_robot(self) -> Outing | None:
        return next((row for row in reversed(self.outings) if row.in_robot), None)

    @property
    def charging(self) -> Charge | None:
        return next((row for row in reversed(self.charges) if row.ended_at is None), None)

    @property
    def last_charge(self) -> Charge | None:
        return self.charges[-1] if self.charges else None

    @property
    def last_outing(self) -> Outing | None:
        return self.outings[-1] if self.outings else None

    @property
    def last_charge_end(self) -> datetime | None:
        return max((row.ended_at for row in self.charges if row.ended_at is not None), default=None)

    def last_outing_end(self, handling: Handling) -> datetime | None:
        return max((out_of_robot(row, handling) for row in self.outings if not row.in_robot), default=None)


@dataclass(frozen=True)
class CartRows:
    """Everything the cart is worked out from."""

    batteries: Sequence[Battery]
    handling: Handling
    expected: ExpectedCharge
    charges: Mapping[int, Sequence[Charge]] = field(repr=False)
    outings: Mapping[int, Sequence[Outing]] = field(repr=False)
    readings: Mapping[int, Sequence[Reading]] = field(repr=False)
    tested_ah: Mapping[int, float] = field(repr=False)
    cycles: Mapping[int, int] = field(repr=False)

    def of(self, battery: Battery) -> BatteryRows:
        """What was read of one battery."""
        pk = battery.pk
        return BatteryRows(
            battery=battery,
            charges=self.charges.get(pk, ()),
            outings=self.outings.get(pk, ()),
            readings=self.readings.get(pk, ()),
            capacity_ah=self.tested_ah.get(pk) or battery.model.capacity_ah,
            cycles=battery.cycles_at_intake + self.cycles.get(pk, 0),
        )


def out_of_robot(outing: Outing, handling: Handling) -> datetime:
    """When a battery came out again: as noted, else as long after its match began (or it went in) as usual."""
    if outing.ended_at is not None:
        return outing.ended_at
    back = timedelta(minutes=handling.back_after_min)
    if outing.match is not None:
        return max(outing.started_at, outing.match.starts_at + back)
    return outing.started_at + back


def came_back_unused(outing: Outing) -> bool:
    """Whether a battery was taken out again before its match began: it gave nothing, and the match needs one still."""
    if outing.match is None or outing.ended_at is None or outing.used_ah:
        return False
    return outing.ended_at < outing.match.starts_at


def handling_of(event: Event | None) -> Handling:
    """How the event handles its batteries; common practice where nobody entered it. One query."""
    found = Handling.objects.filter(event=event).first() if event is not None else None
    return found or Handling()


def batteries_on_cart(scope: Scope, event: Event | None) -> list[Battery]:
    """The batteries chosen for the event, else all of the team that are not retired; two queries."""
    rows = scope.rows(Battery).filter(archived=False).select_related("model").order_by("code")
    chosen = list(rows.filter(events=event)) if event is not None else []
    return chosen or list(rows.exclude(state=BatteryState.RETIRED))


def read_cart(scope: Scope, event: Event | None) -> CartRows:
    """What the cart of an event (None: of the team) is worked out from, in eleven queries at most."""
    batteries = batteries_on_cart(scope, event)
    ids = [battery.pk for battery in batteries]
    charges = scope.rows(Charge).filter(battery_id__in=ids).select_related("charger")
    outings = scope.rows(Outing).filter(battery_id__in=ids).select_related("robot", "match")
    readings = scope.rows(Reading).filter(battery_id__in=ids)
    return CartRows(
        batteries=batteries,
        handling=handling_of(event),
        expected=expected_charge(scope),
        charges=_newest(charges, "started_at"),
        outings=_newest(outings, "started_at"),
        readings=_newest(readings, "taken_at"),
        tested_ah=tested_ah(scope),
        cycles=cycles_since_intake(scope),
    )


def _newest(rows: QuerySet[M], moment: str) -> dict[int, list[M]]:
    """Battery -> its newest rows, oldest first; one query."""
    ranked = rows.annotate(
        nth=Window(RowNumber(), partition_by=F("battery_id"), order_by=F(moment).desc())
    ).filter(nth__lte=NEWEST)
    found: dict[int, list[Any]] = {}
    for row in ranked.order_by(moment, "pk"):
        found.setdefault(row.battery_id, []).append(row)  # type: ignore[attr-defined]
    return found
