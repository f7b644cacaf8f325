"""How long a match takes against ngspice's transient analysis of the same robot, and how exact it is.

python -m tests.bench.match [--seconds 150] [--runs 1000] [--rounds 3]

Twenty motors, 20 ms. ngspice runs one match in a process, tolerance and steps as it chooses them, once with wires
that warm (what the simulation does too) and once with fixed resistances (less work for it). Both sides are timed
in turn in processor seconds of one core, so that what else the machine does counts for neither, and the best
of the rounds is taken. The last line is JSON.
"""

from __future__ import annotations

import argparse
import json
import os
import resource
import sys
import tempfile
import time
from collections.abc import Callable
from functools import partial
from pathlib import Path
from typing import Any

import numpy as np

STEP_S = 0.02
SPEEDUP_GOAL, ERROR_GOAL_MV = 300.0, 1.0


def main(arguments: list[str] | None = None) -> dict[str, Any]:
    parser = argparse.ArgumentParser(prog="python -m tests.bench.match", description=__doc__)
    parser.add_argument("--seconds", type=float, default=150.0, help="of a match")
    parser.add_argument("--runs", type=int, default=1000, help="at once, in the largest batch")
    parser.add_argument("--rounds", type=int, default=3, help="of both sides in turn")
    parser.add_argument("--motors", type=int, default=20)
    options = parser.parse_args(arguments)
    # One core a side: matrices are not what is measured, but a second thread would not be fair.
    os.environ.setdefault("OMP_NUM_THREADS", "1")
    result = _measure(options)
    print(json.dumps(result))
    return result


def _measure(options: argparse.Namespace) -> dict[str, Any]:
    # Only now, with the number of threads set.
    from shared.electrical.match import random_shifts, simulate
    from tests.reference_robot import reference_battery, reference_robot
    from tests.spice_match import play

    robot, battery = reference_robot(options.motors), reference_battery()
    seconds = options.seconds
    drawn = np.round(random_shifts(robot, options.runs, seed=1) / STEP_S) * STEP_S
    batches = sorted({1, min(100, options.runs), options.runs})
    spent: dict[str, list[float]] = {}

    def note(name: str, cpu_s: float) -> None:
        spent.setdefault(name, []).append(cpu_s)

    with tempfile.TemporaryDirectory(prefix="loadstock-bench-") as folder:

        def spice(warm: bool, **how: Any) -> Any:
            return play(robot, battery, drawn[:, 0], seconds, Path(folder), warm=warm, **how)

        for _ in range(options.rounds):
            note("ngspice", _children_s(lambda: spice(True)))
            note("ngspice, fixed wires", _children_s(lambda: spice(False)))
            for runs in batches:
                play_all = partial(simulate, robot, [battery], drawn[:, :runs], duration_s=seconds)
                note(f"{runs}", _own_s(play_all) / runs)
        print("comparing with the converged solutions", file=sys.stderr)
        exact = spice(True, most_s=0.002, reltol=1e-6)
        plain = spice(True)
    best = {name: min(values) for name, values in spent.items()}
    errors = _errors(robot, battery, drawn[:, :1], seconds, exact, plain)
    _print_table(best, batches, errors)
    largest = best[str(options.runs)]
    return {
        "name": "match",
        "speedup": round(best["ngspice"] / largest, 1),
        "goal": SPEEDUP_GOAL,
        "error_mv": round(errors["ours, all moments"], 3),
        "error_goal_mv": ERROR_GOAL_MV,
        "lowest_error_mv": round(errors["ours, the lowest"], 3),
        "speedup_fixed_wires": round(best["ngspice, fixed wires"] / largest, 1),
        "speedup_by_runs": {str(runs): round(best["ngspice"] / best[str(runs)], 1) for runs in batches},
        "ngspice_s": round(best["ngspice"], 3),
        "match_ms": {str(runs): round(1e3 * best[str(runs)], 2) for runs in batches},
        "motors": options.motors,
        "seconds": seconds,
        "rounds": options.rounds,
    }


def _own_s(act: Callable[[], object]) -> float:
    start = time.process_time()
    act()
    return time.process_time() - start


def _children_s(act: Callable[[], object]) -> float:
    def used() -> float:
        usage = resource.getrusage(resource.RUSAGE_CHILDREN)
        return usage.ru_utime + usage.ru_stime

    start = used()
    act()
    return used() - start


def _errors(
    robot: Any, battery: Any, shift: np.ndarray, seconds: float, exact: Any, plain: Any
) -> dict[str, float]:
    """Millivolts at the board, against ngspice converged and against our own steps of a tenth."""
    from shared.electrical.match import simulate

    def run(step_s: float) -> Any:
        return simulate(robot, [battery], shift, duration_s=seconds, step_s=step_s, traces=[(0, 0)])

    ours, fine = run(STEP_S), run(STEP_S / 10.0)
    trace = ours.traces[0]
    again = np.concatenate([[False], np.diff(trace.time_s) == 0.0])
    times = trace.time_s + np.where(again, 2e-6, -1e-7)

    def worst(time_s: np.ndarray, board_v: np.ndarray) -> float:
        # Without the start: ngspice's first point after it comes some 20 us later.
        return float(np.abs(trace.board_v - np.interp(times, time_s, board_v))[2:].max() * 1e3)

    own = fine.traces[0]
    # Just before and just after an edge are two points of one time; a hair apart, they can be interpolated.
    own_s = own.time_s + np.where(np.diff(own.time_s, prepend=-1.0) == 0.0, 1e-6, 0.0)
    return {
        "ours, all moments": worst(exact.time_s, exact.board_v),
        "ours, against our own tenth": worst(own_s, own.board_v),
        "ours, the lowest": float(abs(ours.lowest_v - exact.board_v[exact.time_s > 0.001].min())[0, 0] * 1e3),
        "ngspice as it comes": _between(plain, exact),
    }


def _between(one: Any, other: Any) -> float:
    """Millivolts between two runs of ngspice, off the edges."""
    times = np.arange(STEP_S / 2, float(other.time_s[-1]), STEP_S)
    first, second = (np.interp(times, found.time_s, found.board_v) for found in (one, other))
    return float(np.abs(first - second).max() * 1e3)


def _print_table(best: dict[str, float], batches: list[int], errors: dict[str, float]) -> None:
    print(f"{'processor time of one match':<34}{'ms':>10}{'x ngspice':>12}{'x fixed':>10}")
    for name in ("ngspice", "ngspice, fixed wires", *map(str, batches)):
        label = f"{name} at once" if name.isdigit() else name
        ratios = best["ngspice"] / best[name], best["ngspice, fixed wires"] / best[name]
        print(f"{label:<34}{best[name] * 1e3:>10.2f}{ratios[0]:>12.1f}{ratios[1]:>10.1f}")
    print(f"{'greatest error at the board':<34}{'mV':>10}")
    for name, error in errors.items():
        print(f"{name:<34}{error:>10.3f}")


if __name__ == "__main__":
    main()
