"""A battery joins the team: itself, what the meters say on arrival, and its first charge, all or nothing."""

from __future__ import annotations

from dataclasses import dataclass, fields
from datetime import timedelta

from django.db import IntegrityError, transaction
from django.utils import timezone

from inventory.models import Battery, Charge, Charger, Reading
from inventory.services.batteries import charge_start, reading_log
from inventory.services.volts import REST, checked_volts
from shared.access import Can, Scope
from shared.errors import Conflict, DomainError
from shared.models import JobRun
from shared.records import record_save

#: The same battery entered again within this time is a second tap, or the same form sent again.
SAME_ENTRY = timedelta(minutes=10)


@dataclass(frozen=True)
class FirstReading:
    """What was measured on arrival. Without a resistance the rest voltage alone is kept, as a note."""

    resistance_mohm: float | None = None
    method: str = ""
    instrument: str = ""
    rest_v: float | None = None
    rest_h: float | None = None
    temperature_c: float | None = None

    def check(self) -> None:
        """Refuse what cannot be, and figures of a reading that is none."""
        checked_volts(self.rest_v, REST, field="rest_v")
        if self.resistance_mohm is None:
            return
        for name, words in (("method", "how it was measured"), ("instrument", "with which meter")):
            if not getattr(self, name):
                raise DomainError(
                    f"Say {words}",
                    field=name,
                    remedy="Only readings of one method and one meter can be compared",
                )


@dataclass(frozen=True)
class Intake:
    """A battery with the first entries about it."""

    battery: Battery
    reading: Reading | None
    charge: Charge | None


def battery_intake(
    *,
    scope: Scope,
    battery: Battery,
    first: FirstReading | None = None,
    charger: Charger | str | None = None,
    trigger: str = JobRun.Trigger.EDIT,
) -> Intake:
    """Enter a battery with its first reading and put it on its first charge; a second tap is the same intake."""
    scope.require(Can.WORK)
    measured = first or FirstReading()
    measured.check()
    try:
        with transaction.atomic():
            standing = _standing(scope, battery)
            if standing is not None:
                return Intake(standing, standing.readings.first(), standing.charges.first())
            if measured.resistance_mohm is None and measured.rest_v is not None:
                battery.notes = f"{battery.notes}\n{_note(measured)}".strip()
            made = record_save(scope=scope, instance=battery, trigger=trigger)
            reading = _log(scope, made, measured, trigger)
            charge = _charge(scope, made, charger, trigger)
    except IntegrityError as twice:
        # Two people entered the same code in the same moment.
        raise Conflict(
            f"{battery.code} has just been entered by somebody else",
            field="code",
            value=battery.code,
            remedy="Look at the list of batteries",
        ) from twice
    return Intake(made, reading, charge)


def _standing(scope: Scope, battery: Battery) -> Battery | None:
    since = timezone.now() - SAME_ENTRY
    return (
        scope.rows(Battery)
        .filter(
            code=battery.code,
            model_id=battery.model_id,
            serial=battery.serial,
            acquired_on=battery.acquired_on,
            created_at__gte=since,
        )
        .first()
    )


def _note(measured: FirstReading) -> str:
    rested = f" after {measured.rest_h:g} h" if measured.rest_h is not None else ""
    return f"On arrival, {timezone.localdate()}: {measured.rest_v:g} V at rest{rested}."


def _log(scope: Scope, battery: Battery, measured: FirstReading, trigger: str) -> Reading | None:
    if measured.resistance_mohm is None:
        return None
    given = {f.name: getattr(measured, f.name) for f in fields(measured)}
    return reading_log(scope=scope, battery=battery, note="On arrival", trigger=trigger, **given)


def _charge(scope: Scope, battery: Battery, charger: Charger | str | None, trigger: str) -> Charge | None:
    if not charger:
        return None
    purpose = Charge.Purpose.AFTER_USE if battery.cycles_at_intake else Charge.Purpose.FIRST
    return charge_start(scope=scope, battery=battery, charger=charger, purpose=purpose, trigger=trigger)
