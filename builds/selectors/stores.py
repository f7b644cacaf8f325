"""What builds and events ask of the stores, beside what the stores hold: two pages and their API read this."""

from __future__ import annotations

from collections.abc import Collection
from dataclasses import dataclass
from datetime import date
from decimal import Decimal

from builds.models import Build, Event
from builds.selectors.bill import BillLine, Gap, bill_of_materials
from builds.selectors.demand import EventDemand, PartDemand, demand_before
from inventory.models import Part
from inventory.selectors.stock import Place, offers_by_part, places_by_part
from inventory.selectors.supply import OrderAdvice, order_advice
from shared.access import Scope

ZERO = Decimal(0)


@dataclass(frozen=True)
class BillRow:
    """A line of a bill with its part and what the stores hold of it."""

    part: Part
    line: BillLine
    on_hand: Decimal

    @property
    def short(self) -> Decimal:
        """What neither the robot nor the stores have."""
        return max(ZERO, self.line.lacking - self.on_hand)

    @property
    def used_for(self) -> str:
        """The circuits and notes that ask for it, each once, by what it is for."""
        words: dict[str, list[str]] = {}
        for use in self.line.uses:
            words.setdefault(str(use.what_for), []).append(use.label)
        named = {what: ", ".join(dict.fromkeys(filter(None, labels))) for what, labels in words.items()}
        return "; ".join(f"{what} {labels}".strip() for what, labels in named.items())


@dataclass(frozen=True)
class BuildBill:
    rows: tuple[BillRow, ...]
    gaps: tuple[Gap, ...]

    @property
    def lacking(self) -> list[BillRow]:
        return [row for row in self.rows if row.line.lacking > 0]

    @property
    def short(self) -> list[BillRow]:
        return [row for row in self.rows if row.short > 0]


@dataclass(frozen=True)
class EventNeed:
    """A part an event asks for, what is there, and the order that would cover the rest."""

    part: Part
    demand: PartDemand
    places: tuple[Place, ...]
    advice: OrderAdvice | None

    @property
    def on_hand(self) -> Decimal:
        return _sum(self.places)

    @property
    def short(self) -> Decimal:
        return max(ZERO, self.demand.total - self.on_hand)


@dataclass(frozen=True)
class EventNeeds:
    """What an event will eat: short parts first, those to be ordered soonest on top."""

    demand: EventDemand
    goods_by: date
    rows: tuple[EventNeed, ...]

    @property
    def short(self) -> list[EventNeed]:
        return [row for row in self.rows if row.short > 0]

    @property
    def order_days(self) -> list[date]:
        return sorted({row.advice.last_day for row in self.short if row.advice})


def build_bill(scope: Scope, build: Build) -> BuildBill:
    """The bill of one build: what is short first, then what lacks, then the rest by code."""
    bill = bill_of_materials(scope, [build])
    parts = _parts(scope, [line.part_id for line in bill.lines])
    places = places_by_part([scope.team.pk])
    rows = [BillRow(parts[x.part_id], x, _sum(places.get(x.part_id, ()))) for x in bill.lines]
    rows.sort(key=lambda row: (row.short <= 0, row.line.lacking <= 0, row.part.code))
    return BuildBill(tuple(rows), bill.gaps)


def event_needs(scope: Scope, event: Event, *, today: date) -> EventNeeds:
    """What an event asks for, part by part; the queries do not grow with parts or robots."""
    demand = demand_before(scope, event)
    goods_by = event.goods_by or event.starts_on
    wanted = {part_id: found for part_id, found in demand.parts.items() if found.total > 0 or found.lacks}
    parts = _parts(scope, wanted)
    places, offers = places_by_part([scope.team.pk]), offers_by_part([scope.team.pk])
    rows = []
    for part_id, found in wanted.items():
        there = tuple(places.get(part_id, ()))
        short = found.total - _sum(there)
        advice = order_advice(offers.get(part_id, []), short=short, goods_by=goods_by, today=today)
        rows.append(EventNeed(parts[part_id], found, there, advice))
    rows.sort(key=lambda r: (r.short <= 0, r.advice.last_day if r.advice else date.min, r.part.code))
    return EventNeeds(demand, goods_by, tuple(rows))


def _parts(scope: Scope, ids: Collection[int]) -> dict[int, Part]:
    return {part.pk: part for part in scope.rows(Part).filter(pk__in=list(ids))}


def _sum(places: Collection[Place]) -> Decimal:
    return sum((place.quantity for place in places), ZERO)
