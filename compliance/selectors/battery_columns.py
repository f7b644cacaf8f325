"""Batteries of many teams as columns: readings, cycles, capacity tests, in a fixed number of queries."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import UTC, date, datetime, timedelta
from functools import cached_property
from typing import Any, cast, overload

import numpy as np
import numpy.typing as npt
from django.db.models import Count, F, QuerySet, Window
from django.db.models.functions import RowNumber
from django.utils import timezone

from inventory.models import Battery, BatteryModel, BatteryState, CapacityTest, Charge, Method, Reading
from shared.columns import BoolArray, EpochSeconds, Table, code_of, fetch, place_of

FloatArray = npt.NDArray[np.float64]
IntArray = npt.NDArray[np.int64]

EPOCH_ORDINAL = date(1970, 1, 1).toordinal()
DAY_S = 86400.0
#: Room for seconds since 1970 behind a battery's number in one sortable integer.
_PER_BATTERY = 10**11
JUDGED_STATES = (BatteryState.IN_SERVICE, BatteryState.PRACTICE)


@dataclass(frozen=True, slots=True)
class BatteryFacts:
    """One battery with the figures of its model."""

    pk: int
    team_id: int
    code: str
    state: str
    acquired_on: date
    in_service_on: date | None
    cycles_at_intake: int
    model_code: str
    chemistry: str
    full_rest_v: float
    capacity_ah: float
    capacity_hours_h: float
    end_v: float | None

    @property
    def lithium(self) -> bool:
        """Its voltage is flat and its protection adds resistance: lead-acid limits say nothing of it."""
        return self.chemistry == BatteryModel.Chemistry.LFP

    @property
    def first_use(self) -> date:
        return self.in_service_on or self.acquired_on


_FACTS = (
    "id", "team_id", "code", "state", "acquired_s", "in_service_s", "cycles_at_intake", "model__code",
    "model__chemistry", "model__full_rest_v", "model__capacity_ah", "model__capacity_hours_h", "model__end_v",
)  # fmt: skip


class BatteryRows(Sequence[BatteryFacts]):
    """The batteries as columns; one of them with its facts when somebody asks for it, which a sweep seldom does."""

    def __init__(self, batteries: QuerySet[Battery]) -> None:
        moments = {"acquired_s": EpochSeconds("acquired_on"), "in_service_s": EpochSeconds("in_service_on")}
        self._table = fetch(batteries.order_by("team_id", "code").annotate(**moments), *_FACTS)
        self._made: dict[int, BatteryFacts] = {}

    def __len__(self) -> int:
        return self._table.size

    @overload
    def __getitem__(self, row: int) -> BatteryFacts: ...
    @overload
    def __getitem__(self, row: slice) -> list[BatteryFacts]: ...
    def __getitem__(self, row: int | slice) -> BatteryFacts | list[BatteryFacts]:
        if isinstance(row, slice):
            return [self[i] for i in range(*row.indices(len(self)))]
        if row not in self._made:
            values = [self._table.raw[name][row] for name in _FACTS]
            values[4:6] = [
                None if seconds is None else day_to_date(round(seconds / DAY_S)) for seconds in values[4:6]
            ]
            self._made[row] = BatteryFacts(*values)
        return self._made[row]

    @property
    def ids(self) -> IntArray:
        return self._table.ids("id")

    @property
    def team_ids(self) -> IntArray:
        return self._table.ids("team_id")

    @property
    def cycles_at_intake(self) -> FloatArray:
        return self._table.floats("cycles_at_intake")

    @property
    def full_rest_v(self) -> FloatArray:
        return self._table.floats("model__full_rest_v")

    @cached_property
    def lithium(self) -> BoolArray:
        known = [
            chemistry == BatteryModel.Chemistry.LFP for chemistry in self._table.texts("model__chemistry")
        ]
        return np.array(known, dtype=np.bool_)

    @cached_property
    def judged(self) -> BoolArray:
        """Those in use: in service or for practice."""
        return np.array([state in JUDGED_STATES for state in self._table.texts("state")], dtype=np.bool_)

    @cached_property
    def retired(self) -> BoolArray:
        return np.array([s == BatteryState.RETIRED for s in self._table.texts("state")], dtype=np.bool_)

    @cached_property
    def first_use_day(self) -> FloatArray:
        """The day of first use, else of purchase."""
        used, bought = (self._table.floats(name) / DAY_S for name in ("in_service_s", "acquired_s"))
        return cast(FloatArray, np.round(np.where(np.isnan(used), bought, used)))


@dataclass(frozen=True)
class ReadingColumns:
    """All readings, one entry each; ``battery`` is a row number, ``day`` counts local days from 1970."""

    battery: IntArray
    day: FloatArray
    mohm: FloatArray
    method: IntArray
    instrument: IntArray
    rest_v: FloatArray
    rest_h: FloatArray
    temperature_c: FloatArray
    charge_frac: FloatArray
    cycles: FloatArray
    methods: tuple[str, ...]
    instruments: tuple[str, ...]


@dataclass(frozen=True)
class CapacityColumns:
    """All capacity tests, oldest first inside a battery."""

    battery: IntArray
    day: FloatArray
    current_a: FloatArray
    end_v: FloatArray
    temperature_c: FloatArray
    capacity_ah: FloatArray


@dataclass(frozen=True)
class BatteryColumns:
    """The batteries with everything they are judged by; ``cycles`` is NaN where nobody counted."""

    facts: BatteryRows
    readings: ReadingColumns
    tests: CapacityColumns
    cycles: FloatArray


def kept_batteries(team_ids: Sequence[int]) -> QuerySet[Battery]:
    """The batteries that are not archived; those out of use stand beside the others, and are not judged."""
    return Battery.objects.filter(team_id__in=team_ids, archived=False)


def load_columns(batteries: QuerySet[Battery], *, break_in_cycles: float) -> BatteryColumns:
    """Read the batteries and all that belongs to them, in five queries."""
    facts = BatteryRows(batteries)
    mine = {"battery__in": batteries.order_by().values("pk")}
    ended = Charge.objects.filter(**mine, ended_at__isnull=False, purpose__in=Charge.CYCLES).order_by()
    counted = list(ended.values_list("battery").annotate(n=Count("pk")))
    charged = np.array(counted, dtype=np.int64).reshape(-1, 2)
    place = place_of(facts.ids, charged[:, 0])
    total = facts.cycles_at_intake.copy()
    total[place[place >= 0]] += charged[place >= 0, 1]
    return BatteryColumns(
        facts=facts,
        readings=_readings(Reading.objects.filter(**mine), ended, facts, break_in_cycles),
        tests=_tests(CapacityTest.objects.filter(**mine), facts),
        # Nothing at intake and nothing since: nobody counted, which is not the same as new.
        cycles=np.where(total > 0, total, np.nan),
    )


def local_days(moments: Iterable[datetime]) -> FloatArray:
    """Days since 1970 in the local calendar, with the time of day as fraction."""
    return local_days_of(np.array([m.timestamp() for m in moments], dtype=np.float64))


def local_days_of(seconds: FloatArray) -> FloatArray:
    """The same of moments given as seconds since 1970."""
    if not seconds.size:
        return seconds
    zone = timezone.get_current_timezone()
    days = np.floor(seconds / DAY_S).astype(np.int64)
    first = int(days.min())
    # One entry per day between the first and the last: no need to sort hundred thousands of moments.
    seen = np.zeros(int(days.max()) - first + 1, dtype=np.bool_)
    seen[days - first] = True
    offset = np.zeros(seen.size)
    for day in np.flatnonzero(seen).tolist():
        noon = datetime.fromtimestamp((first + day) * DAY_S + DAY_S / 2, UTC).astimezone(zone)
        offset[day] = (noon.utcoffset() or timedelta()).total_seconds()
    return (seconds + offset[days - first]) / DAY_S


def day_to_date(day: float) -> date:
    """The date of a day number."""
    return date.fromordinal(EPOCH_ORDINAL + int(np.floor(day)))


def _fetch_of(
    facts: BatteryRows, rows: QuerySet[Any], moment: str, *fields: str, coded: Sequence[str] = ()
) -> tuple[Table, IntArray, FloatArray]:
    """Columns of rows that belong to batteries, the place of each row's battery, and its moment in seconds."""
    table = fetch(rows.annotate(at_s=EpochSeconds(moment)), "battery_id", "at_s", *fields, coded=coded)
    place = place_of(facts.ids, table.ids("battery_id"))
    # A battery entered while we read was not there when the batteries were read: the next sweep judges it.
    there = place >= 0
    table = table.where(there)
    return table, place[there], np.round(table.floats("at_s"), 3)


