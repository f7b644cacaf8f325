"""What a study answers, as plain data for its row: figures over all runs, and the trace of the worst one."""

from __future__ import annotations

import math
from itertools import pairwise
from typing import Any

import numpy as np

from builds.match_study.batteries import StudyBattery
from builds.match_study.inputs import STEP_S, VERSION
from builds.match_study.robot import StudyRobot
from shared.columns import FloatArray
from shared.electrical.match import MatchResult, brownout_probability, contributions

SCHEMA = 1
TRACE_POINTS = 600
CONTRIBUTORS = 8
BAND_WINDOWS_S = 1.0
SHARES = {"p05": 5.0, "p50": 50.0, "p95": 95.0}


def outcome_of(robot: StudyRobot, battery: StudyBattery, result: MatchResult, b: int) -> dict[str, Any]:
    """The outcome with the battery at place ``b`` of the result."""
    return {
        "schema": SCHEMA,
        "kernel": VERSION,
        "summary": _summary(robot, result, b),
        "build": {
            "board": robot.labels[robot.kernel.board].code,
            "duration_s": robot.match_s,
            "step_s": STEP_S,
            "mechanisms": [name for name in robot.mechanisms if name],
        },
        "battery": _battery(battery),
        "levels": _levels(robot, result, b),
        "board": _board(result, b),
        "trace": _trace(result, b),
        "band": _band(result, b),
        "contributors": _contributors(robot, result, b),
        "circuits": _circuits(robot, result, b),
        "assumptions": [*robot.assumptions, *battery.assumptions],
    }


def worst_run(result: MatchResult, b: int) -> int:
    """The run whose board voltage falls lowest with this battery; one that collapses comes first."""
    lowest = np.where(result.collapsed[b], -np.inf, result.lowest_v[b])
    return int(np.nanargmin(lowest)) if not np.isnan(lowest).all() else 0


def _summary(robot: StudyRobot, result: MatchResult, b: int) -> dict[str, Any]:
    hit = hits(robot, result, b)
    chance = brownout_probability(np.where(hit, 0.0, 1.0), 0.5)
    known = len(robot.kernel.watch_v) > 0
    worst = worst_run(result, b)
    return {
        "brownout_frac": _figure(chance.p, 4) if known else None,
        "brownout_low_frac": _figure(chance.low, 4) if known else None,
        "brownout_high_frac": _figure(chance.high, 4) if known else None,
        "runs": hit.size,
        "runs_hit": int(hit.sum()),
        "collapsed_runs": int(result.collapsed[b].sum()),
        "lowest_v": _figure(result.lowest_v[b, worst]),
        "median_lowest_v": _figure(_median(result.lowest_v[b])),
        "used_ah": _figure(_median(result.charge_ah[b]), 2),
        "used_wh": _figure(_median(result.energy_wh[b]), 1),
        "hottest": _hottest(robot, result, b),
        "breaker": _breaker(robot, result, b),
    }


def hits(robot: StudyRobot, result: MatchResult, b: int) -> Any:
    """Runs in which the voltage of the controller or the radio fell below what it needs, or collapsed."""
    below = result.watch_lowest_v[:, b] < robot.kernel.watch_v[:, None]
    return below.any(axis=0) | result.collapsed[b]


def _battery(battery: StudyBattery) -> dict[str, Any]:
    kernel = battery.kernel
    full = float(np.interp(kernel.charge_frac, *kernel.points))
    return {
        "label": battery.label,
        "as_new": battery.battery_id is None,
        "open_v": _figure(full),
        "internal_mohm": _figure(kernel.internal_ohm * 1e3, 2),
        "polarisation_mohm": _figure(kernel.polarisation_ohm * 1e3, 2),
        "polarisation_s": _figure(kernel.polarisation_s, 1),
        "capacity_ah": _figure(kernel.capacity_ah, 2),
        "charge_frac": kernel.charge_frac,
        "words": battery.words,
    }


