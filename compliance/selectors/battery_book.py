"""Batteries of many teams judged at once, each by the limits of its own team."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta
from functools import cached_property
from typing import NamedTuple

import numpy as np
from django.db.models import QuerySet

from compliance.rules.batteries import outings_within_d, policy_of, stale_after_d
from compliance.selectors.battery_columns import (
    BatteryColumns,
    BatteryFacts,
    FloatArray,
    IntArray,
    load_columns,
    local_days,
)
from compliance.selectors.battery_evidence import CareColumns, OutingColumns, load_care, load_outings
from compliance.selectors.packs import PackTable
from inventory.models import Battery
from shared.planning.trends import (
    BatteryPolicy,
    BatteryState,
    CapacityDoubt,
    CapacityVerdict,
    Judgement,
    OutingJudgement,
    Outings,
    Readings,
    Series,
    judge_batteries,
    judge_capacity,
    judge_outings,
    judge_use,
)


class Given(NamedTuple):
    """The limits a rule pack gives."""

    policy: BatteryPolicy
    stale_after_d: float
    within_d: float


@dataclass(frozen=True)
class Group:
    """The batteries judged by one set of limits. Arrays are per member unless said otherwise.

    ``rows`` are the readings of the members, ``member`` tells whose each is;
    ``tests`` are the capacity tests of the members, ``test`` is the position in ``tests`` that decides for a
    member, -1 for none; ``newest_day`` is that of its newest comparable reading. ``outings`` are positions in the
    book's outings, judged as ``sag``.
    """

    policy: BatteryPolicy
    stale_after_d: float
    members: IntArray
    rows: IntArray
    member: IntArray
    told: Judgement
    newest_day: FloatArray
    tests: IntArray
    capacity: CapacityVerdict
    test: IntArray
    age_d: FloatArray
    use: IntArray
    outings: IntArray
    member_of_outing: IntArray
    sag: OutingJudgement

    def readings_of(self, at: int) -> IntArray:
        """Positions in ``rows`` of a member's readings."""
        order, starts = self._by_member
        return order[starts[at] : starts[at + 1]]

    @cached_property
    def _by_member(self) -> tuple[IntArray, IntArray]:
        order = np.argsort(self.member, kind="stable")
        return order, np.searchsorted(self.member[order], np.arange(self.members.size + 1))


@dataclass(frozen=True)
class BatteryCase:
    """One battery seen through the limits that judge it; ``group`` is None when its rule pack is unusable."""

    book: BatteryBook
    row: int
    group: Group | None
    at: int

    @property
    def facts(self) -> BatteryFacts:
        return self.book.columns.facts[self.row]

    @property
    def pack(self) -> int:
        return self.book.pack_of[self.row]

    @property
    def problem(self) -> str:
        """What is wrong with the limits of its rule pack, or nothing."""
        return self.book.problems.get(self.pack, "")


@dataclass(frozen=True)
class BatteryBook:
    """Everything read, and the groups judged."""

    columns: BatteryColumns
    table: PackTable
    pack_of: tuple[int, ...]
    problems: dict[int, str]
    groups: tuple[Group, ...]
    today: float
    care: CareColumns
    outings: OutingColumns

    def cases(self) -> Iterator[BatteryCase]:
        """Every battery, also those whose rule pack cannot be used."""
        for group in self.groups:
            for at, row in enumerate(group.members):
                yield BatteryCase(self, int(row), group, at)
        for row, pack in enumerate(self.pack_of):
            if pack in self.problems:
                yield BatteryCase(self, row, None, -1)


def load_book(
    batteries: QuerySet[Battery], *, team_ids: Sequence[int], now: datetime, lines_of_all: bool = True
) -> BatteryBook:
    """Read and judge the batteries of some teams, in twelve queries however many there are.

    Without ``lines_of_all`` a battery that has not risen gets no line and no test: enough to find what is wrong.
    """
    table = PackTable.load(team_ids)
    limits: dict[int, Given] = {}
    problems: dict[int, str] = {}
    # Batteries outlive a season, so the team's general pack judges them, never one of a season.
    for pack in sorted({table.pack_of(team_id, None) for team_id in team_ids}):
        try:
            limits[pack] = Given(
                policy_of(table, pack), stale_after_d(table, pack), outings_within_d(table, pack)
            )
        except ValueError as exc:
            problems[pack] = f"rule pack {table.names[pack]}: {exc}"
    break_in = max((policy.break_in_cycles for policy, _, _ in limits.values()), default=0)
    columns = load_columns(batteries, break_in_cycles=break_in)
    general = {team_id: table.pack_of(team_id, None) for team_id in set(columns.facts.team_ids.tolist())}
    pack_of = tuple(general[team_id] for team_id in columns.facts.team_ids.tolist())
    today = float(np.floor(local_days([now])[0]))
    within = max((given.within_d for given in limits.values()), default=0.0)
    out = load_outings(columns.facts, batteries, now - timedelta(days=within))
    alike: dict[Given, list[int]] = {}
    for pack, chosen in limits.items():
        alike.setdefault(chosen, []).append(pack)
    members = {chosen: np.flatnonzero(np.isin(pack_of, packs)) for chosen, packs in alike.items()}
    groups = tuple(
        _judged(columns, out, rows, given, today, lines_of_all)
        for given, rows in members.items()
        if rows.size
    )
    care = load_care(columns.facts, batteries, columns.readings)
    return BatteryBook(columns, table, pack_of, problems, groups, today, care, out)


