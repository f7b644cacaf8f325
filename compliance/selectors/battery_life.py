"""The life of one battery in order: bought, charged, measured, out, what happened to it, put aside, retired."""

from __future__ import annotations

from collections.abc import Collection, Iterable
from dataclasses import dataclass, field
from datetime import date, datetime, time
from typing import Any

from django.utils import timezone

from builds.selectors.events import outings
from inventory.models import Battery, BatteryIncident, BatteryState, CapacityTest, Charge, Reading
from shared.access import Scope

#: Kind -> what the filter calls it, in the order of the filter.
KINDS: dict[str, str] = {
    "state": "Bought, put aside, retired",
    "charge": "Charges",
    "topup": "Storage top-ups",
    "reading": "Readings",
    "test": "Capacity tests",
    "outing": "Outings",
    "incident": "Incidents",
}


@dataclass(frozen=True)
class LifeEntry:
    """One thing that happened; ``until`` where it lasted, ``by`` who noted it, ``severity`` where it is grave."""

    at: datetime
    kind: str
    what: str
    detail: str = ""
    by: str = ""
    until: datetime | None = None
    severity: str = ""
    day_only: bool = False
    figures: tuple[tuple[str, str], ...] = field(default_factory=tuple)

    @property
    def kind_label(self) -> str:
        return KINDS[self.kind]


def life_of(scope: Scope, battery: Battery, kinds: Collection[str] = ()) -> list[LifeEntry]:
    """Everything noted of a battery, the latest first; only some kinds where asked for. Six queries at most."""
    wanted = set(kinds) & set(KINDS) or set(KINDS)
    entries: list[LifeEntry] = []
    if "state" in wanted:
        entries += _states(battery)
    if wanted & {"charge", "topup"}:
        entries += [e for e in _charges(scope, battery) if e.kind in wanted]
    if "reading" in wanted:
        entries += _readings(scope, battery)
    if "test" in wanted:
        entries += _tests(scope, battery)
    if "outing" in wanted:
        entries += _outings(scope, battery)
    if "incident" in wanted:
        entries += _incidents(scope, battery)
    return sorted(entries, key=lambda entry: entry.at, reverse=True)


def _states(battery: Battery) -> Iterable[LifeEntry]:
    """Bought, first used, and every change of what it may be used for, from the row's history."""
    yield LifeEntry(_noon(battery.acquired_on), "state", "Bought", day_only=True)
    if battery.in_service_on:
        before = (
            f"{battery.cycles_at_intake} cycles before it was entered" if battery.cycles_at_intake else ""
        )
        yield LifeEntry(_noon(battery.in_service_on), "state", "First use", before, day_only=True)
    manager: Any = battery.history
    rows = manager.select_related("history_user").order_by("history_date", "history_id")
    state, archived, entered = "", False, False
    for row in rows:
        who = row.history_user.display_name if row.history_user else ""
        if not entered:
            yield LifeEntry(row.history_date, "state", "Entered here", by=who)
        if entered and row.archived != archived:
            yield LifeEntry(
                row.history_date, "state", "Archived" if row.archived else "Back from the archive", by=who
            )
        if (entered and row.state != state) or (not entered and row.state != BatteryState.IN_SERVICE):
            grave = {
                BatteryState.QUARANTINE: "stop",
                BatteryState.RETIRED: "stop",
                BatteryState.PRACTICE: "fix",
            }
            yield LifeEntry(
                row.history_date, "state", BatteryState(row.state).label, row.state_reason, who,
                severity=grave.get(BatteryState(row.state), ""),
            )  # fmt: skip
        state, archived, entered = row.state, row.archived, True


def _charges(scope: Scope, battery: Battery) -> Iterable[LifeEntry]:
    for charge in scope.rows(Charge).filter(battery=battery).select_related("by", "charger"):
        top_up = charge.purpose == Charge.Purpose.TOP_UP
        yield LifeEntry(
            charge.started_at,
            "topup" if top_up else "charge",
            str(charge.get_purpose_display()) if charge.purpose != Charge.Purpose.AFTER_USE else "Charged",
            f"{charge.charger}" + ("" if charge.ended_at else ", still on it"),
            _who(charge),
            until=charge.ended_at,
            figures=_figures(("Ah back", charge.returned_ah, 1)),
        )


def _readings(scope: Scope, battery: Battery) -> Iterable[LifeEntry]:
    for reading in scope.rows(Reading).filter(battery=battery).select_related("by"):
        yield LifeEntry(
            reading.taken_at,
            "reading",
            f"{reading.resistance_mohm:.1f} mΩ",
            "; ".join(filter(None, (f"{reading.get_method_display()}, {reading.instrument}", reading.note))),
            _who(reading),
            figures=_figures(("V at rest", reading.rest_v, 2), ("°C", reading.temperature_c, 0)),
        )


def _tests(scope: Scope, battery: Battery) -> Iterable[LifeEntry]:
    for test in scope.rows(CapacityTest).filter(battery=battery).select_related("by"):
        yield LifeEntry(
            test.tested_at,
            "test",
            f"{test.capacity_ah:.1f} Ah",
            "; ".join(filter(None, (f"at {test.current_a:g} A to {test.end_v:g} V", test.note))),
            _who(test),
            figures=_figures(("°C", test.temperature_c, 0)),
        )


def _outings(scope: Scope, battery: Battery) -> Iterable[LifeEntry]:
    for outing in outings(scope).filter(battery=battery):
        where = str(outing.match) if outing.match else "practice"
        robot = outing.robot.name if outing.robot else ""
        yield LifeEntry(
            outing.started_at,
            "outing",
            f"Out in {robot}" if robot else "Out",
            "; ".join(filter(None, (where + (", in the robot now" if outing.in_robot else ""), outing.note))),
            _who(outing),
            until=outing.ended_at,
            figures=_figures(
                ("V before", outing.start_rest_v, 2),
                ("V lowest", outing.lowest_v, 1),
                ("V after", outing.end_rest_v, 2),
                ("Ah used", outing.used_ah, 1),
            ),
        )


def _incidents(scope: Scope, battery: Battery) -> Iterable[LifeEntry]:
    for incident in scope.rows(BatteryIncident).filter(battery=battery).select_related("by"):
        looked = incident.looked_at
        found = (
            f"looked at on {timezone.localdate(looked)}: {incident.finding}"
            if looked
            else "not looked at yet"
        )
        severity = "stop" if incident.kind in BatteryIncident.QUARANTINES else "fix"
        yield LifeEntry(
            incident.happened_at,
            "incident",
            str(incident.get_kind_display()),
            "; ".join(filter(None, (incident.note, found))),
            _who(incident),
            severity="" if looked else severity,
            figures=_figures(("°C", incident.temperature_c, 0)),
        )


def _who(row: Any) -> str:
    return row.by.display_name if row.by else ""


def _figures(*told: tuple[str, float | None, int]) -> tuple[tuple[str, str], ...]:
    return tuple((unit, f"{value:.{digits}f}") for unit, value, digits in told if value is not None)


def _noon(day: date) -> datetime:
    """A day without a time of day, put at noon so that no time zone moves it."""
    return timezone.make_aware(datetime.combine(day, time(12)))