def _levels(robot: StudyRobot, result: MatchResult, b: int) -> list[dict[str, Any]]:
    levels = []
    for k, (branch, volts) in enumerate(
        zip(robot.kernel.watch_branch.tolist(), robot.kernel.watch_v.tolist(), strict=True)
    ):
        lowest = result.watch_lowest_v[k, b]
        hit = (lowest < volts) | result.collapsed[b]
        chance = brownout_probability(np.where(hit, 0.0, 1.0), 0.5)
        label = robot.labels[branch]
        levels.append(
            {
                "circuit": label.circuit_id,
                "code": label.code,
                "name": label.component or label.name,
                "minimum_v": volts,
                "lowest_v": _figure(_least(lowest)),
                "median_lowest_v": _figure(_median(lowest)),
                "frac": _figure(chance.p, 4),
                "low_frac": _figure(chance.low, 4),
                "high_frac": _figure(chance.high, 4),
                "runs_hit": int(hit.sum()),
                "seconds_below": _figure(_most(result.below_s[k, b]), 2),
            }
        )
    return levels


def _board(result: MatchResult, b: int) -> dict[str, Any]:
    lowest = result.lowest_v[b]
    whole = lowest[~np.isnan(lowest)]
    worst = worst_run(result, b)
    return {
        "lowest_v": {
            name: _figure(np.percentile(whole, share)) if whole.size else None
            for name, share in SHARES.items()
        },
        "lowest_of_runs": [_figure(v) for v in np.sort(whole)],
        "worst": {
            "run": worst,
            "t_s": _figure(result.lowest_at_s[b, worst], 2),
            "v": _figure(lowest[worst]),
            "collapsed": bool(result.collapsed[b, worst]),
        },
    }


def _trace(result: MatchResult, b: int) -> dict[str, Any]:
    """The worst run: the lowest board voltage of every short while, its minimum at its own moment."""
    worst = worst_run(result, b)
    low = result.window_low_v[:, b, worst]
    moment = (np.arange(low.size) + 0.5) * result.window_s
    if not np.isnan(low).all():
        moment[int(np.nanargmin(low))] = result.lowest_at_s[b, worst]
    keep = thinned(low, TRACE_POINTS)
    return {
        "window_s": _figure(result.window_s, 3),
        "t_s": _figures(moment[keep], 2),
        "board_v": _figures(low[keep]),
    }


