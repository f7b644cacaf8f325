"""What lies where, what the ledger says, and who sells it: read for many parts at once."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Collection
from dataclasses import dataclass
from decimal import Decimal

from django.db.models import QuerySet, Sum

from inventory.models import Movement, Offer, Part, PartKind, Spool, StockItem, WireType
from shared.access import Scope


@dataclass(frozen=True)
class Place:
    """A part in one bin; wire is summed over the spools that lie there."""

    bin_id: int
    bin_code: str
    travels: bool
    quantity: Decimal
    spools: int = 0


@dataclass(frozen=True)
class PartStock:
    """A part with what there is of it."""

    part: Part
    on_hand: Decimal
    places: tuple[Place, ...]
    offers: tuple[Offer, ...]

    @property
    def below_floor(self) -> bool:
        return self.on_hand < self.part.minimum_stock

    @property
    def soonest_offer(self) -> Offer | None:
        """The offer that is there first; of equals the cheapest pack."""
        return min(self.offers, key=lambda offer: offer.lead_time_days, default=None)


@dataclass(frozen=True)
class LedgerDifference:
    """A running total that is not the sum of its lines: never, unless somebody went round the ledger."""

    label: str
    total: Decimal
    lines: Decimal


def stock_table(
    scope: Scope, *, kinds: Collection[str] = (), archived: bool = False, search: str = ""
) -> list[PartStock]:
    """The team's parts by code with their places and offers, in four queries however many there are."""
    parts = scope.rows(Part).filter(archived=archived).order_by("code")
    if kinds:
        parts = parts.filter(kind__in=kinds)
    if search:
        parts = parts.filter(code__icontains=search) | parts.filter(name__icontains=search)
    places = places_by_part([scope.team.pk])
    offers = offers_by_part([scope.team.pk])
    return [
        PartStock(
            part=part,
            on_hand=sum((p.quantity for p in places.get(part.pk, ())), Decimal(0)),
            places=tuple(places.get(part.pk, ())),
            offers=tuple(offers.get(part.pk, ())),
        )
        for part in parts
    ]


def places_by_part(team_ids: Collection[int]) -> dict[int, list[Place]]:
    """Part id -> where it lies and how much, largest first; two queries for any number of teams."""
    found: dict[int, list[Place]] = defaultdict(list)
    counted = StockItem.objects.filter(team_id__in=team_ids, quantity__gt=0).values_list(
        "part_id", "bin_id", "bin__code", "bin__travels", "quantity"
    )
    for part_id, bin_id, code, travels, quantity in counted.order_by():
        found[part_id].append(Place(bin_id, code, travels, quantity))
    wire: dict[tuple[int, int, str, bool], list[Decimal]] = defaultdict(list)
    spools = Spool.objects.filter(team_id__in=team_ids, remaining_m__gt=0, archived=False).values_list(
        "wire_id", "bin_id", "bin__code", "bin__travels", "remaining_m"
    )
    for wire_id, bin_id, code, travels, length in spools.order_by():
        wire[wire_id, bin_id, code, travels].append(length)
    for (wire_id, bin_id, code, travels), lengths in wire.items():
        found[wire_id].append(Place(bin_id, code, travels, sum(lengths, Decimal(0)), len(lengths)))
    for places in found.values():
        places.sort(key=lambda p: (-p.quantity, p.bin_code))
    return dict(found)


def on_hand(scope: Scope, part: Part) -> Decimal:
    """How much of one part the team holds in all bins and on all spools."""
    if part.kind == PartKind.WIRE:
        spools = scope.rows(Spool).filter(wire_id=part.pk, archived=False)
        return sum(spools.values_list("remaining_m", flat=True), Decimal(0))
    return sum(scope.rows(StockItem).filter(part=part).values_list("quantity", flat=True), Decimal(0))


def offers_by_part(team_ids: Collection[int]) -> dict[int, list[Offer]]:
    """Part id -> offers that stand, cheapest pack first; one query."""
    found: dict[int, list[Offer]] = defaultdict(list)
    rows = Offer.objects.filter(team_id__in=team_ids, archived=False, supplier__archived=False)
    for offer in rows.select_related("supplier").order_by("price", "pk"):
        found[offer.part_id].append(offer)
    return dict(found)


def spools(scope: Scope, *, wire: WireType | None = None, archived: bool = False) -> QuerySet[Spool]:
    """The team's spools with wire and bin, shortest rest first so that remnants are used up."""
    rows = scope.rows(Spool).filter(archived=archived).select_related("wire", "bin")
    if wire is not None:
        rows = rows.filter(wire=wire)
    return rows.order_by("wire__code", "remaining_m", "code")


def ledger(
    scope: Scope, *, part: Part | None = None, spool: Spool | None = None, kind: str = ""
) -> QuerySet[Movement]:
    """Lines of the ledger, newest first, with everything a page shows of them."""
    rows = scope.rows(Movement).select_related("part", "bin", "spool", "by").order_by("-at", "-pk")
    if part is not None:
        rows = rows.filter(part=part)
    if spool is not None:
        rows = rows.filter(spool=spool)
    return rows.filter(kind=kind) if kind else rows


def ledger_differences(scope: Scope) -> list[LedgerDifference]:
    """Totals that are not the sum of their lines; an empty list is the proof that the ledger is whole."""
    lines: dict[tuple[int, int, int | None], Decimal] = {
        (part_id, bin_id, spool_id): Decimal(total).quantize(Decimal("0.001"))
        for part_id, bin_id, spool_id, total in scope.rows(Movement)
        .order_by()
        .values_list("part_id", "bin_id", "spool_id")
        .annotate(total=Sum("quantity"))
    }
    totals: dict[tuple[int, int, int | None], tuple[str, Decimal]] = {
        (i.part_id, i.bin_id, None): (str(i), i.quantity)
        for i in scope.rows(StockItem).select_related("part", "bin")
    }
    for spool in scope.rows(Spool):
        totals[spool.wire_id, spool.bin_id, spool.pk] = (f"spool {spool.code}", spool.remaining_m)
    answers = []
    for key in sorted(lines.keys() | totals.keys(), key=str):
        label, total = totals.get(key, (f"part {key[0]} in bin {key[1]}", Decimal(0)))
        if total != lines.get(key, Decimal(0)):
            answers.append(LedgerDifference(label, total, lines.get(key, Decimal(0))))
    return answers
