"""Bins, spools, suppliers with their offers, and what came in, was used, thrown away and counted."""

from __future__ import annotations

from decimal import Decimal
from random import Random

from compliance.demo.catalogue import NOT_HELD, Catalogue
from compliance.demo.clock import LEDGER_BEGAN, PAST_EVENT, Clock
from compliance.demo.faults import NO_OFFER, ON_HAND, SLOW_OFFER
from compliance.demo.people import GULL
from compliance.demo.rows import put_many
from inventory.models import Bin, Offer, Part, PartKind, Spool, Supplier, Unit, WireType
from inventory.services.ledger import stock_count, stock_move, stock_receive, stock_scrap, stock_use
from inventory.services.spools import spool_create
from shared.access import Scope

#: code -> (name, goes to events)
BINS: dict[str, tuple[str, bool]] = {
    "A1": ("Shelf A, terminals", False),
    "A2": ("Shelf A, fuses and breakers", False),
    "B1": ("Shelf B, spools", False),
    "B2": ("Shelf B, components", False),
    "C1": ("Drawers, small parts", False),
    "CRATE-1": ("Event crate 1", True),
    "CRATE-2": ("Event crate 2, spools", True),
}
HOME = {
    PartKind.TERMINAL: "A1",
    PartKind.DEVICE: "A2",
    PartKind.BATTERY: "B2",
    PartKind.COMPONENT: "B2",
    PartKind.OTHER: "C1",
}
#: How many of each kind came in at first.
FIRST = {
    PartKind.TERMINAL: 120,
    PartKind.DEVICE: 24,
    PartKind.BATTERY: 3,
    PartKind.COMPONENT: 8,
    PartKind.OTHER: 120,
}
#: What the past event used up: part -> pieces, or metres of wire.
USED_AT_PAST: dict[str, str] = {
    "FER-18": "4",
    "FER-22": "3",
    "RING-Y-M5": "3",
    "BLADE-R": "2",
    "BL20": "2",
    "BL02": "3",
    "MX40": "1",
    "TIE-S": "12",
    "NUT-M8": "2",
    "CAMERA": "1",
    "W18P": "1.2",
    "W22P": "0.8",
}
#: (supplier, contact, days to the shelf, price factor)
SUPPLIERS: tuple[tuple[str, str, int, str], ...] = (
    ("Quayside Electrical", "orders@quayside.example", 2, "1.10"),
    ("Slipway Supplies", "desk@slipway.example", 4, "1.00"),
)
SLOW = ("Far Shore Surplus", "post@farshore.example", 21, "0.80")
PRICE = {
    PartKind.WIRE: "0.90",
    PartKind.TERMINAL: "0.35",
    PartKind.DEVICE: "2.40",
    PartKind.BATTERY: "62.00",
    PartKind.COMPONENT: "48.00",
    PartKind.OTHER: "1.20",
}
PACK = {PartKind.WIRE: 10, PartKind.TERMINAL: 25, PartKind.DEVICE: 5, PartKind.OTHER: 10}


def make_stock(scope: Scope, parts: Catalogue, clock: Clock, chance: Random) -> None:
    """Fill the stores of one team, through the ledger."""
    bins = {
        code: Bin(team=scope.team, code=code, name=name, travels=travels)
        for code, (name, travels) in BINS.items()
    }
    put_many(scope, list(bins.values()))
    _make_offers(scope, parts)
    spools = _make_spools(scope, parts, bins, clock)
    for part in parts.values():
        if part.kind != PartKind.WIRE:
            _receive(scope, part, bins, clock)
    _use_at_past_event(scope, parts, bins, spools, clock)
    stock_scrap(
        scope=scope, part=parts["FER-14"], bin=bins["A1"], quantity=2, reason="Crushed in the drawer",
        at=clock.at(PAST_EVENT[0] + 10),
    )  # fmt: skip
    for code, count in ON_HAND.get(scope.team.slug, {}).items():
        home = bins[HOME[PartKind(parts[code].kind)]]
        stock_count(
            scope=scope, part=parts[code], bin=home, quantity=Decimal(count), reason="Counted after the meet",
            at=clock.at(-9, 18, chance.randrange(60)),
        )  # fmt: skip


