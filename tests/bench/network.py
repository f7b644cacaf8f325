"""How long the network solver takes against ngspice on the same circuits, and how well the two agree.

python -m tests.bench.network [--robots 100] [--rounds 7]

ngspice gets all robots in one netlist and one process, and is timed as a whole: reading, solving, writing every node.
Ours is timed to the same voltages and the currents besides, from the plain columns (resistances, loads, batteries):
robots of any trees one after the other, and robots of one shape side by side along the scenario axis of one tree. In
three scenarios, as the checks ask, ngspice gets three netlists. Both sides run in turn and the medians of their
processor times are compared: on a busy machine the wall clock would flatter the shorter job. The last line is JSON;
`speedup` is that of 60 branches with linear loads, robots of one shape in three scenarios.
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

from shared.electrical.network import FeedTree, Loads, Sources, one_robot, solve, solve_one
from tests.feed_trees import likely_robots
from tests.spice import MISSING, NGSPICE, Problem, netlist, raw_voltages

GOAL, GOAL_AGREEMENT, GOAL_ONE_US = 1000.0, 1e-9, 50.0
SCENARIOS = (0.4, 0.7, 1.0)  # shares of the draws


@dataclass(frozen=True)
class Row:
    """One line of the table; times in us per robot and scenario."""

    title: str
    ngspice_us: float
    any_tree_us: float
    one_shape_us: float
    agreement: float

    @property
    def any_tree(self) -> float:
        return self.ngspice_us / self.any_tree_us

    @property
    def one_shape(self) -> float:
        return self.ngspice_us / self.one_shape_us


@dataclass(frozen=True)
class Columns:
    """What `solve` is built from."""

    tree: dict[str, Any]
    sources: Sources
    loads: Loads

    def answer(self) -> tuple[np.ndarray, ...]:
        """All that ngspice gives, and the currents."""
        found = solve(FeedTree.build(**self.tree), self.sources, self.loads)
        return found.battery_v, found.plus_v, found.minus_v, found.current_a


def main(arguments: list[str] | None = None) -> dict[str, Any]:
    parser = argparse.ArgumentParser(prog="python -m tests.bench.network", description=__doc__)
    parser.add_argument("--robots", type=int, default=100, help="in one netlist")
    parser.add_argument("--rounds", type=int, default=7, help="of ngspice and ours in turn")
    options = parser.parse_args(arguments)
    if NGSPICE is None:
        raise SystemExit(MISSING)
    robots, rounds = options.robots, options.rounds
    # With constant powers ngspice's time grows faster than the netlist; a quarter suits it better.
    few = max(robots // 4, 1)
    powers = likely_robots(few, 60, constant_power=True)
    rows = [
        _measure("20 branches, linear loads", likely_robots(robots, 20), (1.0,), rounds),
        _measure("60 branches, linear loads", likely_robots(robots, 60), (1.0,), rounds),
        _measure("the same in three scenarios", likely_robots(robots, 60), SCENARIOS, rounds),
        _measure(f"60, constant power, regulators, limits; {few} robots", powers, (1.0,), rounds),
    ]
    one_us, one_power_us = (_one_robot_us(constant_power) for constant_power in (False, True))
    _print_table(rows, robots)
    print(
        f"one robot of 60 branches in plain Python: {one_us:.0f} us; with constant powers {one_power_us:.0f} us"
    )
    twenty, sixty, three, power = rows
    result = {
        "name": "network",
        "speedup": round(three.one_shape, 1),
        "goal": GOAL,
        "agreement": max(row.agreement for row in rows),
        "goal_agreement": GOAL_AGREEMENT,
        "speedup_any_trees": round(three.any_tree, 1),
        "speedup_one_scenario": round(sixty.one_shape, 1),
        "speedup_20_branches": round(twenty.one_shape, 1),
        "speedup_power": round(power.one_shape, 1),
        "one_robot_us": round(one_us, 1),
        "goal_one_robot_us": GOAL_ONE_US,
        "one_robot_power_us": round(one_power_us, 1),
        "robots": robots,
        "rounds": rounds,
    }
    print(json.dumps(result))
    return result


def _measure(title: str, problem: Problem, scenarios: tuple[float, ...], rounds: int) -> Row:
    """Time netlists, one a scenario, against both layouts of the same robots."""
    problems = [_drawing(problem, share) for share in scenarios]
    ragged, side_by_side = _any_trees(problems), _one_shape(problems)
    with tempfile.TemporaryDirectory(prefix="loadstock-bench-") as folder:
        paths = [Path(folder, f"{number}.cir") for number in range(len(problems))]
        for path, one in zip(paths, problems, strict=True):
            path.write_text(netlist(one) + ".op\n.end\n")
        times: dict[str, list[float]] = {"ngspice": [], "any trees": [], "one shape": []}
        for _ in range(rounds):
            times["ngspice"].append(sum(_ngspice_s(path) for path in paths))
            times["any trees"].append(_usual_s(ragged.answer))
            times["one shape"].append(_usual_s(side_by_side.answer))
        theirs = [raw_voltages(path.with_suffix(".raw").read_bytes()) for path in paths]
    robots = problem.tree.robots
    solved = robots * len(scenarios)
    ngspice_us, any_us, shape_us = (statistics.median(taken) / solved * 1e6 for taken in times.values())
    ours = ragged.answer()
    alike = _difference(ours, side_by_side.answer(), robots)
    agreement = max(alike, *(_against(problem, ours, volts, column) for column, volts in enumerate(theirs)))
    return Row(title, ngspice_us, any_us, shape_us, agreement)


def _drawing(problem: Problem, share: float) -> Problem:
    """The same robots with lighter loads."""
    figures = dict(vars(problem.loads))
    figures |= {name: np.asarray(figures[name]) * share for name in ("current_a", "power_w")}
    figures |= {name: np.asarray(figures[name]) / share for name in ("load_ohm", "motor_ohm")}
    return Problem(problem.tree, problem.sources, Loads(**figures))


def _any_trees(problems: list[Problem]) -> Columns:
    """Branch after branch, robot after robot; scenarios as columns."""
    tree, sources = problems[0].tree, problems[0].sources
    names = ("robot", "parent", "supply_ohm", "return_ohm")
    every = [vars(problem.loads) for problem in problems]
    loads = {
        name: np.stack([figures[name] for figures in every], axis=1)
        if name in ("current_a", "power_w", "load_ohm", "motor_ohm")
        else value
        for name, value in every[0].items()
    }
    return Columns({name: getattr(tree, name) for name in names}, sources, Loads(**loads))


def _one_shape(problems: list[Problem]) -> Columns:
    """One tree; robots and scenarios as columns."""
    robots = problems[0].tree.robots

    def wide(values: list[Any]) -> Any:
        if not np.ndim(values[0]):
            return values[0]
        return np.ascontiguousarray(np.concatenate([np.reshape(v, (robots, -1)).T for v in values], axis=1))

    tree = problems[0].tree
    branches = len(tree.parent) // robots
    loads = {name: wide([getattr(p.loads, name) for p in problems]) for name in vars(problems[0].loads)}
    columns = {
        "robot": np.zeros(branches, dtype=int),
        "parent": tree.parent[:branches],
        **{name: wide([getattr(p.tree, name) for p in problems]) for name in ("supply_ohm", "return_ohm")},
    }
    sources = Sources(
        *(wide([getattr(p.sources, name) for p in problems]) for name in ("open_v", "internal_ohm"))
    )
    return Columns(
        columns, sources, Loads(**{**loads, "kind": np.asarray(problems[0].loads.kind)[:branches]})
    )


def _against(problem: Problem, ours: tuple[np.ndarray, ...], theirs: dict[str, float], column: int) -> float:
    """The greatest difference of any node voltage, against the battery's open-circuit voltage."""
    open_v = np.asarray(problem.sources.open_v)
    each = {"b": open_v, "p": open_v[problem.tree.robot], "n": open_v[problem.tree.robot]}
    worst = 0.0
    for found, (name, scale) in zip(ours, each.items(), strict=False):
        expected = np.array([theirs[f"{name}{row}"] for row in range(len(scale))])
        worst = max(worst, float(np.max(np.abs(found[:, column] - expected) / scale)))
    return worst


