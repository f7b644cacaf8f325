"""How long the network solver takes against ngspice on the same circuits, and how well the two agree.

python -m tests.bench.network [--robots 100] [--rounds 7]

ngspice gets all robots in one netlist and one process, and is timed as a whole: reading, solving, writing every node.
Ours is timed from the plain columns (resistances, loads, batteries) to every voltage and current. Both are run in turn
and the medians of their processor times compared: on a busy machine the wall clock would flatter the shorter job. The
last line is JSON; `speedup` is that of linear loads, 60 branches.
"""

from __future__ import annotations

import argparse
import json
import resource
import statistics
import subprocess
import tempfile
import time
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np

from shared.electrical.network import FeedTree, Loads, Solution, Sources, one_robot, solve, solve_one
from tests.feed_trees import likely_robots
from tests.spice import MISSING, NGSPICE, Problem, netlist, raw_voltages

GOAL, GOAL_AGREEMENT, GOAL_ONE_US = 1000.0, 1e-9, 50.0


@dataclass(frozen=True)
class Row:
    """One line of the table; times in us per robot."""

    title: str
    ngspice_us: float
    any_tree_us: float
    same_tree_us: float
    agreement: float

    @property
    def speedup(self) -> float:
        return self.ngspice_us / self.same_tree_us


