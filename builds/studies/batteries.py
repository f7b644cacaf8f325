"""Which battery may still run this robot: each as measured, while the heaviest mechanisms push."""

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
    number,
    only,
    solve_with,
    volts_at,
)
from shared.columns import BoolArray, FloatArray
from shared.electrical.network import Solution, Sources, solve

#: No 12 V battery reads more (`reading_resistance_plausible`).
_MOST_OHM = 0.5
_STEPS = 64


class Runs(StrEnum):
    YES = "yes"
    NO = "no"
    UNKNOWN = "unknown"


@dataclass(frozen=True, slots=True)
class BatteryVerdict:
    """What one battery does with this build; ``words``: where its resistance comes from."""

    battery_id: int | None
    code: str
    open_v: float | None
    internal_mohm: float | None
    board_v: float | None
    worst: LevelMargin | None
    margin_v: float | None
    verdict: Runs
    reason: str
    words: str


@dataclass(frozen=True, slots=True)
class BatteryStudy:
    """``resistance_limit_mohm``: the most a full battery may have; None when even an ideal one will not do."""

    build_id: int
    as_new: BatteryVerdict | None
    rows: tuple[BatteryVerdict, ...]
    resistance_limit_mohm: float | None
    cannot: str


def batteries_for(
    build_id: int,
    net: Assembled,
    as_new: BatteryCase,
    cases: Sequence[BatteryCase],
    least_board_v: float | None = None,
) -> BatteryStudy:
    """Judge every battery, best first; those never measured are unknown, not guessed at.

    Judged is what the robot is dead without: a branch of its own that is too weak is no fault of a battery.
    """
    told = BatteryStudy(build_id, None, (), None, cannot(net, None))
    if told.cannot:
        return told
    levels = levels_of(net, least_board_v, vital=True)
    known = [case for case in (as_new, *cases) if not cannot(net, case)]
    verdicts = {}
    if known:
        done = solve_with(net, known, only(net.loads, Scenario.PUSH))
        verdicts = {case.battery_id: _verdict(net, levels, done, k, case) for k, case in enumerate(known)}
    rows = [verdicts.get(case.battery_id) or _unknown(case, cannot(net, case)) for case in cases]
    return replace(
        told,
        as_new=verdicts.get(None) or _unknown(as_new, cannot(net, as_new)),
        rows=tuple(sorted(rows, key=_order)),
        resistance_limit_mohm=_limit_mohm(net, levels, as_new.open_v),
    )


def _verdict(net: Assembled, levels: Levels, done: Solution, k: int, case: BatteryCase) -> BatteryVerdict:
    told = levels.told(done, k)
    worst = told[0] if told else None
    blank = _unknown(case, NO_LEVELS)
    board_v = number(volts_at(done, net.board)[0, k])
    if board_v is None:
        reason = "The voltage collapses: with this resistance the robot asks more than the battery can give."
        return replace(blank, verdict=Runs.NO, worst=worst, reason=reason)
    if worst is None or worst.margin_v is None:
        return replace(blank, board_v=board_v)
    runs = worst.margin_v >= 0.0
    return replace(
        blank,
        board_v=board_v,
        worst=worst,
        margin_v=worst.margin_v,
        verdict=Runs.YES if runs else Runs.NO,
        reason=f"{worst.place} gets {worst.load_v:.2f} V and needs {worst.minimum_v:g} V.",
    )


def _unknown(case: BatteryCase, reason: str) -> BatteryVerdict:
    return BatteryVerdict(
        battery_id=case.battery_id,
        code=case.label,
        open_v=case.open_v,
        internal_mohm=case.internal_mohm,
        board_v=None,
        worst=None,
        margin_v=None,
        verdict=Runs.UNKNOWN,
        reason=reason,
        words=case.words,
    )


def _order(row: BatteryVerdict) -> tuple[int, float, str]:
    return (
        list(Runs).index(row.verdict),
        -(row.margin_v if row.margin_v is not None else -math.inf),
        row.code,
    )


def _limit_mohm(net: Assembled, levels: Levels, open_v: float | None) -> float | None:
    """The largest resistance with which everything still has its voltage, by narrowing down a fan of trials."""
    if open_v is None or not levels.branch.size:
        return None
    loads = only(net.loads, Scenario.PUSH)
    low, high = 1e-5, _MOST_OHM

    def holds(ohm: FloatArray) -> BoolArray:
        sources = Sources(np.array([[open_v] * ohm.size]), ohm[None] + net.as_new.leads_ohm[0])
        return np.asarray(levels.worst(solve(net.tree, sources, loads)) >= 0.0)

    if not holds(np.array([low]))[0]:
        return None
    for _ in range(3):
        trial = np.linspace(low, high, _STEPS)
        passed = np.flatnonzero(holds(trial))
        last = int(passed[-1])
        low, high = float(trial[last]), float(trial[min(last + 1, _STEPS - 1)])
    return math.floor(low * 1e4) / 10.0