def thinned(values: FloatArray, most: int) -> Any:
    """Places of at most ``most`` values in order: of each stretch the lowest and the highest, and both ends.

    >>> thinned(np.array([5.0, 4.0, 1.0, 4.0, 5.0, 5.0, 5.0, 9.0]), 6).tolist()
    [0, 2, 7]
    """
    size = values.size
    if size <= most:
        return np.arange(size)
    edges = np.linspace(0, size, (most - 2) // 2 + 1).astype(np.int64)
    keep = {0, size - 1}
    for first, end in pairwise(edges.tolist()):
        part = values[first:end]
        if np.isnan(part).all():
            keep.add(first)
            continue
        keep.update((first + int(np.nanargmin(part)), first + int(np.nanargmax(part))))
    return np.array(sorted(keep))


def _band(result: MatchResult, b: int) -> dict[str, Any]:
    """The lowest board voltage of every second, as the runs spread."""
    per = max(1, round(BAND_WINDOWS_S / result.window_s))
    low = result.window_low_v[:, b]
    whole = low[: low.shape[0] // per * per].reshape(-1, per, low.shape[1])
    # A collapsed run gives no voltage: it counts as none, so that it cannot lift the band.
    seconds = np.where(np.isnan(whole), 0.0, whole).min(axis=1)
    spread = np.percentile(seconds, list(SHARES.values()), axis=1)
    return {
        "t_s": _figures((np.arange(seconds.shape[0]) + 0.5) * per * result.window_s, 2),
        **{f"{name}_v": _figures(row) for name, row in zip(SHARES, spread, strict=True)},
    }


def _contributors(robot: StudyRobot, result: MatchResult, b: int) -> list[dict[str, Any]]:
    found = contributions(robot.kernel, result, battery=b)
    rows = zip(found.branch.tolist(), found.current_a.tolist(), found.sag_v.tolist(), found.share_frac.tolist(),
               strict=True)  # fmt: skip
    return [
        {
            "circuit": robot.labels[branch].circuit_id,
            "code": robot.labels[branch].code,
            "name": robot.labels[branch].name,
            "amps": _figure(amps, 1),
            "sag_v": _figure(sag),
            "share_frac": _figure(share, 4),
        }
        for branch, amps, sag, share in list(rows)[:CONTRIBUTORS]
        if amps > 0
    ]


def _circuits(robot: StudyRobot, result: MatchResult, b: int) -> list[dict[str, Any]]:
    warm, heat = (_max_of_rows(_upright(result, of, b)) for of in (result.wire_max_c, result.device_heat_max))
    return [
        {
            "circuit": label.circuit_id,
            "code": label.code,
            "lowest_v": _figure(_least(result.branch_lowest_v[i, b])),
            "hottest_c": _figure(warm[i], 1),
            "limit_c": _figure(robot.kernel.wire_limit_c[i], 1),
            "heat_frac": _figure(heat[i]),
            "used_ah": _figure(_median(result.branch_ah[i, b]), 3),
        }
        for i, label in enumerate(robot.labels)
        if label.circuit_id
    ]


def _hottest(robot: StudyRobot, result: MatchResult, b: int) -> dict[str, Any] | None:
    """The conductor that comes nearest to what its insulation bears, in any run that does not collapse."""
    warm = _max_of_rows(_upright(result, result.wire_max_c, b))
    room = robot.kernel.wire_limit_c - warm
    if np.isnan(room).all():
        return None
    i = int(np.nanargmin(room))
    return {
        "circuit": robot.labels[i].circuit_id,
        "code": robot.labels[i].code,
        "celsius": _figure(warm[i], 1),
        "limit_c": _figure(robot.kernel.wire_limit_c[i], 1),
    }


def _breaker(robot: StudyRobot, result: MatchResult, b: int) -> dict[str, Any] | None:
    """The protective device that comes nearest to opening, in any run that does not collapse."""
    heat = _max_of_rows(_upright(result, result.device_heat_max, b))
    if np.isnan(heat).all():
        return None
    i = int(np.nanargmax(heat))
    return {
        "circuit": robot.labels[i].circuit_id,
        "code": robot.labels[i].code,
        "heat_frac": _figure(heat[i]),
    }


def _upright(result: MatchResult, values: FloatArray, b: int) -> FloatArray:
    """(branches, runs) of the runs that do not collapse.

    In one that does, electronics are followed as resistances that take their power at 1 V, which real ones do not: its
    currents tell nothing of the heat.
    """
    return values[:, b][:, ~result.collapsed[b]]


def _max_of_rows(values: FloatArray) -> FloatArray:
    """The largest of each row, NaN where it has none."""
    return np.asarray(np.fmax.reduce(values, axis=1, initial=np.nan))


def _least(values: FloatArray) -> float:
    return float(np.fmin.reduce(values))


def _most(values: FloatArray) -> float:
    return float(np.fmax.reduce(values))


def _median(values: FloatArray) -> float:
    known = values[~np.isnan(values)]
    return float(np.median(known)) if known.size else math.nan


def _figure(value: Any, digits: int = 3) -> float | None:
    """A number for the row: rounded, and None for what is not one."""
    number = float(value)
    return round(number, digits) if math.isfinite(number) else None


def _figures(values: FloatArray, digits: int = 3) -> list[float | None]:
    return [_figure(v, digits) for v in values.tolist()]