def _make_offers(scope: Scope, parts: Catalogue) -> None:
    rows = [*SUPPLIERS, SLOW]
    suppliers = put_many(scope, [Supplier(team=scope.team, name=row[0], contact=row[1]) for row in rows])
    offers = []
    for part in parts.values():
        if part.code in NO_OFFER.get(scope.team.slug, ()):
            continue
        slow = part.code in SLOW_OFFER.get(scope.team.slug, ())
        for supplier, row in zip(suppliers, rows, strict=True):
            if slow == (row is SLOW):
                offers.append(_offer(scope, part, supplier, row[2], Decimal(row[3])))
    put_many(scope, offers)


def _offer(scope: Scope, part: Part, supplier: Supplier, days: int, factor: Decimal) -> Offer:
    kind = PartKind(part.kind)
    pack = Decimal(PACK.get(kind, 1))
    return Offer(
        team=scope.team,
        part=part,
        supplier=supplier,
        supplier_code=f"{supplier.name[:1]}-{part.code}",
        price=(Decimal(PRICE[kind]) * pack * factor).quantize(Decimal("0.01")),
        pack_size=pack,
        lead_time_days=days,
    )


def _make_spools(scope: Scope, parts: Catalogue, bins: dict[str, Bin], clock: Clock) -> dict[str, Spool]:
    """Two spools of every wire on the shelf (one for the crate), a remnant at Gull Point; returns the crate's."""
    crate: dict[str, Spool] = {}
    number = 0
    for code, part in parts.items():
        wire = parts.get_as(WireType, code) if part.kind == PartKind.WIRE and code not in NOT_HELD else None
        if wire is None:
            continue
        for length, place in ((60, "B1"), (25, "CRATE-2")):
            number += 1
            crate[code] = spool_create(
                scope=scope, code=f"S{number:02d}", wire=wire, bin=bins[place], full_length_m=Decimal(length),
                at=clock.at(LEDGER_BEGAN, 10),
            )  # fmt: skip
    if scope.team.slug == GULL:
        spool_create(
            scope=scope, code="S25", wire=crate["W18P"].wire, bin=bins["B1"], full_length_m=Decimal(25),
            remaining_m=Decimal("3.4"), reason="Remnant", at=clock.at(LEDGER_BEGAN + 200, 10),
        )  # fmt: skip
    return crate


def _receive(scope: Scope, part: Part, bins: dict[str, Bin], clock: Clock) -> None:
    kind = PartKind(part.kind)
    home, count = bins[HOME[kind]], FIRST[kind]
    stock_receive(
        scope=scope, part=part, bin=home, quantity=count, reason="First stock", at=clock.at(LEDGER_BEGAN, 11)
    )
    if part.unit == Unit.EACH and part.code in USED_AT_PAST:
        stock_move(
            scope=scope, part=part, bin=home, to_bin=bins["CRATE-1"], quantity=count // 4,
            reason="Packed for the meet", at=clock.at(PAST_EVENT[0] - 2),
        )  # fmt: skip


def _use_at_past_event(
    scope: Scope, parts: Catalogue, bins: dict[str, Bin], spools: dict[str, Spool], clock: Clock
) -> None:
    for nth, (code, amount) in enumerate(USED_AT_PAST.items()):
        part, spool = parts[code], spools.get(code)
        stock_use(
            scope=scope, part=part, bin=bins["CRATE-2" if spool else "CRATE-1"], spool=spool,
            quantity=Decimal(amount), reason="Repair in the pit", at=clock.at(PAST_EVENT[nth % 2], 10 + nth % 6, 7),
        )  # fmt: skip
