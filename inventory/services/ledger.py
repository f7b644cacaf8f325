"""The ledger: every change of stock is one line, and no bin or spool can be emptied below zero.

The running totals change by one conditional UPDATE each ("take three if three are there"), so the database
decides between two people who reach for the last piece in the same second; the line is written in the same
transaction. Counted parts lie in bins (``StockItem``); wire lies on spools only, and a wire type's stock is
the sum of its spools.
"""

from __future__ import annotations

import uuid
from datetime import datetime
from decimal import Decimal
from typing import TypedDict, Unpack

from django.utils import timezone

from inventory.models import Bin, Movement, MovementKind, Part, PartKind, Spool
from inventory.services.lines import Line, Source, holder_of, post, request_ids
from inventory.services.quantities import checked_quantity
from shared.access import Can, Scope
from shared.errors import Conflict, DomainError
from shared.models import JobRun

__all__ = [
    "movement_reverse",
    "stock_count",
    "stock_move",
    "stock_receive",
    "stock_return",
    "stock_scrap",
    "stock_use",
]


class When(TypedDict, total=False):
    """What every movement may be given besides: the moment, the spool, and the request it answers."""

    at: datetime | None
    spool: Spool | None
    request_id: uuid.UUID | None
    trigger: str


def stock_receive(
    *, scope: Scope, part: Part, bin: Bin, quantity: Decimal | int, reason: str = "", **more: Unpack[When]
) -> Movement:
    """Put goods that came in on the shelf."""
    holder = holder_of(part=part, bin=bin, spool=more.get("spool"), fills=True)
    return _post_one(
        scope, Line(MovementKind.RECEIVE, holder, checked_quantity(part, quantity), reason), **more
    )


def stock_use(
    *, scope: Scope, part: Part, bin: Bin, quantity: Decimal | int, reason: str = "", **more: Unpack[When]
) -> Movement:
    """Take pieces (or a length off a spool) for a robot or a repair."""
    holder = holder_of(part=part, bin=bin, spool=more.get("spool"))
    return _post_one(scope, Line(MovementKind.USE, holder, -checked_quantity(part, quantity), reason), **more)


def stock_return(
    *, scope: Scope, part: Part, bin: Bin, quantity: Decimal | int, reason: str = "", **more: Unpack[When]
) -> Movement:
    """Put back what was taken and not used."""
    holder = holder_of(part=part, bin=bin, spool=more.get("spool"), fills=True)
    return _post_one(
        scope, Line(MovementKind.RETURN, holder, checked_quantity(part, quantity), reason), **more
    )


def stock_scrap(
    *, scope: Scope, part: Part, bin: Bin, quantity: Decimal | int, reason: str, **more: Unpack[When]
) -> Movement:
    """Throw away what is damaged; a reason is required, since scrap is where stock leaks."""
    if not reason.strip():
        raise DomainError("Scrap needs a reason", field="reason", remedy="Say what was wrong with it")
    holder = holder_of(part=part, bin=bin, spool=more.get("spool"))
    line = Line(MovementKind.SCRAP, holder, -checked_quantity(part, quantity), reason)
    return _post_one(scope, line, **more)


def stock_count(
    *, scope: Scope, part: Part, bin: Bin, quantity: Decimal | int, reason: str = "", **more: Unpack[When]
) -> Movement:
    """Set the total to what was counted; the line holds the difference (0 when the count agrees)."""
    holder = holder_of(part=part, bin=bin, spool=more.get("spool"), fills=True)
    counted = checked_quantity(part, quantity, zero=True)
    return _post_one(scope, Line(MovementKind.COUNT, holder, counted, reason), **more)