def _judged(
    columns: BatteryColumns,
    out: OutingColumns,
    members: IntArray,
    given: Given,
    today: float,
    lines_of_all: bool,
) -> Group:
    policy = given.policy
    local = np.full(len(columns.facts), -1, dtype=np.int64)
    local[members] = np.arange(members.size)
    rows = np.flatnonzero(local[columns.readings.battery] >= 0)
    readings, member = _as_readings(columns, rows, local)
    told = judge_batteries(readings, members.size, policy, lines_of_all=lines_of_all)
    newest = np.full(members.size, np.nan)
    series = told.readings
    if series.battery.size:
        np.fmax.at(newest, series.battery, series.day[series.offsets[1:] - 1])
    tests = np.flatnonzero(local[columns.tests.battery] >= 0)
    capacity = _capacity(columns, tests, policy)
    age = today - columns.facts.first_use_day[members]
    went = np.flatnonzero((local[out.battery] >= 0) & (today - out.day < given.within_d + 1))
    return Group(
        policy=policy,
        stale_after_d=given.stale_after_d,
        members=members,
        rows=rows,
        member=member,
        told=told,
        newest_day=newest,
        tests=tests,
        capacity=capacity,
        test=_deciding_test(local[columns.tests.battery[tests]], capacity, members.size),
        age_d=age,
        use=judge_use(age, columns.cycles[members], policy),
        outings=went,
        member_of_outing=local[out.battery[went]],
        sag=_sag(columns, out, went, local, told, policy),
    )


def _as_readings(columns: BatteryColumns, rows: IntArray, local: IntArray) -> tuple[Readings, IntArray]:
    """The readings in these rows as the judge takes them, and the member each belongs to."""
    r = columns.readings
    # Where all are judged by one set of limits, as is usual, nothing is copied.
    mine = slice(None) if rows.size == r.battery.size else rows
    battery = r.battery[mine]
    # Lithium keeps its voltage until it is empty: there the stated charge decides.
    full = np.where(columns.facts.lithium, np.nan, columns.facts.full_rest_v)
    member = local[battery]
    readings = Readings(
        battery=member,
        day=r.day[mine],
        resistance_mohm=r.mohm[mine],
        method_group=r.method[mine],
        instrument=r.instrument[mine],
        rest_voltage_v=r.rest_v[mine],
        full_rest_voltage_v=full[battery],
        soc_frac=r.charge_frac[mine],
        temperature_c=r.temperature_c[mine],
        rest_h=r.rest_h[mine],
        cycles=r.cycles[mine],
    )
    return readings, member


def _capacity(columns: BatteryColumns, tests: IntArray, policy: BatteryPolicy) -> CapacityVerdict:
    t = columns.tests
    facts = [columns.facts[i] for i in t.battery[tests]]
    rated = np.array([(f.capacity_hours_h, f.capacity_ah, f.end_v) for f in facts], dtype=np.float64)
    rated = rated.reshape(len(facts), 3)
    return judge_capacity(
        t.capacity_ah[tests],
        t.current_a[tests],
        rated[:, :1],
        rated[:, 1:2],
        end_voltage_v=t.end_v[tests],
        rated_end_voltage_v=rated[:, 2:],
        temperature_c=t.temperature_c[tests],
        policy=policy,
    )


def _sag(
    columns: BatteryColumns,
    out: OutingColumns,
    went: IntArray,
    local: IntArray,
    told: Judgement,
    policy: BatteryPolicy,
) -> OutingJudgement:
    """The outings of the members, each with its battery's resistance as read last."""
    battery = out.battery[went]
    member = local[battery]
    n = int((local >= 0).sum())
    mohm, kind = _read_last(told.readings, np.unique(member), n, int(policy.baseline_readings))
    rows = Outings(
        battery=member,
        place=out.place[went],
        start_rest_v=out.start_rest_v[went],
        lowest_v=out.lowest_v[went],
        full_rest_v=columns.facts.full_rest_v[battery],
        peak_a=out.peak_a[went],
        source_mohm=mohm[member],
        source_kind=kind[member],
    )
    return judge_outings(rows, n, policy)


def _read_last(series: Series, wanted: IntArray, n: int, most: int) -> tuple[FloatArray, IntArray]:
    """The resistance of the members wanted by the series read last, median of its newest readings, and a number for
    the series' method and instrument."""
    mohm, kind = np.full(n, np.nan), np.full(n, -1, dtype=np.int64)
    mine = np.flatnonzero(np.isin(series.battery, wanted))
    last = series.offsets[1:] - 1
    for one in mine[np.argsort(series.day[last[mine]], kind="stable")].tolist():
        newest = series.resistance_mohm[max(series.offsets[one], last[one] + 1 - most) : last[one] + 1]
        # Later series overwrite earlier ones.
        mohm[series.battery[one]] = np.median(newest)
        kind[series.battery[one]] = series.method_group[one] * 10_000 + series.instrument[one]
    return mohm, kind


def _deciding_test(battery: IntArray, capacity: CapacityVerdict, n: int) -> IntArray:
    """The newest test; when that one cannot be judged, an older one that was bad stays in force."""
    newest = np.full(n, -1, dtype=np.int64)
    newest[battery] = np.arange(battery.size)
    judged = np.flatnonzero(capacity.doubt == CapacityDoubt.NONE)
    newest_judged = np.full(n, -1, dtype=np.int64)
    newest_judged[battery[judged]] = judged
    has = (newest >= 0) & (newest_judged >= 0)
    bad = has & (capacity.state[newest_judged] >= BatteryState.WATCH) if battery.size else has
    return np.where(bad, newest_judged, newest)
