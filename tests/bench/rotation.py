"""How long a proven rotation takes, made at the start and made anew in the middle of the day.

python -m tests.bench.rotation [--days 20] [--batteries 15] [--matches 20] [--chargers 5] [--mixed]

Every day is invented and has other batteries, matches and times, one robot, a match every 12 to 40 minutes. Each is
planned at once in blocks and then exactly; then, eight matches later, the rest slips by a quarter of an hour, a battery
is pulled, or the last match moves forward by 20 minutes, and it is planned anew. Every plan is checked. Wall-clock time
is what a person waits; processor time beside it is for a machine that has other work. The last line is JSON; its
seconds are those of the slowest day.
"""

from __future__ import annotations

import argparse
import json
import os
import time
from collections.abc import Callable
from dataclasses import replace
from functools import partial
from statistics import median
from typing import Any, NamedTuple

import numpy as np

from shared.planning.rotation import Plan, Problem, blocks, check, solve
from tests.shared.planning.rotation.days import event_day, gone_by

GOAL_S = 2.0
PLAYED = 8


class Timed(NamedTuple):
    """A plan, and the seconds it took by the clock and of the processor."""

    plan: Plan
    wall_s: float
    cpu_s: float


def main(arguments: list[str] | None = None) -> dict[str, Any]:
    parser = argparse.ArgumentParser(prog="python -m tests.bench.rotation", description=__doc__)
    parser.add_argument("--days", type=int, default=20)
    parser.add_argument("--batteries", type=int, default=15)
    parser.add_argument("--matches", type=int, default=20)
    parser.add_argument("--chargers", type=int, default=5)
    parser.add_argument("--mixed", action="store_true", help="chargers of 4, 6 and 10 A instead of 6 A")
    parser.add_argument("--limit", type=float, default=30.0, help="seconds for the search of one plan")
    options = parser.parse_args(arguments)
    # The first call imports the libraries, which a worker does once.
    solve(event_day(0, batteries=3, matches=3, chargers=1))
    result = _measure(options)
    print(json.dumps(result))
    return result


def _measure(options: argparse.Namespace) -> dict[str, Any]:
    instant: list[Timed] = []
    first: list[Timed] = []
    anew: dict[str, list[Timed]] = {}
    currents = (4.0, 6.0, 6.0, 10.0) if options.mixed else (6.0,)
    for seed in range(options.days):
        day = event_day(
            seed,
            batteries=options.batteries,
            matches=options.matches,
            chargers=options.chargers,
            currents_a=currents,
        )
        instant.append(_time(day, None, partial(blocks, day)))
        first.append(_time(day, None, partial(solve, day, limit_s=options.limit)))
        before = first[-1].plan
        for name, later in _surprises(day, before, min(PLAYED, options.matches // 2)).items():
            again = _time(later, before, partial(solve, later, before, limit_s=options.limit))
            anew.setdefault(name, []).append(again)
    replanned = [one for each in anew.values() for one in each]
    _print_table({"in blocks, at once": instant, "exact": first, **anew})
    _print_loss(instant, first)
    return {
        "name": "rotation",
        "seconds": round(max(one.wall_s for one in first), 3),
        "proven": all(one.plan.proven for one in [*first, *replanned]),
        "replan_seconds": round(max(one.wall_s for one in replanned), 3),
        "goal_s": GOAL_S,
        "median_s": round(median(one.wall_s for one in first), 3),
        "replan_median_s": round(median(one.wall_s for one in replanned), 3),
        "cpu_s": round(max(one.cpu_s for one in first), 3),
        "replan_cpu_s": round(max(one.cpu_s for one in replanned), 3),
        "blocks_ms": round(1e3 * median(one.wall_s for one in instant), 1),
        "days": options.days,
        "size": [options.batteries, options.matches, options.chargers],
        "mixed": options.mixed,
        "load": round(os.getloadavg()[0], 1),
    }


def _time(day: Problem, before: Plan | None, act: Callable[[], Plan]) -> Timed:
    wall, cpu = time.perf_counter(), time.process_time()
    plan = act()
    timed = Timed(plan, time.perf_counter() - wall, time.process_time() - cpu)
    faults = check(day, plan, before).faults
    assert not faults, faults
    return timed


def _surprises(day: Problem, plan: Plan, played: int) -> dict[str, Problem]:
    """Three things that happen at events, a few matches on."""
    now = gone_by(day, plan, played)
    fit = np.array(day.fit)
    fit[plan.battery[played + 1]] = False
    start = now.start.copy()
    start[-1] -= 20.0
    order = np.argsort(start, kind="stable")
    return {
        "rest slips by 15 min": gone_by(day, plan, played, slips_min=15.0),
        "a battery is pulled": replace(now, fit=fit),
        "the last is 20 min early": _in_order(replace(now, start_min=np.sort(start)), order),
    }


def _in_order(day: Problem, order: np.ndarray) -> Problem:
    """Where a match overtakes another, what belongs to it goes along; the plan before keeps its numbers."""
    if (order == np.arange(order.size)).all():
        return day
    along: dict[str, Any] = {
        name: np.asarray(getattr(day, name))[order] for name in ("weight", "limit_v", "used_ah")
    }
    return replace(day, lowest_v=np.asarray(day.lowest_v)[:, order], **along)


def _print_table(rows: dict[str, list[Timed]]) -> None:
    print(
        f"{'seconds':<28}{'median':>9}{'slowest':>9}{'processor':>11}{'slowest':>9}{'proven':>9}{'changes':>10}"
    )
    for name, timed in rows.items():
        walls, cpus = [one.wall_s for one in timed], [one.cpu_s for one in timed]
        changes = [one.plan.changes for one in timed]
        proven = sum(one.plan.proven for one in timed)
        print(
            f"{name:<28}{median(walls):>9.3f}{max(walls):>9.3f}{median(cpus):>11.3f}{max(cpus):>9.3f}"
            f"{proven:>5}/{len(timed):<3}{min(changes):>6}-{max(changes)}"
        )


def _print_loss(instant: list[Timed], first: list[Timed]) -> None:
    """How much worse the instant plan's worst weighted margin is, and how often it leaves a match out."""
    values = [
        {
            stage.name: (stage.value, best.value)
            for stage, best in zip(quick.plan.stages, full.plan.stages, strict=True)
        }
        for quick, full in zip(instant, first, strict=True)
    ]
    whole = [one["worst"][1] - one["worst"][0] for one in values if one["cover"][0] == one["cover"][1]]
    if whole:
        print(
            f"loss of the plan in blocks: worst weighted margin {median(whole):.0f} mV, at most {max(whole)} mV;"
        )
    short = sum(one["cover"][0] > one["cover"][1] for one in values)
    best = sum(one == 0 for one in whole)
    print(f"as good in {best} of {len(values)}, a match more without a battery in {short}")


if __name__ == "__main__":
    main()
