"""A battery goes on a charger, wherever it was before: the one way for pages and API."""

from __future__ import annotations

from datetime import datetime

from django.db import transaction
from django.utils import timezone

from builds.models import Outing
from builds.services.outings import outing_end
from inventory.models import Battery, Charge, Charger
from inventory.services.batteries import charge_start, local_words
from inventory.services.charge_undo import charge_undo
from inventory.services.quantities import checked_moment
from shared.access import Can, Scope
from shared.errors import Conflict
from shared.models import JobRun


def put_on_charger(
    *,
    scope: Scope,
    battery: Battery,
    charger: Charger | str,
    purpose: str | None = None,
    started_at: datetime | None = None,
    trigger: str = JobRun.Trigger.EDIT,
) -> Charge:
    """Start a charge; a battery noted as in a robot has come out, for it cannot be in both.

    An entry that arrives late, when the battery has been out again since, ends where that outing began.
    """
    scope.require(Can.WORK)
    with transaction.atomic():
        now = scope.get(Battery.objects.select_for_update(no_key=True), pk=battery.pk)
        moment = checked_moment(started_at or timezone.now())
        inside = Outing.objects.filter(battery=now, in_robot=True, started_at__lte=moment).first()
        if inside is not None:
            outing_end(scope=scope, outing=inside, ended_at=moment, trigger=trigger)
        later = Outing.objects.filter(battery=now, started_at__gt=moment).order_by("started_at").first()
        return charge_start(
            scope=scope,
            battery=now,
            charger=charger,
            purpose=purpose or purpose_of(now, moment),
            started_at=moment,
            until=later.started_at if later else None,
            trigger=trigger,
        )


def charging_undo(*, scope: Scope, charge: Charge, end: bool) -> str:
    """Take back the start or the end of a charge of a moment ago; one that ended because its battery went out stays."""
    scope.require(Can.WORK)
    with transaction.atomic():
        battery = scope.get(Battery.objects.select_for_update(no_key=True), pk=charge.battery_id)
        out = (
            Outing.objects.filter(battery=battery, started_at__gte=charge.started_at).first() if end else None
        )
        if out is not None:
            raise Conflict(
                f"{battery.code} went out at {local_words(out.started_at)}",
                field="charge",
                value=charge.pk,
                remedy="Put it on the charger again when it is back",
            )
        return charge_undo(scope=scope, charge=charge, end=end)


def purpose_of(battery: Battery, moment: datetime) -> str:
    """Its first charge; after use; or a top-up of what it lost by itself since it was last charged."""
    charged = battery.charges.filter(ended_at__lte=moment).order_by("-ended_at").first()
    used = battery.outings.filter(started_at__lte=moment).order_by("-started_at").first()
    tested = battery.capacity_tests.filter(tested_at__lte=moment).order_by("-tested_at").first()
    emptied = [row for row in (used and used.started_at, tested and tested.tested_at) if row]
    if charged is None:
        return Charge.Purpose.AFTER_USE if emptied or battery.cycles_at_intake else Charge.Purpose.FIRST
    if any(when >= charged.started_at for when in emptied):
        return Charge.Purpose.AFTER_USE
    return Charge.Purpose.TOP_UP
