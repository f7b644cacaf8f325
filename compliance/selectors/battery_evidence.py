"""What was noted of batteries besides measurements: charges, incidents, outings; as columns, in a few queries."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import NamedTuple

import numpy as np
from django.db.models import Count, Max, Q, QuerySet

from builds.models import MatchStudy, Outing
from compliance.selectors.battery_columns import (
    BatteryRows,
    FloatArray,
    IntArray,
    ReadingColumns,
    local_days_of,
)
from inventory.models import Battery, BatteryIncident, Charge
from shared.columns import NO_ID, BoolArray, EpochSeconds, fetch, place_of


class OpenIncident(NamedTuple):
    """An incident that nobody has looked at yet."""

    pk: int
    kind: str
    day: float
    temperature_c: float | None
    note: str

    @property
    def quarantines(self) -> bool:
        return self.kind in BatteryIncident.QUARANTINES


@dataclass(frozen=True)
class CareColumns:
    """Per battery, in the order of its rows; days count local days from 1970, NaN = never, as far as noted.

    ``charged_day``: end of its last charge; ``full_day``: when it was last read full; ``rest_v``, ``rest_day``: its
    newest reading with a rest voltage; ``out_day``: when it last went out.
    """

    charged_day: FloatArray
    on_charger: BoolArray
    full_day: FloatArray
    rest_v: FloatArray
    rest_day: FloatArray
    out_day: FloatArray
    incidents: Mapping[int, tuple[OpenIncident, ...]]


@dataclass(frozen=True)
class OutingColumns:
    """Outings, oldest first; ``battery`` is a row number, ``place`` one number per robot and match or practice.

    ``peak_a`` and ``expected_ah`` come from the newest simulated match of the robot, with this battery where there is
    one, else with a new one.
    """

    pk: IntArray
    battery: IntArray
    day: FloatArray
    robot: IntArray
    place: IntArray
    start_rest_v: FloatArray
    end_rest_v: FloatArray
    lowest_v: FloatArray
    used_ah: FloatArray
    peak_a: FloatArray
    expected_ah: FloatArray


def load_care(facts: BatteryRows, batteries: QuerySet[Battery], readings: ReadingColumns) -> CareColumns:
    """Charges, incidents and last outings of the batteries, in three queries."""
    mine = {"battery__in": batteries.order_by().values("pk")}
    charges = Charge.objects.filter(**mine).order_by().values("battery_id").annotate(
        last_s=Max(EpochSeconds("ended_at")), still=Count("pk", filter=Q(ended_at=None))
    )  # fmt: skip
    out = (
        Outing.objects.filter(**mine)
        .order_by()
        .values("battery_id")
        .annotate(last_s=Max(EpochSeconds("started_at")))
    )
    told = list(charges.values_list("battery_id", "last_s", "still"))
    left = list(out.values_list("battery_id", "last_s"))
    full_day, rest_v, rest_day = _rests(facts, readings)
    return CareColumns(
        charged_day=_days(_spread(facts, [(row[0], row[1]) for row in told])),
        on_charger=_spread(facts, [(row[0], row[2]) for row in told]) > 0,
        full_day=full_day,
        rest_v=rest_v,
        rest_day=rest_day,
        out_day=_days(_spread(facts, left)),
        incidents=_incidents(facts, BatteryIncident.objects.filter(**mine, looked_at=None)),
    )


def load_outings(facts: BatteryRows, batteries: QuerySet[Battery], since: datetime) -> OutingColumns:
    """Outings of the batteries since a moment with what was expected of them, in two queries."""
    rows = Outing.objects.filter(battery__in=batteries.order_by().values("pk"), started_at__gte=since)
    figures = ("start_rest_v", "end_rest_v", "lowest_v", "used_ah")
    rows = rows.order_by("started_at", "pk").annotate(at_s=EpochSeconds("started_at"))
    table = fetch(rows, "id", "battery_id", "robot_id", "match_id", "at_s", *figures)
    table = table.where(place_of(facts.ids, table.ids("battery_id")) >= 0)
    battery = place_of(facts.ids, table.ids("battery_id"))
    robot = table.ids("robot_id")
    expected = _expected(facts, battery, robot)
    return OutingColumns(
        pk=table.ids("id"),
        battery=battery,
        day=local_days_of(table.floats("at_s")),
        robot=robot,
        place=np.where(robot == NO_ID, -1, 2 * robot + (table.ids("match_id") != NO_ID)),
        **{name: table.floats(name) for name in figures},
        peak_a=expected[0],
        expected_ah=expected[1],
    )


def _spread(facts: BatteryRows, found: Sequence[tuple[int, float | None]]) -> FloatArray:
    """A figure per battery, in the order of the rows; NaN where there is none."""
    column = np.full(len(facts), np.nan)
    place = place_of(facts.ids, np.array([pk for pk, _ in found], dtype=np.int64))
    figures = np.array([figure for _, figure in found], dtype=np.float64)
    # A battery entered while we read was not there when the batteries were read.
    column[place[place >= 0]] = figures[place >= 0]
    return column


def _days(seconds: FloatArray) -> FloatArray:
    """Local days of moments, NaN where there is none."""
    days, known = np.full(seconds.shape, np.nan), np.isfinite(seconds)
    days[known] = local_days_of(np.round(seconds[known], 3))
    return days


def _rests(facts: BatteryRows, readings: ReadingColumns) -> tuple[FloatArray, FloatArray, FloatArray]:
    """When each battery was last read full, and its newest rest voltage with the day. No sorting: that costs most."""
    battery, day, rest_v = readings.battery, readings.day, readings.rest_v
    noted = ~np.isnan(rest_v)
    # A millivolt of slack, as where readings are compared.
    full = _newest(facts, battery, np.where(rest_v >= facts.full_rest_v[battery] - 0.001, day, -np.inf))
    newest = _newest(facts, battery, np.where(noted, day, -np.inf))
    at = np.flatnonzero(noted & (day == newest[battery]))
    volts = np.full(len(facts), np.nan)
    volts[battery[at]] = rest_v[at]
    return full, volts, newest


def _newest(facts: BatteryRows, battery: IntArray, day: FloatArray) -> FloatArray:
    """The latest of each battery's days, NaN where it has none."""
    latest = np.full(len(facts), -np.inf)
    np.maximum.at(latest, battery, day)
    latest[np.isinf(latest)] = np.nan
    return latest


