"""Batteries of many teams judged at once, each by the limits of its own team."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from datetime import datetime
from functools import cached_property

import numpy as np
from django.db.models import QuerySet

from compliance.rules.batteries import policy_of, stale_after_d
from compliance.selectors.battery_columns import (
    BatteryColumns,
    BatteryFacts,
    FloatArray,
    IntArray,
    load_columns,
    local_days,
)
from compliance.selectors.packs import PackTable
from inventory.models import Battery
from shared.planning.trends import (
    BatteryPolicy,
    BatteryState,
    CapacityDoubt,
    CapacityVerdict,
    Judgement,
    Readings,
    judge_batteries,
    judge_capacity,
    judge_use,
)


@dataclass(frozen=True)
class Group:
    """The batteries judged by one set of limits. Arrays are per member unless said otherwise.

    ``rows`` are the readings of the members, ``member`` tells whose each is;
    ``tests`` are the capacity tests of the members, ``test`` is the position in ``tests`` that decides for a
    member, -1 for none; ``newest_day`` is that of its newest comparable reading.
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
    """Read and judge the batteries of some teams, in eight queries however many there are.

    Without ``lines_of_all`` a battery that has not risen gets no line and no test: enough to find what is wrong.
    """
    table = PackTable.load(team_ids)
    limits: dict[int, tuple[BatteryPolicy, float]] = {}
    problems: dict[int, str] = {}
    # Batteries outlive a season, so the team's general pack judges them, never one of a season.
    for pack in sorted({table.pack_of(team_id, None) for team_id in team_ids}):
        try:
            limits[pack] = (policy_of(table, pack), stale_after_d(table, pack))
        except ValueError as exc:
            problems[pack] = f"rule pack {table.names[pack]}: {exc}"
    break_in = max((policy.break_in_cycles for policy, _ in limits.values()), default=0)
    columns = load_columns(batteries, break_in_cycles=break_in)
    general = {team_id: table.pack_of(team_id, None) for team_id in set(columns.facts.team_ids.tolist())}
    pack_of = tuple(general[team_id] for team_id in columns.facts.team_ids.tolist())
    today = float(np.floor(local_days([now])[0]))
    alike: dict[tuple[BatteryPolicy, float], list[int]] = {}
    for pack, chosen in limits.items():
        alike.setdefault(chosen, []).append(pack)
    members = {chosen: np.flatnonzero(np.isin(pack_of, packs)) for chosen, packs in alike.items()}
    groups = tuple(
        _judged(columns, rows, policy, stale, today, lines_of_all)
        for (policy, stale), rows in members.items()
        if rows.size
    )
    return BatteryBook(columns, table, pack_of, problems, groups, today)


def _judged(
    columns: BatteryColumns,
    members: IntArray,
    policy: BatteryPolicy,
    stale: float,
    today: float,
    lines_of_all: bool,
) -> Group:
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
    return Group(
        policy=policy,
        stale_after_d=stale,
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
