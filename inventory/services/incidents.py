"""What happened to a battery that nobody planned, and what a qualified adult made of it."""

from __future__ import annotations

from datetime import datetime

from django.db import transaction
from django.utils import timezone

from inventory.models import Battery, BatteryIncident, BatteryState
from inventory.selectors.incidents import open_incidents
from inventory.services.batteries import DOUBLE_TAP, charger_off, local_words
from inventory.services.quantities import checked_moment
from shared.access import Can, Scope
from shared.errors import Conflict, DomainError
from shared.models import JobRun
from shared.records import record_save

#: The temperatures a case can have, in °C; hotter than boiling water is a slip or a fire.
COLDEST_C, HOTTEST_C = -40.0, 120.0


def incident_log(
    *,
    scope: Scope,
    battery: Battery,
    kind: str,
    happened_at: datetime | None = None,
    temperature_c: float | None = None,
    note: str = "",
    trigger: str = JobRun.Trigger.EDIT,
) -> BatteryIncident:
    """Note an incident; after a grave one the battery is off its charger and in quarantine with the same entry.

    A second tap, and an entry sent again, answer with the incident that stands.
    """
    scope.require(Can.WORK)
    _check_kind(kind, note)
    _check_temperature(temperature_c)
    with transaction.atomic():
        now = scope.get(Battery.objects.select_for_update(no_key=True), pk=battery.pk)
        moment = checked_moment(happened_at or timezone.now())
        since = moment if happened_at else moment - DOUBLE_TAP
        near = BatteryIncident.objects.filter(battery=now, kind=kind, happened_at__range=(since, moment))
        standing = near.order_by("-happened_at").first()
        if standing is not None:
            return standing
        made = record_save(
            scope=scope,
            instance=BatteryIncident(
                team=scope.team,
                battery=now,
                kind=kind,
                happened_at=moment,
                temperature_c=temperature_c,
                note=note.strip(),
                by=scope.user,
            ),
            trigger=trigger,
        )
        if made.is_grave and now.state != BatteryState.RETIRED:
            _quarantine(scope, now, made, trigger)
        return made


def incident_close(
    *,
    scope: Scope,
    incident: BatteryIncident,
    finding: str,
    back_in_service: bool = False,
    looked_at: datetime | None = None,
    trigger: str = JobRun.Trigger.EDIT,
) -> BatteryIncident:
    """A qualified adult has looked at it: what they found, and whether the battery goes back into service.

    It stays in quarantine while another grave incident of it is open, and when ``back_in_service`` is not said.
    """
    scope.require(Can.SUPPLY)
    moment = checked_moment(looked_at or timezone.now())
    if not finding.strip():
        raise DomainError(
            "Say what was found",
            field="finding",
            value=finding,
            remedy="For example: case whole, posts tight, 14.1 mohm as before",
        )
    with transaction.atomic():
        now = scope.get(Battery.objects.select_for_update(no_key=True), pk=incident.battery_id)
        row = scope.get(BatteryIncident.objects.select_related("battery"), pk=incident.pk)
        if row.looked_at is None:
            row.looked_at, row.finding = moment, finding.strip()
            record_save(scope=scope, instance=row, need=Can.SUPPLY, trigger=trigger)
        elif row.finding != finding.strip():
            raise Conflict(
                f"It was looked at on {local_words(row.looked_at)} already: {row.finding}",
                field="finding",
                value=finding.strip(),
                remedy="Log a new incident if something else was found",
            )
        if back_in_service:
            _return(scope, now, row, trigger)
        return row


def _check_kind(kind: str, note: str) -> None:
    if kind not in BatteryIncident.Kind.values:
        raise DomainError(
            f"{kind} is no kind of incident",
            field="kind",
            value=kind,
            remedy=f"One of {', '.join(BatteryIncident.Kind.values)}",
        )
    if kind == BatteryIncident.Kind.OTHER and not note.strip():
        raise DomainError("Say what happened", field="note", value=note, remedy="A few words are enough")


def _check_temperature(temperature_c: float | None) -> None:
    if temperature_c is None or COLDEST_C <= temperature_c <= HOTTEST_C:
        return
    raise DomainError(
        f"{temperature_c:g} °C cannot be the temperature of a case",
        field="temperature_c",
        value=temperature_c,
        remedy=f"Between {COLDEST_C:g} and {HOTTEST_C:g} °C; leave it empty if it was not measured",
    )


def _quarantine(scope: Scope, battery: Battery, incident: BatteryIncident, trigger: str) -> None:
    """Off the charger and out of use."""
    charger_off(scope, battery, incident.happened_at, trigger)
    told = f"{incident.get_kind_display()}, {local_words(incident.happened_at)}"
    if battery.state != BatteryState.QUARANTINE:
        battery.state, battery.state_reason = BatteryState.QUARANTINE, told
    elif told not in battery.state_reason:
        battery.state_reason = f"{battery.state_reason}; {told}"[:200]
    else:
        return
    record_save(scope=scope, instance=battery, trigger=trigger)


def _return(scope: Scope, battery: Battery, incident: BatteryIncident, trigger: str) -> None:
    """Back into service, unless another incident still waits for somebody to look."""
    if battery.state == BatteryState.IN_SERVICE:
        return
    if battery.state == BatteryState.RETIRED:
        raise Conflict(
            f"{battery.code} is retired ({battery.state_reason})", field="back_in_service", value=battery.code
        )
    waiting = open_incidents(scope, battery).exclude(pk=incident.pk).first()
    if waiting is not None:
        raise Conflict(
            f"{battery.code} has another open incident: {waiting.get_kind_display().lower()}, "
            f"{local_words(waiting.happened_at)}",
            field="back_in_service",
            value=battery.code,
            remedy="Look at that one too",
        )
    battery.state, battery.state_reason = BatteryState.IN_SERVICE, ""
    battery._change_reason = incident.finding[:100]  # type: ignore[attr-defined]  # read by simple_history
    record_save(scope=scope, instance=battery, need=Can.SUPPLY, trigger=trigger)
