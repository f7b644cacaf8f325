"""Batteries as pages and sweeps read them."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime

from django.db.models import Count, Max, OuterRef, QuerySet, Subquery

from inventory.models import Battery, CapacityTest, Charge, Charger, Reading
from shared.access import Scope


@dataclass(frozen=True)
class BatteryRow:
    """A battery with what a table shows of it. ``cycles`` = at intake + charges since, top-ups not counted."""

    battery: Battery
    last_reading: Reading | None
    readings: int
    cycles: int
    on_charger: Charge | None
    last_test: CapacityTest | None


@dataclass(frozen=True)
class SeriesPoint:
    taken_at: datetime
    resistance_mohm: float
    rest_v: float | None
    temperature_c: float | None
    reading_id: int


@dataclass(frozen=True)
class ReadingSeries:
    """Readings of one method and one instrument, oldest first: only these form one line in a chart."""

    method: str
    method_label: str
    instrument: str
    points: tuple[SeriesPoint, ...]


def battery_table(scope: Scope, *, archived: bool = False) -> list[BatteryRow]:
    """Every battery of the team by code, in six queries however many there are."""
    batteries = list(
        scope.rows(Battery)
        .filter(archived=archived)
        .select_related("model")
        .annotate(last_reading=_newest(Reading, "taken_at"), last_test=_newest(CapacityTest, "tested_at"))
        .order_by("code")
    )
    readings = Reading.objects.select_related("by", "battery").in_bulk([b.last_reading for b in batteries])
    tests = CapacityTest.objects.in_bulk([b.last_test for b in batteries])
    counts = dict(scope.rows(Reading).order_by().values_list("battery").annotate(n=Count("pk")))
    ended = cycles_since_intake(scope)
    charging = {c.battery_id: c for c in open_charges(scope)}
    return [
        BatteryRow(
            battery=b,
            last_reading=readings.get(b.last_reading),
            readings=counts.get(b.pk, 0),
            cycles=b.cycles_at_intake + ended.get(b.pk, 0),
            on_charger=charging.get(b.pk),
            last_test=tests.get(b.last_test),
        )
        for b in batteries
    ]


def cycles_since_intake(scope: Scope) -> dict[int, int]:
    """Battery id -> cycles since it was entered here: charges that ended, storage top-ups left out."""
    rows = scope.rows(Charge).filter(ended_at__isnull=False, purpose__in=Charge.CYCLES).order_by()
    return dict(rows.values_list("battery").annotate(n=Count("pk")))


def battery_series(scope: Scope, battery: Battery) -> list[ReadingSeries]:
    """The battery's readings, one series per method and instrument, the series read last at the end."""
    found: dict[tuple[str, str], list[Reading]] = {}
    for reading in scope.rows(Reading).filter(battery=battery).order_by("taken_at", "pk"):
        found.setdefault((reading.method, reading.instrument), []).append(reading)
    return [
        ReadingSeries(
            method=method,
            method_label=rows[0].get_method_display(),
            instrument=instrument,
            points=tuple(
                SeriesPoint(r.taken_at, r.resistance_mohm, r.rest_v, r.temperature_c, r.pk) for r in rows
            ),
        )
        for (method, instrument), rows in sorted(found.items(), key=lambda item: item[1][-1].taken_at)
    ]


def instruments_used(scope: Scope) -> list[str]:
    """Instruments by how recently they were used, so that a form offers the one in the person's hand."""
    rows = scope.rows(Reading).order_by().values_list("instrument").annotate(last=Max("taken_at"))
    return [name for name, _ in sorted(rows, key=lambda row: row[1], reverse=True)]


def open_charges(scope: Scope) -> QuerySet[Charge]:
    """What is on a charger now, with battery and charger."""
    return scope.rows(Charge).filter(ended_at=None).select_related("battery", "charger")


def chargers(scope: Scope) -> QuerySet[Charger]:
    """Chargers in use, by name."""
    return scope.rows(Charger).filter(archived=False).order_by("name")


def _newest(model: type[Reading] | type[CapacityTest], when: str) -> Subquery:
    rows = model._default_manager.filter(battery=OuterRef("pk")).order_by(f"-{when}", "-pk")
    return Subquery(rows.values("pk")[:1])
