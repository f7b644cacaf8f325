"""What is entered about a battery: readings, charges, capacity tests, and whether it may go out."""

from __future__ import annotations

from datetime import datetime, timedelta

from django.db import transaction
from django.db.models import Q
from django.utils import timezone

from inventory.models import Battery, BatteryState, CapacityTest, Charge, Charger, Reading
from inventory.selectors.incidents import open_incidents
from inventory.services.chargers import charger_named
from inventory.services.quantities import checked_moment
from inventory.services.volts import REST, checked_volts
from shared.access import Can, Scope
from shared.errors import Conflict, DomainError
from shared.models import JobRun
from shared.records import record_save

#: The same entry within this time is a second tap on the same button, not a second event.
DOUBLE_TAP = timedelta(seconds=60)

# The limits of Reading's own constraint: a 12 V lead-acid battery with its leads reads some 5 to 50 mohm.
LEAST_MOHM = 1.0
MOST_MOHM = 500.0


def reading_log(
    *,
    scope: Scope,
    battery: Battery,
    resistance_mohm: float,
    method: str,
    instrument: str,
    taken_at: datetime | None = None,
    rest_v: float | None = None,
    rest_h: float | None = None,
    temperature_c: float | None = None,
    charge_frac: float | None = None,
    note: str = "",
    trigger: str = JobRun.Trigger.EDIT,
) -> Reading:
    """Log one resistance reading; a second tap on the same button returns the first tap's reading."""
    scope.require(Can.WORK)
    _check_resistance(resistance_mohm)
    checked_volts(rest_v, REST, field="rest_v")
    with transaction.atomic():
        _hold(scope, battery)
        moment = checked_moment(taken_at or timezone.now())
        since = moment if taken_at else moment - DOUBLE_TAP
        near = Reading.objects.filter(battery=battery, instrument=instrument.strip())
        for row in near.filter(taken_at__range=(since, moment)):
            if (row.resistance_mohm, row.method) == (resistance_mohm, method):
                return row
            if row.taken_at == moment:
                raise _taken(row)
        return record_save(
            scope=scope,
            instance=Reading(
                team=scope.team,
                battery=battery,
                taken_at=moment,
                resistance_mohm=resistance_mohm,
                method=method,
                instrument=instrument.strip(),
                rest_v=rest_v,
                rest_h=rest_h,
                temperature_c=temperature_c,
                charge_frac=charge_frac,
                by=scope.user,
                note=note,
            ),
            trigger=trigger,
        )


def _taken(row: Reading) -> Conflict:
    return Conflict(
        f"{row.battery.code} has a reading of {row.resistance_mohm:g} mohm with {row.instrument} "
        "at that moment",
        field="taken_at",
        value=row.taken_at,
        remedy="Correct that reading, or give this one its own time",
    )


def _check_resistance(mohm: float) -> None:
    if LEAST_MOHM <= mohm <= MOST_MOHM:
        return
    remedy = f"A 12 V battery reads between {LEAST_MOHM:g} and {MOST_MOHM:g} mohm"
    for factor, unit in ((1000.0, "ohm"), (0.001, "microohm")):
        if mohm > 0 and LEAST_MOHM <= mohm * factor <= MOST_MOHM:
            remedy = f"Was it in {unit}? {mohm:g} {unit} is {mohm * factor:g} mohm"
    raise DomainError(
        f"{mohm:g} mohm cannot be the resistance of a 12 V battery",
        field="resistance_mohm",
        value=mohm,
        remedy=remedy,
    )