def _readings(
    rows: QuerySet[Reading], ended: QuerySet[Charge], facts: BatteryRows, break_in_cycles: float
) -> ReadingColumns:
    figures = ("rest_v", "rest_h", "temperature_c", "charge_frac")
    numbered = rows.order_by().annotate(method_code=code_of("method", Method.values))
    table, battery, seconds = _fetch_of(
        facts, numbered, "taken_at", "resistance_mohm", "method_code", *figures, coded=("instrument",)
    )
    written = table.coded("instrument")
    same, instruments = _same_meter(written.words)
    return ReadingColumns(
        battery=battery,
        day=local_days_of(seconds),
        mohm=table.floats("resistance_mohm"),
        method=table.ids("method_code"),
        instrument=same[written.code],
        **{name: table.floats(name) for name in figures},
        cycles=_cycles_at(seconds, battery, ended, facts, break_in_cycles),
        methods=tuple(Method.values),
        instruments=instruments,
    )


def _cycles_at(
    taken_s: FloatArray,
    battery: IntArray,
    ended: QuerySet[Charge],
    facts: BatteryRows,
    break_in_cycles: float,
) -> FloatArray:
    """Cycles at each reading, exact up to the break-in; NaN where nobody counts, lest it stay new for ever."""
    ranked = ended.annotate(
        nth=Window(RowNumber(), partition_by=F("battery_id"), order_by=F("ended_at").asc())
    )
    early = ranked.filter(nth__lte=int(np.ceil(break_in_cycles))).order_by()
    _, charged, ended_s = _fetch_of(facts, early, "ended_at")
    charges = np.sort(charged * _PER_BATTERY + ended_s.astype(np.int64))
    base = battery * _PER_BATTERY
    until = base + taken_s.astype(np.int64)
    since = np.searchsorted(charges, until, side="right") - np.searchsorted(charges, base)
    intake = facts.cycles_at_intake
    counted = intake >= break_in_cycles
    counted[charged] = True
    cycles = intake[battery] + since
    return np.where(counted[battery] & (cycles > 0), cycles, np.nan)


def _tests(rows: QuerySet[CapacityTest], facts: BatteryRows) -> CapacityColumns:
    fields = ("current_a", "end_v", "temperature_c", "capacity_ah")
    table, battery, seconds = _fetch_of(facts, rows.order_by("battery_id", "tested_at"), "tested_at", *fields)
    return CapacityColumns(battery, local_days_of(seconds), *(table.floats(name) for name in fields))


def _same_meter(names: Sequence[str]) -> tuple[IntArray, tuple[str, ...]]:
    """A number for each name, and the names as first written: with another capital it is still the same meter."""
    written: dict[str, str] = {}
    for name in names:
        written.setdefault(name.casefold(), name)
    place = {folded: i for i, folded in enumerate(written)}
    return np.array([place[name.casefold()] for name in names], dtype=np.int64), tuple(written.values())