def stock_move(
    *,
    scope: Scope,
    part: Part,
    bin: Bin,
    to_bin: Bin,
    quantity: Decimal | int,
    reason: str = "",
    **more: Unpack[When],
) -> tuple[Movement, Movement]:
    """Carry pieces to another bin: a line out and a line in with one ``group``. A spool moves whole."""
    if bin.pk == to_bin.pk:
        raise DomainError("Both bins are the same", field="to_bin", value=bin.code, remedy="Choose another")
    if part.kind == PartKind.WIRE or more.get("spool") is not None:
        raise DomainError(
            "A spool moves whole",
            field="spool",
            remedy="Move the spool, or use a length of it and enter the rest as a new spool",
        )
    amount = checked_quantity(part, quantity)
    out = Line(MovementKind.MOVE, holder_of(part=part, bin=bin), -amount, reason)
    into = Line(MovementKind.MOVE, holder_of(part=part, bin=to_bin, fills=True), amount, reason)
    made = post(
        scope=scope,
        lines=[out, into],
        source=_source(more.get("at"), more.get("request_id")),
        trigger=more.get("trigger", JobRun.Trigger.EDIT),
    )
    return made[0], made[1]


def movement_reverse(
    *, scope: Scope, movement: Movement, reason: str = "", trigger: str = JobRun.Trigger.EDIT
) -> list[Movement]:
    """Undo a line (both lines of a move) by new lines; asking twice undoes once."""
    scope.require(Can.WORK)
    scope.get(Movement, pk=movement.pk)
    if movement.kind == MovementKind.MOVE and movement.spool_id is not None:
        raise Conflict("A moved spool is put back by moving it again", field="movement")
    old = [movement] if movement.kind != MovementKind.MOVE else _pair_of(scope, movement)
    # Dated like the line it undoes: what never happened was never used up at that event.
    source = Source(movement.at, uuid.uuid5(old[0].request_id, "reverse"))
    if done := list(
        scope.rows(Movement).filter(request_id__in=request_ids(source.request_id, len(old))).order_by("pk")
    ):
        return done
    lines = [_opposite(line, reason) for line in reversed(old)]  # what goes out comes first again
    return post(scope=scope, lines=lines, source=source, trigger=trigger, group=movement.group)


def _pair_of(scope: Scope, movement: Movement) -> list[Movement]:
    """The two lines of a move, out first. A reversal shares the group, so the request tells them apart."""
    for other in scope.rows(Movement).filter(group=movement.group, kind=MovementKind.MOVE):
        pair = sorted([movement, other], key=lambda m: m.quantity)
        if [m.request_id for m in pair] == request_ids(pair[0].request_id, 2):
            return pair
    raise Conflict("The other line of this move was not found", field="movement", value=movement.pk)


#: What undoes what. A use undone is a return, so that it does not count as consumption.
_UNDONE_BY = {
    MovementKind.USE: MovementKind.RETURN,
    MovementKind.RETURN: MovementKind.USE,
    MovementKind.RECEIVE: MovementKind.COUNT,
    MovementKind.SCRAP: MovementKind.COUNT,
    MovementKind.COUNT: MovementKind.COUNT,
    MovementKind.MOVE: MovementKind.MOVE,
}


def _opposite(old: Movement, reason: str) -> Line:
    kind = _UNDONE_BY[MovementKind(old.kind)]
    if old.quantity == 0:
        raise Conflict("This line changed nothing, so there is nothing to undo", field="movement")
    said = f"Undo of line {old.pk}" + (f": {reason}" if reason else "")
    holder = holder_of(part=old.part, bin=old.bin, spool=old.spool, fills=old.quantity < 0, undo=True)
    return Line(kind, holder, -old.quantity, said[:200], relative=True)


def _source(at: datetime | None, request_id: uuid.UUID | None) -> Source:
    return Source(at or timezone.now(), request_id or uuid.uuid4())


def _post_one(scope: Scope, line: Line, **more: Unpack[When]) -> Movement:
    source = _source(more.get("at"), more.get("request_id"))
    return post(scope=scope, lines=[line], source=source, trigger=more.get("trigger", JobRun.Trigger.EDIT))[0]