def charge_start(
    *,
    scope: Scope,
    battery: Battery,
    charger: Charger | str,
    purpose: str = Charge.Purpose.AFTER_USE,
    started_at: datetime | None = None,
    until: datetime | None = None,
    trigger: str = JobRun.Trigger.EDIT,
) -> Charge:
    """Put a battery on a charger; a name nobody used before makes a charger of that name.

    One that is quarantined or retired is not charged. A second tap, and an entry sent again, answer with the
    charge that stands. An entry that arrives late, when the battery or the charger has had another charge since,
    ends where that one began, or ``until`` if it was used before.
    """
    scope.require(Can.WORK)
    with transaction.atomic():
        now = _hold(scope, battery)
        if now.state in (BatteryState.QUARANTINE, BatteryState.RETIRED):
            raise DomainError(
                f"{now.code} is {now.get_state_display().lower()} ({now.state_reason}) "
                "and must not be charged",
                field="battery",
                value=now.code,
                remedy="A qualified adult looks at it and returns it to service first",
            )
        # Locked: two batteries put on one charger at once queue here, and the second is refused in words.
        on = charger_named(scope, charger) if isinstance(charger, str) else charger
        on = scope.get(Charger.objects.select_for_update(no_key=True), pk=on.pk)
        # Just now is when its turn has come: who waited for the lock was not there earlier.
        moment = checked_moment(started_at or timezone.now())
        if on.archived:
            raise DomainError(
                f"{on} is not in use any more",
                field="charger",
                value=on.name,
                remedy="Choose another, or bring it back on the page of chargers",
            )
        if (standing := _standing_charge(now, on, moment, exact=started_at is not None)) is not None:
            return standing
        charge = Charge(
            team=scope.team,
            battery=now,
            charger=on,
            purpose=purpose,
            started_at=moment,
            ended_at=_next_use(now, on, moment, until),
            by=scope.user,
        )
        return record_save(scope=scope, instance=charge, trigger=trigger)


def _next_use(battery: Battery, on: Charger, moment: datetime, until: datetime | None) -> datetime | None:
    """When this charge must have been over, because battery or charger were used for something else."""
    later = Charge.objects.filter(Q(battery=battery) | Q(charger=on), started_at__gt=moment)
    first = later.order_by("started_at").values_list("started_at", flat=True).first()
    return min(filter(None, (first, until)), default=None)


def _standing_charge(battery: Battery, on: Charger, moment: datetime, *, exact: bool) -> Charge | None:
    """The charge a second tap means; refuses when battery or charger are taken."""
    if exact:
        sent_again = Charge.objects.filter(battery=battery, charger=on, started_at=moment).first()
        if sent_again is not None:
            return sent_again
    # Clocks of two phones differ by seconds: what began a little later is the same moment.
    standing = Charge.objects.filter(ended_at=None, started_at__lte=moment + DOUBLE_TAP)
    mine = standing.filter(battery=battery).select_related("charger").first()
    if mine is not None:
        if mine.charger_id == on.pk and abs(mine.started_at - moment) <= DOUBLE_TAP:
            return mine
        raise Conflict(
            f"{battery.code} is on {mine.charger} since {local_words(mine.started_at)}",
            field="battery",
            value=battery.code,
            remedy="End that charge first",
        )
    other = standing.filter(charger=on).select_related("battery").first()
    if other is not None:
        raise Conflict(
            f"{other.battery.code} is on {on} since {local_words(other.started_at)}",
            field="charger",
            value=on.name,
            remedy=f"Take {other.battery.code} off first, or choose another charger",
        )
    return None


def local_words(moment: datetime) -> str:
    """A moment as the clock on the wall shows it."""
    return f"{timezone.localtime(moment):%Y-%m-%d %H:%M}"


def charge_end(
    *,
    scope: Scope,
    battery: Battery,
    ended_at: datetime | None = None,
    returned_ah: float | None = None,
    trigger: str = JobRun.Trigger.EDIT,
) -> Charge:
    """Take a battery off its charger; the charge counts as one cycle unless it was a storage top-up."""
    scope.require(Can.WORK)
    with transaction.atomic():
        _hold(scope, battery)
        moment = checked_moment(ended_at or timezone.now())
        charge = Charge.objects.filter(battery=battery, ended_at=None).first()
        if charge is None:
            last = Charge.objects.filter(battery=battery).order_by("-ended_at").first()
            if last is not None and last.ended_at and abs(last.ended_at - moment) <= DOUBLE_TAP:
                return last
            raise Conflict(
                f"{battery.code} is not on a charger", field="battery", remedy="Start a charge first"
            )
        charge.ended_at, charge.returned_ah = moment, returned_ah
        return record_save(scope=scope, instance=charge, trigger=trigger)