def _incidents(facts: BatteryRows, rows: QuerySet[BatteryIncident]) -> Mapping[int, tuple[OpenIncident, ...]]:
    found: dict[int, list[OpenIncident]] = defaultdict(list)
    fields = ("battery_id", "pk", "kind", "at_s", "temperature_c", "note")
    told = list(rows.order_by("happened_at").annotate(at_s=EpochSeconds("happened_at")).values_list(*fields))
    places = place_of(facts.ids, np.array([row[0] for row in told], dtype=np.int64)).tolist()
    for place, (_, pk, kind, at_s, temperature_c, note) in zip(places, told, strict=True):
        if place != NO_ID:
            day = float(local_days_of(np.array([at_s]))[0])
            found[place].append(OpenIncident(pk, kind, day, temperature_c, note))
    return {row: tuple(incidents) for row, incidents in found.items()}


def _expected(facts: BatteryRows, battery: IntArray, robot: IntArray) -> tuple[FloatArray, FloatArray]:
    """Current at the lowest moment and charge of a simulated match, per outing."""
    robots = np.unique(robot[robot != NO_ID]).tolist()
    if not robots:
        return np.full(robot.shape, np.nan), np.full(robot.shape, np.nan)
    told: dict[tuple[int, int | None], tuple[float, float]] = {}
    studies = MatchStudy.objects.filter(build__robot_id__in=robots).order_by("computed_at", "pk").values_list(
        "build__robot_id", "battery_id", "outcome__contributors__0__amps", "outcome__contributors__0__share_frac",
        "outcome__summary__used_ah",
    )  # fmt: skip
    for robot_id, battery_id, amps, share, used_ah in studies:
        # The largest load and its share of the current at the lowest moment give the whole current.
        peak = amps / share if amps and share else np.nan
        told[robot_id, battery_id] = (peak, np.nan if used_ah is None else used_ah)
    nothing = (np.nan, np.nan)
    pairs = [
        told.get((r, b), told.get((r, None), nothing))
        for r, b in zip(robot.tolist(), facts.ids[battery].tolist(), strict=True)
    ]
    peak_a, expected_ah = np.array(pairs, dtype=np.float64).reshape(-1, 2).T
    return peak_a, expected_ah
