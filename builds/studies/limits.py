"""How much current limit per drive motor removes the brown-out: for each mechanism that pushes, and for all of them."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from enum import StrEnum

import numpy as np

from builds.network import Assembled, Scenario
from builds.studies.base import (
    NO_LEVELS,
    BatteryCase,
    LevelMargin,
    Levels,
    cannot,
    levels_of,
    limited_to,
    number,
    only,
    solve_with,
    volts_at,
)
from shared.columns import FloatArray, IdArray
from shared.electrical.network import LoadKind, Solution

ALL_MOTORS = "all that push"


class Limit(StrEnum):
    NONE_NEEDED = "none needed"
    SET = "limit"
    NOT_ENOUGH = "not enough"


@dataclass(frozen=True, slots=True)
class LimitRow:
    """One mechanism. ``limit_a`` per motor, in whole amperes; board voltage and margin are those with it.

    ``limit_now_a`` is None where its motors have no limit or different ones.
    """

    mechanism: str
    motors: int
    peak_a: float
    limit_now_a: float | None
    limit_a: int | None
    verdict: Limit
    board_v: float | None
    margin_v: float | None
    words: str


@dataclass(frozen=True, slots=True)
class LimitStudy:
    """Rows of the mechanisms that push; ``before`` is the worst place as the build is now."""

    build_id: int
    battery: BatteryCase
    before: LevelMargin | None
    rows: tuple[LimitRow, ...]
    all_motors: LimitRow | None
    cannot: str


def current_limits(
    build_id: int, net: Assembled, case: BatteryCase, least_board_v: float | None = None
) -> LimitStudy:
    """Find, for each mechanism, the largest whole limit with which everything has the voltage it needs."""
    told = LimitStudy(build_id, case, None, (), None, cannot(net, case))
    if told.cannot:
        return told
    levels = levels_of(net, least_board_v)
    if not levels.branch.size:
        return replace(told, cannot=NO_LEVELS)
    search = _Search(net, case, levels)
    now = search.solved(np.full(1, np.inf), [np.arange(0)])
    before = levels.told(now, 0)[0]
    motors = _motors(net)
    of_motor = np.array(_names(net, motors))
    named = [(name, motors[of_motor == name]) for name in sorted(set(of_motor.tolist()))]
    groups = [*named, (ALL_MOTORS, motors)] if motors.size else []
    rows = search.rows(groups, fine=(before.margin_v or 0.0) >= 0.0 and before.margin_v is not None)
    return replace(told, before=before, rows=tuple(rows[:-1]), all_motors=rows[-1] if rows else None)


def _motors(net: Assembled) -> IdArray:
    """The branches whose motors stall or start while the heaviest mechanisms push."""
    kind = np.asarray(net.loads.kind)[:, Scenario.PUSH]
    return np.flatnonzero(kind == LoadKind.MOTOR).astype(np.int64)


def _names(net: Assembled, branch: IdArray) -> list[str]:
    return [net.mechanisms.names[k] for k in net.mechanisms.of_circuit[net.circuit[branch]]]


@dataclass(frozen=True)
class _Search:
    net: Assembled
    case: BatteryCase
    levels: Levels

    def solved(self, limit_a: FloatArray, groups: Sequence[IdArray]) -> Solution:
        """A column per group, its motors limited to the column's current; infinite leaves them as they are."""
        limits = np.full((self.net.branches, limit_a.size), np.inf)
        for column, at in enumerate(groups):
            limits[at, column] = limit_a[column]
        every = np.arange(self.net.branches)
        return solve_with(
            self.net, [self.case], limited_to(only(self.net.loads, Scenario.PUSH), every, limits)
        )

    def rows(self, groups: Sequence[tuple[str, IdArray]], *, fine: bool) -> list[LimitRow]:
        """``fine``: nothing lacks voltage as it is."""
        if not groups:
            return []
        at = [branches for _, branches in groups]
        low, high = (np.array(values, dtype=np.float64) for values in zip(*map(self._range, at), strict=True))
        passes = self.levels.worst(self.solved(low, at)) >= 0.0
        while (high - low > 1.0).any():
            middle = np.floor((low + high) / 2.0)
            holds = self.levels.worst(self.solved(middle, at)) >= 0.0
            low, high = np.where(holds, middle, low), np.where(holds, high, middle)
        found = np.full(low.shape, np.inf) if fine else low
        done = self.solved(found, at)
        return [self._row(*group, done, k, fine, bool(passes[k]), low[k]) for k, group in enumerate(groups)]

    def _range(self, at: IdArray) -> tuple[float, float]:
        """From what the motors draw while running, limited as they are, to above what they could draw."""
        rows, c = self.net.circuit[at], self.net.currents
        running = float(np.max(np.fmin(c.own_running_a[rows], c.limit_a[rows])))
        return max(1.0, math.ceil(running)), math.ceil(float(np.max(self._peak(at)))) + 1.0

    def _peak(self, at: IdArray) -> FloatArray:
        c = self.net.currents
        return np.fmin(c.peak_a, c.limit_a)[self.net.circuit[at]]

    def _row(
        self, name: str, at: IdArray, done: Solution, k: int, fine: bool, passes: bool, limit: float
    ) -> LimitRow:
        now = np.asarray(self.net.currents.limit_a)[self.net.circuit[at]]
        verdict = Limit.NONE_NEEDED if fine else Limit.SET if passes else Limit.NOT_ENOUGH
        set_a = int(limit) if verdict == Limit.SET else None
        words = {
            Limit.NONE_NEEDED: "Everything has its voltage without a lower limit.",
            Limit.SET: f"At most {limit:g} A in each of its motors, {at.size} in all.",
            Limit.NOT_ENOUGH: f"Not enough on its own: even {limit:g} A, what it draws as it runs, leaves too little.",
        }
        return LimitRow(
            mechanism=name,
            motors=int(at.size),
            peak_a=float(np.max(self._peak(at))),
            limit_now_a=number(float(now[0])) if np.all(now == now[0]) else None,
            limit_a=set_a,
            verdict=verdict,
            board_v=number(volts_at(done, self.net.board)[0, k]),
            margin_v=number(float(self.levels.worst(done)[k])),
            words=words[verdict],
        )