def capacity_test_log(
    *,
    scope: Scope,
    battery: Battery,
    capacity_ah: float,
    current_a: float,
    end_v: float,
    tested_at: datetime | None = None,
    temperature_c: float | None = None,
    note: str = "",
    trigger: str = JobRun.Trigger.EDIT,
) -> CapacityTest:
    """Log a discharge test at a known current to a known end voltage."""
    scope.require(Can.WORK)
    with transaction.atomic():
        _hold(scope, battery)
        moment = checked_moment(tested_at or timezone.now())
        since = moment if tested_at else moment - DOUBLE_TAP
        for row in CapacityTest.objects.filter(battery=battery, tested_at__range=(since, moment)):
            if (row.capacity_ah, row.current_a, row.end_v) == (capacity_ah, current_a, end_v):
                return row
        return record_save(
            scope=scope,
            instance=CapacityTest(
                team=scope.team,
                battery=battery,
                tested_at=moment,
                current_a=current_a,
                end_v=end_v,
                temperature_c=temperature_c,
                capacity_ah=capacity_ah,
                by=scope.user,
                note=note,
            ),
            trigger=trigger,
        )


def battery_set_state(
    *, scope: Scope, battery: Battery, state: str, reason: str = "", trigger: str = JobRun.Trigger.EDIT
) -> Battery:
    """Take a battery out of service, saying why, or return it. Anyone may take one out; a lead returns it."""
    back = state == BatteryState.IN_SERVICE
    need = Can.SUPPLY if back else Can.WORK
    scope.require(need)
    if state not in BatteryState.values:
        raise DomainError(f"{state} is no state of a battery", field="state", value=state)
    if not back and not reason.strip():
        raise DomainError(
            "Say why the battery leaves service", field="reason", remedy="For example: swollen case, 38 mohm"
        )
    with transaction.atomic():
        now = _hold(scope, battery)
        if back:
            _check_looked_at(scope, now)
        elif state in (BatteryState.QUARANTINE, BatteryState.RETIRED):
            charger_off(scope, now, timezone.now(), trigger)
        now.state, now.state_reason = state, "" if back else reason.strip()
        # The reason of a return is kept in the history only.
        now._change_reason = reason.strip()[:100]  # type: ignore[attr-defined]  # read by simple_history
        return record_save(scope=scope, instance=now, need=need, trigger=trigger)


def _check_looked_at(scope: Scope, battery: Battery) -> None:
    """What dropped, swelled or leaked goes back only with what a qualified adult found written down."""
    waiting = open_incidents(scope, battery).first()
    if waiting is not None:
        raise Conflict(
            f"Nobody has looked at {battery.code} since {local_words(waiting.happened_at)}: "
            f"{waiting.get_kind_display().lower()}",
            field="state",
            value=BatteryState.IN_SERVICE,
            remedy="Write down on that incident what was found; there it goes back into service",
        )


def charger_off(scope: Scope, battery: Battery, moment: datetime, trigger: str) -> None:
    """End the battery's open charge because of something else that happened to it then."""
    charge = Charge.objects.filter(battery=battery, ended_at=None).first()
    if charge is not None:
        charge.ended_at = max(moment, charge.started_at)
        record_save(scope=scope, instance=charge, trigger=trigger)


def _hold(scope: Scope, battery: Battery) -> Battery:
    """The battery's row, locked: entries about one battery queue behind each other.

    Without its key, here and wherever rows are locked that a plan names: a plan is written behind the lock of its
    event, and must not wait for a battery whose holder waits for that.
    """
    return scope.get(Battery.objects.select_for_update(no_key=True), pk=battery.pk)
