"""The slip of a moment ago: the wrong battery on a charger, or taken off one, put right by one tap."""

from __future__ import annotations

from datetime import datetime, timedelta

from django.db import transaction
from django.utils import timezone

from inventory.models import Battery, BatteryState, Charge
from shared.access import Can, Scope
from shared.errors import Conflict
from shared.models import JobRun
from shared.records import record_delete, record_save

#: So long after the tap it can be taken back without a word; later it is a fact and corrected as one.
UNDO = timedelta(seconds=60)
#: The page offers it for ``UNDO``; the tap at the last second still counts when it arrives.
GRACE = timedelta(seconds=15)


def charge_undo(*, scope: Scope, charge: Charge, end: bool, now: datetime | None = None) -> str:
    """Take back the ``end`` or the start of a charge entered within the last minute; says what is so again.

    A second tap on the end is not one on the start: a charge that was put on longer ago is not taken back.
    """
    scope.require(Can.WORK)
    moment = now or timezone.now()
    with transaction.atomic():
        scope.get(Battery.objects.select_for_update(no_key=True), pk=charge.battery_id)
        row = scope.get(Charge.objects.select_related("battery", "charger"), pk=charge.pk)
        if end and row.ended_at is None:
            return f"{row.battery.code} is still on {row.charger}."
        if (row.updated_at if end else row.created_at) < moment - UNDO - GRACE:
            raise Conflict(
                f"{row.battery.code} on {row.charger} was entered more than a minute ago",
                field="charge",
                value=row.pk,
                remedy="Put it on or take it off as it really is; the log keeps both",
            )
        if not end:
            record_delete(scope=scope, instance=row)
            return f"{row.battery.code} was not put on {row.charger}."
        _check_free(row)
        row.ended_at, row.returned_ah = None, None
        record_save(scope=scope, instance=row, trigger=JobRun.Trigger.EDIT)
        return f"{row.battery.code} is still on {row.charger}."


def _check_free(row: Charge) -> None:
    """Its charger and itself must be as the charge left them; what must not be charged stays off."""
    if row.battery.state in (BatteryState.QUARANTINE, BatteryState.RETIRED):
        raise Conflict(
            f"{row.battery.code} is {row.battery.get_state_display().lower()} ({row.battery.state_reason}) "
            "and must not be charged",
            field="charge",
            value=row.pk,
            remedy="Leave it off the charger",
        )
    standing = Charge.objects.filter(ended_at=None).select_related("battery", "charger")
    taken = standing.filter(charger=row.charger).first() or standing.filter(battery=row.battery).first()
    if taken is not None:
        raise Conflict(
            f"{taken.battery.code} is on {taken.charger} by now",
            field="charge",
            value=row.pk,
            remedy="Take that one off first",
        )