def _difference(ragged: tuple[np.ndarray, ...], one_shape: tuple[np.ndarray, ...], robots: int) -> float:
    """Between the two layouts' pole voltages, per 12 V."""
    worst = 0.0
    for one, other in zip(ragged[1:3], one_shape[1:3], strict=True):
        as_columns = np.concatenate([column.reshape(robots, -1).T for column in one.T], axis=1)
        worst = max(worst, float(np.max(np.abs(as_columns - other))) / 12.0)
    return worst


def _one_robot_us(constant_power: bool) -> float:
    problem = likely_robots(1, 60, constant_power=constant_power)
    robot = one_robot(problem.tree, problem.loads)
    open_v, internal_ohm = (figure[0, 0].item() for figure in problem.sources.columns())
    taken = [_usual_s(lambda: solve_one(robot, open_v, internal_ohm), times=20) for _ in range(25)]
    return statistics.median(taken) * 1e6


def _ngspice_s(circuit: Path) -> float:
    before = resource.getrusage(resource.RUSAGE_CHILDREN)
    command = [str(NGSPICE), "-b", "-r", str(circuit.with_suffix(".raw")), str(circuit)]
    subprocess.run(command, capture_output=True, check=True, cwd=circuit.parent)
    after = resource.getrusage(resource.RUSAGE_CHILDREN)
    return after.ru_utime + after.ru_stime - before.ru_utime - before.ru_stime


def _usual_s(act: Callable[[], object], times: int = 20) -> float:
    """The median of some calls: one alone is too short for a clock."""
    taken = []
    for _ in range(times):
        start = time.process_time()
        act()
        taken.append(time.process_time() - start)
    return statistics.median(taken)


def _print_table(rows: list[Row], robots: int) -> None:
    print(f"us of processor per robot and scenario, {robots} robots a netlist, medians")
    heads = ("ngspice", "any trees", "ratio", "one shape", "ratio", "agreement")
    print(f"{'':<52}" + "".join(f"{head:>10}" for head in heads))
    for row in rows:
        print(
            f"{row.title:<52}{row.ngspice_us:>10.0f}{row.any_tree_us:>10.2f}{row.any_tree:>10.0f}"
            f"{row.one_shape_us:>10.2f}{row.one_shape:>10.0f}{row.agreement:>10.0e}"
        )


if __name__ == "__main__":
    main()
