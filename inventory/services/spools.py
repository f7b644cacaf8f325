"""Spools of wire: entered with their length, moved whole, renamed."""

from __future__ import annotations

import uuid
from datetime import datetime
from decimal import Decimal

from django.db import transaction
from django.utils import timezone

from inventory.models import Bin, Movement, MovementKind, Spool, WireType
from inventory.services.ledger import stock_receive
from inventory.services.lines import request_ids
from inventory.services.quantities import checked_moment, checked_quantity
from shared.access import Can, Scope
from shared.errors import Conflict, DomainError
from shared.models import JobRun
from shared.records import record_save, sweeps_after


def spool_create(
    *,
    scope: Scope,
    code: str,
    wire: WireType,
    bin: Bin,
    full_length_m: Decimal,
    remaining_m: Decimal | None = None,
    reason: str = "",
    at: datetime | None = None,
    request_id: uuid.UUID | None = None,
    trigger: str = JobRun.Trigger.EDIT,
) -> Spool:
    """Enter a spool, new or part-used; the length on it is the first line of its ledger."""
    scope.require(Can.WORK)
    request = request_id or uuid.uuid4()
    full = checked_quantity(wire, full_length_m)
    length = full if remaining_m is None else checked_quantity(wire, remaining_m, zero=True)
    if length > full:
        raise DomainError(
            f"{length} m is more than the spool's full length of {full} m", field="remaining_m", value=length
        )
    earlier = scope.rows(Movement).filter(request_id=request).select_related("spool").first()
    if earlier is not None:
        if earlier.spool is None or earlier.spool.code != code:
            raise Conflict("This request was already used for another movement", field="request_id")
        return earlier.spool
    with transaction.atomic():
        spool = record_save(
            scope=scope,
            instance=Spool(team=scope.team, code=code, wire=wire, bin=bin, full_length_m=full),
            trigger=trigger,
        )
        if length:
            stock_receive(
                scope=scope,
                part=wire,
                bin=bin,
                spool=spool,
                quantity=length,
                reason=reason or f"Spool {code} entered",
                at=at,
                request_id=request,
                trigger=trigger,
            )
            spool.refresh_from_db(fields=["remaining_m"])
    return spool


def spool_move(
    *,
    scope: Scope,
    spool: Spool,
    to_bin: Bin,
    reason: str = "",
    at: datetime | None = None,
    request_id: uuid.UUID | None = None,
    trigger: str = JobRun.Trigger.EDIT,
) -> Spool:
    """Carry a spool to another bin; a line out of the one and into the other, both with what is on it."""
    scope.require(Can.WORK)
    moment = checked_moment(at or timezone.now())
    ids = request_ids(request_id or uuid.uuid4(), 2)
    if to_bin.archived:
        raise DomainError(f"{to_bin.code} is archived", field="to_bin", remedy="Choose another bin")
    if scope.rows(Movement).filter(request_id=ids[0], spool=spool).exists():
        return spool
    with transaction.atomic():
        now = scope.rows(Spool).select_for_update().select_related("bin", "wire").get(pk=spool.pk)
        if now.bin_id == to_bin.pk:
            raise DomainError(f"Spool {now.code} lies in {to_bin.code} already", field="to_bin")
        old_bin, now.bin = now.bin, to_bin
        record_save(scope=scope, instance=now, trigger=trigger)
        lines = [(old_bin, -now.remaining_m, Decimal(0)), (to_bin, now.remaining_m, now.remaining_m)]
        for (place, quantity, balance), line_id in zip(lines, ids, strict=True):
            if now.remaining_m == 0:
                break  # an empty spool moves nothing; its history keeps the change of bin
            Movement.objects.create(
                team=scope.team,
                kind=MovementKind.MOVE,
                part_id=now.wire_id,
                bin=place,
                spool=now,
                quantity=quantity,
                balance=balance,
                reason=reason[:200],
                at=moment,
                by=scope.user,
                request_id=line_id,
                group=ids[0],
            )
        sweeps_after([now], scope=scope, trigger=trigger)
    return now
