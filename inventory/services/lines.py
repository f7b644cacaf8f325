"""How a line of the ledger is posted: lock in one order, change the total on a condition, write the line."""

from __future__ import annotations

import uuid
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime
from decimal import Decimal
from typing import Any

from django.db import IntegrityError, transaction
from django.db.models import F, QuerySet
from django.db.models.functions import Round

from inventory.models import Bin, Movement, MovementKind, Part, PartKind, Spool, StockItem
from inventory.services.quantities import checked_moment, shown
from shared.access import Can, Scope
from shared.errors import Conflict, DomainError, NotEnoughStock
from shared.records import sweeps_after

#: Rows that were loaded already; whether they belong to the team is checked all the same.
_GIVEN_AS_ROWS = ["team", "part", "bin", "spool", "by"]

#: A line's request_id for the second and later lines of one request.
_SECOND = "line {}"


@dataclass(frozen=True)
class Holder:
    """What holds the running total a line changes: a part in a bin, or a spool."""

    part: Part
    bin: Bin
    spool: Spool | None

    @property
    def place(self) -> str:
        return f"on spool {self.spool.code}" if self.spool else f"in bin {self.bin.code}"


@dataclass(frozen=True)
class Line:
    """A line to post. ``quantity`` is signed; for a count it is the counted total unless ``relative``."""

    kind: MovementKind
    holder: Holder
    quantity: Decimal
    reason: str
    relative: bool = False

    @property
    def is_count(self) -> bool:
        return self.kind == MovementKind.COUNT and not self.relative


@dataclass(frozen=True)
class Source:
    """When it happened and which request asked for it."""

    at: datetime
    request_id: uuid.UUID


def holder_of(
    *, part: Part, bin: Bin, spool: Spool | None = None, fills: bool = False, undo: bool = False
) -> Holder:
    """The holder of a part in a bin or on a spool, or a sentence that says which is missing."""
    if spool is None and part.kind == PartKind.WIRE:
        raise DomainError(
            f"{part.code} is wire, which is kept on spools",
            field="spool",
            remedy="Say which spool; wire that came in is entered as a new spool",
        )
    if spool is not None and spool.wire_id != part.pk:
        raise DomainError(
            f"Spool {spool.code} holds another wire type than {part.code}", field="spool", value=spool.code
        )
    if spool is not None and spool.bin_id != bin.pk and not undo:
        raise DomainError(
            f"Spool {spool.code} does not lie in {bin.code}",
            field="bin",
            value=bin.code,
            remedy=f"It lies in {spool.bin.code}",
        )
    if fills and not undo and (bin.archived or part.archived):
        raise DomainError(
            f"{bin.code if bin.archived else part.code} is archived",
            field="bin" if bin.archived else "part",
            remedy="Bring it back first, or choose another",
        )
    return Holder(part, bin if not (undo and spool) else spool.bin, spool)


def post(
    *, scope: Scope, lines: Sequence[Line], source: Source, trigger: str, group: uuid.UUID | None = None
) -> list[Movement]:
    """Post the lines together, or return the lines the same request posted before."""
    scope.require(Can.WORK)
    checked_moment(source.at)
    for line in lines:
        _check_team(scope, line.holder)
    ids = request_ids(source.request_id, len(lines))
    earlier = _earlier(scope, ids, lines)
    if earlier is not None:
        return earlier
    try:
        with transaction.atomic():
            made = _post_new(scope, lines, ids, source.at, group or source.request_id)
            sweeps_after(made[:1], scope=scope, trigger=trigger)
            return made
    except IntegrityError:
        # The same request, sent twice at once: the other one was first and its lines stand.
        earlier = _earlier(scope, ids, lines)
        if earlier is None:
            raise
        return earlier


def request_ids(first: uuid.UUID, count: int) -> list[uuid.UUID]:
    """The request id of each line of a request: its own for the first, one derived from it for each other."""
    return [first, *(uuid.uuid5(first, _SECOND.format(i)) for i in range(1, count))]


def _check_team(scope: Scope, holder: Holder) -> None:
    for row in (holder.part, holder.bin, holder.spool):
        if row is not None and row.team_id != scope.team.pk:
            raise Conflict(f"{row} belongs to another team", field=row._meta.model_name or "")


def _earlier(scope: Scope, ids: Sequence[uuid.UUID], lines: Sequence[Line]) -> list[Movement] | None:
    """The lines this request posted before; a request id that was used for something else is refused."""
    found = {m.request_id: m for m in Movement.objects.filter(request_id__in=ids)}
    if not found:
        return None
    for request_id, line in zip(ids, lines, strict=True):
        old = found.get(request_id)
        if old is None or old.team_id != scope.team.pk or not _says(old, line):
            raise Conflict(
                "This request was already used for another movement",
                field="request_id",
                value=str(ids[0]),
                remedy="Send a new request id with a new movement",
            )
    return [found[i] for i in ids]


