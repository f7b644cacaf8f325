"""The network solver against ngspice's operating points, live, and two circuits with known answers.

ngspice (Debian package `ngspice`) solves the whole circuit with separate positive and return conductors by nodal
analysis; nothing of the folding of our solver is in it.
"""

from __future__ import annotations

import math

import numpy as np
import pytest

from shared.electrical.network import FeedTree, LoadKind, Loads, Sources, solve, solve_one
from shared.electrical.network.one import one_robot
from tests.feed_trees import likely_robots, random_problem
from tests.spice import Problem, netlist, operating_points

# 54 netlists of 3 to 200 branches; two in nine have more than 100.
SIZES = (3, 8, 15, 25, 40, 60, 90, 120, 200)


def four_branches() -> Problem:
    """12.70 V, 15 mohm; a main branch of 2.5 mohm each way; 40 A, 60 A, 10 A and 6 ohm behind it."""
    return Problem(
        FeedTree.build(
            robot=[0] * 5,
            parent=[-1, 0, 0, 0, 0],
            supply_ohm=[0.0025, 0.005, 0.005, 0.020, 0.120],
            return_ohm=[0.0025, 0.0, 0.0, 0.0, 0.0],
        ),
        Sources(np.array([12.70]), np.array([0.015])),
        Loads(
            kind=[LoadKind.NONE, LoadKind.CURRENT, LoadKind.CURRENT, LoadKind.CURRENT, LoadKind.RESISTANCE],
            current_a=np.array([0.0, 40.0, 60.0, 10.0, 0.0]),
            load_ohm=6.0,
        ),
    )


def one_power(watts: float) -> Problem:
    tree = FeedTree.build(robot=[0], parent=[-1], supply_ohm=[0.004], return_ohm=[0.006])
    return Problem(tree, Sources(np.array([12.70]), np.array([0.005])), Loads(kind=[2], power_w=watts))


def test_a_battery_feeding_four_branches():
    # Values: ngspice 39, `.op` of that netlist, seen; the load voltages by hand from them.
    problem = four_branches()
    found = solve(problem.tree, problem.sources, problem.loads)
    assert found.battery_v[0, 0] == pytest.approx(11.024349, abs=1e-6)
    assert found.plus_v[:, 0] == pytest.approx(
        [10.745073, 10.545073, 10.445073, 10.545073, 10.539862], abs=1e-6
    )
    assert found.minus_v[:, 0] == pytest.approx([0.279275] * 5, abs=1e-6)
    assert found.current_a[0, 0] == pytest.approx(111.710, abs=5e-4)
    assert found.load_v[1:, 0] == pytest.approx([10.265798, 10.165798, 10.265798, 10.260586], abs=1e-6)


def test_a_constant_power_load():
    # Closed form V = (E + sqrt(E^2 - 4 P R)) / 2, greatest power E^2 / 4R; ngspice gives the same.
    problem = one_power(1500.0)
    found = solve(problem.tree, problem.sources, problem.loads)
    assert found.load_v[0, 0] == pytest.approx((12.7 + math.sqrt(12.7**2 - 4 * 1500 * 0.015)) / 2, rel=1e-12)
    assert found.load_v[0, 0] == pytest.approx(10.57167, rel=1e-4)
    assert found.current_a[0, 0] == pytest.approx(141.888, rel=1e-4)
    for watts, expected in ((2688.1, True), (2688.3, False)):
        problem = one_power(watts)
        assert solve(problem.tree, problem.sources, problem.loads).solved[0, 0] == expected


@pytest.mark.spice
def test_generated_networks_agree_with_ngspice(tmp_path):
    """All kinds of load, parallel wires, regulators within regulators, motors off, turning and at their limit."""
    problems = [random_problem(seed, branches=SIZES[seed % len(SIZES)]) for seed in range(54)]
    problems += [
        four_branches(),
        one_power(1500.0),
        one_power(2680.0),
        likely_robots(3, 40, constant_power=True),
    ]
    answers = operating_points([netlist(problem) for problem in problems], tmp_path)
    seen, limited, dropouts, compared = set(), 0, 0, 0
    for number, (problem, theirs) in enumerate(zip(problems, answers, strict=True)):
        ours = solve(problem.tree, problem.sources, problem.loads)
        assert ours.solved.all() == (theirs is not None), number
        if theirs is None:
            continue
        compared += 1
        rows = range(len(problem.tree.parent))
        for pole, name in ((ours.plus_v, "p"), (ours.minus_v, "n")):
            expected = [theirs[f"{name}{row}"] for row in rows]
            np.testing.assert_allclose(pole[:, 0], expected, rtol=1e-9, atol=2e-9, err_msg=f"{number} {name}")
        posts = [theirs[f"b{robot}"] for robot in range(len(ours.battery_v))]
        np.testing.assert_allclose(ours.battery_v[:, 0], posts, rtol=1e-9)
        if len(posts) == 1:
            volts, ohms = (figure[0, 0].item() for figure in problem.sources.columns())
            one = solve_one(one_robot(problem.tree, problem.loads), volts, ohms)
            np.testing.assert_allclose(one.plus_v, [theirs[f"p{row}"] for row in rows], rtol=1e-9, atol=2e-9)
        seen |= set(np.asarray(problem.loads.kind).tolist())
        limited += int(ours.limited.sum())
        dropouts += int(ours.dropout.sum())
    # Two small robots with heavy loads collapse; ngspice finds no solution either.
    assert compared == len(problems) - 2
    assert seen == set(LoadKind)
    assert limited > 40
    assert dropouts > 50
    assert max(len(problem.tree.levels) for problem in problems) > 15