def main(arguments: list[str] | None = None) -> dict[str, Any]:
    parser = argparse.ArgumentParser(prog="python -m tests.bench.network", description=__doc__)
    parser.add_argument("--robots", type=int, default=100, help="in one netlist")
    parser.add_argument("--rounds", type=int, default=7, help="of ngspice and ours in turn")
    options = parser.parse_args(arguments)
    if NGSPICE is None:
        raise SystemExit(MISSING)
    rows = [
        _measure(
            f"{branches} branches, linear loads", likely_robots(options.robots, branches), options.rounds
        )
        for branches in (20, 60)
    ]
    # With constant powers ngspice's time grows faster than the netlist; a quarter suits it better.
    few = max(options.robots // 4, 1)
    powers = likely_robots(few, 60, constant_power=True)
    rows.append(_measure("60 branches, constant power, regulators, limits *", powers, options.rounds))
    one = {bent: _one_robot_us(bent) for bent in (False, True)}
    _print_table(rows, one, options.robots, few)
    result = {
        "name": "network",
        "speedup": round(rows[1].speedup, 1),
        "goal": GOAL,
        "agreement": max(row.agreement for row in rows),
        "goal_agreement": GOAL_AGREEMENT,
        "speedup_any_tree": round(rows[1].ngspice_us / rows[1].any_tree_us, 1),
        "speedup_20": round(rows[0].speedup, 1),
        "speedup_power": round(rows[2].speedup, 1),
        "one_robot_us": round(one[False], 1),
        "goal_one_robot_us": GOAL_ONE_US,
        "one_robot_power_us": round(one[True], 1),
        "robots": options.robots,
        "rounds": options.rounds,
    }
    print(json.dumps(result))
    return result


def _measure(title: str, problem: Problem, rounds: int) -> Row:
    """Time one netlist against both layouts of the same robots."""
    robots = len(np.asarray(problem.sources.open_v))
    columns, shared = _columns(problem), _as_scenarios(problem, robots)
    with tempfile.TemporaryDirectory(prefix="loadstock-bench-") as folder:
        circuit, answer = Path(folder, "robots.cir"), Path(folder, "robots.raw")
        circuit.write_text(netlist(problem) + ".op\n.end\n")
        command = [str(NGSPICE), "-b", "-r", str(answer), str(circuit)]
        times: dict[str, list[float]] = {"ngspice": [], "any": [], "same": []}
        found, same = solve(*_build(*columns)), solve(*_build(*shared))  # warm
        for _ in range(rounds):
            times["ngspice"].append(_child_s(command, folder))
            times["any"].append(_best(lambda: solve(*_build(*columns))))
            times["same"].append(_best(lambda: solve(*_build(*shared))))
        theirs = raw_voltages(answer.read_bytes())
    us = {name: statistics.median(taken) / robots * 1e6 for name, taken in times.items()}
    agreement = max(_agreement(problem, found, theirs), _difference(found, same, robots))
    return Row(title, us["ngspice"], us["any"], us["same"], agreement)


def _columns(problem: Problem) -> tuple[dict[str, Any], Sources, Loads]:
    tree = problem.tree
    figures = {"robot": tree.robot, "parent": tree.parent}
    return (
        {**figures, "supply_ohm": tree.supply_ohm, "return_ohm": tree.return_ohm},
        problem.sources,
        problem.loads,
    )


def _as_scenarios(problem: Problem, robots: int) -> tuple[dict[str, Any], Sources, Loads]:
    """Robots of one shape as one tree, the robots side by side along the scenario axis."""

    def wide(values: Any) -> Any:
        return np.ascontiguousarray(np.reshape(values, (robots, -1)).T) if np.ndim(values) else values

    columns, sources, loads = _columns(problem)
    branches = len(problem.tree.parent) // robots
    tree = {name: wide(values) for name, values in columns.items()}
    tree |= {"robot": np.zeros(branches, dtype=int), "parent": problem.tree.parent[:branches]}
    figures = {name: wide(values) for name, values in vars(loads).items()}
    figures["kind"] = np.asarray(loads.kind)[:branches]
    return tree, Sources(np.array([sources.open_v]), np.array([sources.internal_ohm])), Loads(**figures)


def _build(tree: dict[str, Any], sources: Sources, loads: Loads) -> tuple[FeedTree, Sources, Loads]:
    return FeedTree.build(**tree), sources, loads


def _agreement(problem: Problem, ours: Solution, theirs: dict[str, float]) -> float:
    """The greatest difference of any node voltage, against the battery's open-circuit voltage."""
    rows = range(len(problem.tree.parent))
    open_v = np.asarray(problem.sources.open_v)
    each = open_v[problem.tree.robot]
    worst = 0.0
    for pole, name in ((ours.plus_v, "p"), (ours.minus_v, "n")):
        found = np.array([theirs[f"{name}{row}"] for row in rows])
        worst = max(worst, float(np.max(np.abs(pole[:, 0] - found) / each)))
    posts = np.array([theirs[f"b{robot}"] for robot in range(len(open_v))])
    return max(worst, float(np.max(np.abs(ours.battery_v[:, 0] - posts) / open_v)))


def _difference(found: Solution, same: Solution, robots: int) -> float:
    """Between the two layouts, per volt."""
    pairs = ((found.plus_v, same.plus_v), (found.minus_v, same.minus_v))
    return max(float(np.max(np.abs(one.reshape(robots, -1).T - two))) for one, two in pairs) / 12.0


def _one_robot_us(constant_power: bool) -> float:
    problem = likely_robots(1, 60, constant_power=constant_power)
    robot = one_robot(problem.tree, problem.loads)
    open_v, internal_ohm = (figure[0, 0].item() for figure in problem.sources.columns())
    taken = [_best(lambda: solve_one(robot, open_v, internal_ohm), times=20) for _ in range(25)]
    return statistics.median(taken) * 1e6


def _child_s(command: list[str], folder: str) -> float:
    before = resource.getrusage(resource.RUSAGE_CHILDREN)
    subprocess.run(command, capture_output=True, check=True, cwd=folder)
    after = resource.getrusage(resource.RUSAGE_CHILDREN)
    return after.ru_utime + after.ru_stime - before.ru_utime - before.ru_stime


def _timed(act: Callable[[], object]) -> float:
    start = time.process_time()
    act()
    return time.process_time() - start


def _best(act: Callable[[], object], times: int = 10) -> float:
    """The median of some calls: one alone is too short for a busy machine's clock."""
    return statistics.median(_timed(act) for _ in range(times))


def _print_table(rows: list[Row], one: dict[bool, float], robots: int, few: int) -> None:
    print(f"us of processor per robot, {robots} robots a netlist (* {few}), medians")
    print(
        f"{'':<52}{'ngspice':>9}{'any trees':>11}{'ratio':>8}{'one shape':>11}{'ratio':>8}{'agreement':>11}"
    )
    for row in rows:
        ratio = row.ngspice_us / row.any_tree_us
        print(
            f"{row.title:<52}{row.ngspice_us:>9.0f}{row.any_tree_us:>11.2f}{ratio:>8.0f}"
            f"{row.same_tree_us:>11.2f}{row.speedup:>8.0f}{row.agreement:>11.1e}"
        )
    print(
        f"one robot of 60 branches in plain Python: {one[False]:.0f} us; with constant powers {one[True]:.0f} us"
    )


if __name__ == "__main__":
    main()