def _says(old: Movement, line: Line) -> bool:
    spool_id = line.holder.spool.pk if line.holder.spool else None
    same = (old.kind, old.part_id, old.spool_id) == (line.kind, line.holder.part.pk, spool_id)
    same_place = old.bin_id == line.holder.bin.pk or spool_id is not None
    amount = old.balance if line.is_count else old.quantity
    return same and same_place and amount == line.quantity and old.reason == line.reason.strip()


def _post_new(
    scope: Scope, lines: Sequence[Line], ids: Sequence[uuid.UUID], at: datetime, group: uuid.UUID
) -> list[Movement]:
    """Change the totals in the order of their keys (crossing moves cannot deadlock), then write the lines."""
    totals = {i: _total(line.holder) for i, line in enumerate(lines)}
    after: dict[int, tuple[Decimal, Decimal]] = {}
    for i in sorted(totals, key=lambda i: (type(totals[i]).__name__, totals[i].pk)):
        after[i] = _change(totals[i], lines[i])
    made = []
    for i, line in enumerate(lines):
        movement = Movement(
            team=scope.team,
            kind=line.kind,
            part=line.holder.part,
            bin=line.holder.bin,
            spool=line.holder.spool,
            quantity=after[i][0],
            balance=after[i][1],
            reason=line.reason.strip(),
            at=at,
            by=scope.user,
            request_id=ids[i],
            group=group,
        )
        # The request id is left to its unique index: a look beforehand misses a request that is under way.
        movement.full_clean(exclude=_GIVEN_AS_ROWS, validate_unique=False, validate_constraints=False)
        movement.save(force_insert=True)
        made.append(movement)
    return made


def _total(holder: Holder) -> StockItem | Spool:
    """The row that holds the running total, made at zero when the part never lay in that bin."""
    if holder.spool is not None:
        return holder.spool
    made, _ = StockItem.objects.get_or_create(
        part_id=holder.part.pk, bin=holder.bin, defaults={"team": holder.part.team}
    )
    return made


def _change(total: StockItem | Spool, line: Line) -> tuple[Decimal, Decimal]:
    """Change the running total on its condition; returns the signed change and what is held afterwards."""
    field = "remaining_m" if isinstance(total, Spool) else "quantity"
    model: type[Any] = type(total)
    row: QuerySet[Any] = model._default_manager.filter(pk=total.pk)
    change = line.quantity
    if line.is_count:
        held: Decimal = row.select_for_update().values_list(field, flat=True)[0]
        change = line.quantity - held
    allowed = row.filter(**{f"{field}__gte": -change}) if change < 0 else row
    if isinstance(total, Spool):
        allowed = allowed.filter(bin_id=line.holder.bin.pk, full_length_m__gte=F(field) + change)
    # SQLite adds decimals as binary floats; rounded to the ledger's step they stay equal to what was typed.
    changed = allowed.update(**{field: Round(F(field) + change, precision=3)})
    now_held: Decimal = row.values_list(field, flat=True)[0]
    if not changed:
        raise _refusal(line, change, now_held)
    return change, now_held


def _refusal(line: Line, change: Decimal, held: Decimal) -> Conflict:
    part, spool = line.holder.part, line.holder.spool
    if spool is not None and not Spool.objects.filter(pk=spool.pk, bin_id=line.holder.bin.pk).exists():
        return Conflict(f"Spool {spool.code} was moved out of {line.holder.bin.code} meanwhile", field="bin")
    if change > 0 and spool is not None:
        room = spool.full_length_m - held
        return Conflict(
            f"Spool {spool.code} came with {shown(part, spool.full_length_m)} and holds {shown(part, held)}",
            field="quantity",
            value=line.quantity,
            remedy=f"At most {shown(part, room)} can go back on it",
        )
    return NotEnoughStock(
        f"There {'is' if held == 1 else 'are'} {shown(part, held)} of {part.code} {line.holder.place}, "
        f"not {shown(part, -change)}",
        field="quantity",
        value=abs(line.quantity),
        remedy=_elsewhere(line.holder) or f"Take {shown(part, held)} or fewer, or count what is there",
    )


def _elsewhere(holder: Holder) -> str:
    """Where else the part lies, for the person who stands before an empty bin."""
    if holder.spool is not None:
        others = [
            f"{shown(holder.part, s.remaining_m)} on {s.code} in {s.bin.code}"
            for s in Spool.objects.filter(wire_id=holder.part.pk, remaining_m__gt=0, archived=False)
            .exclude(pk=holder.spool.pk)
            .select_related("bin")
            .order_by("-remaining_m")[:3]
        ]
    else:
        others = [
            f"{shown(holder.part, s.quantity)} in {s.bin.code}"
            for s in StockItem.objects.filter(part_id=holder.part.pk, quantity__gt=0)
            .exclude(bin=holder.bin)
            .select_related("bin")
            .order_by("-quantity")[:3]
        ]
    return f"There is more: {', '.join(others)}" if others else ""
