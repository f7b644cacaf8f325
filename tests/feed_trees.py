"""Invented robots as problems for the network solver: a likely one for speed, unlikely ones for correctness."""

from __future__ import annotations

import numpy as np

from shared.electrical.network import FeedTree, LoadKind, Loads, Sources
from tests.spice import Problem

LINEAR = (LoadKind.CURRENT, LoadKind.RESISTANCE, LoadKind.MOTOR)
KINDS = (LoadKind.NONE, *LINEAR, LoadKind.POWER, LoadKind.REGULATOR)


def random_problem(
    seed: int,
    *,
    branches: int,
    reach: float = 0.8,
    kinds: tuple[LoadKind, ...] = KINDS,
    heavy: float = 1.0,
    overload: bool = False,
) -> Problem:
    """A robot whose branches hang anywhere and carry anything; `reach` near 1 makes deep trees.

    The draws share some 20 to 150 A times `heavy`: at 1 voltages sag but nearly all networks have a solution. With
    `overload` regulators have output limits, which some of them exceed.
    """
    rng = np.random.default_rng(seed)
    parent = np.full(branches, -1)
    for row in range(1, branches):
        # One of the last few branches, so that depth grows with the number of branches.
        if rng.random() < reach:
            parent[row] = rng.integers(max(0, row - 12), row)
    kind = rng.choice(kinds, branches)
    amps = rng.dirichlet(np.ones(branches)) * rng.uniform(20.0, 150.0) * heavy
    wires = rng.integers(1, 4, branches)  # in parallel
    behind = np.zeros(branches, dtype=bool)
    for row in range(branches):
        behind[row] = parent[row] >= 0 and (behind[parent[row]] or kind[parent[row]] == LoadKind.REGULATOR)
    amps = np.where(behind, amps * 0.2, amps)
    scale = 0.5 / np.sqrt(branches)
    return Problem(
        FeedTree.build(
            robot=np.zeros(branches, dtype=int),
            parent=parent,
            supply_ohm=scale * rng.uniform(0.002, 0.06, branches) / wires,
            return_ohm=scale * rng.uniform(0.002, 0.06, branches) / wires,
        ),
        Sources(np.array([rng.uniform(11.5, 13.0)]), np.array([rng.uniform(0.010, 0.025)])),
        Loads(
            kind=kind,
            current_a=amps,
            power_w=np.where(behind, 4.0, 11.0) * amps,
            load_ohm=11.0 / np.maximum(amps, 0.01),
            motor_ohm=8.0 / np.maximum(amps, 0.01),
            back_emf_v=np.where(behind, 0.2, rng.choice([0.0, 2.0, 5.0, 14.0], branches)),
            command_frac=rng.choice([0.0, 0.5, 0.8, 1.0], branches),
            limit_a=np.where(rng.random(branches) < 0.5, np.inf, amps * rng.uniform(0.3, 1.2, branches)),
            output_v=5.0,
            efficiency_frac=rng.uniform(0.75, 0.98, branches),
            output_limit_a=rng.choice([0.5, 3.0, 20.0, np.inf], branches) if overload else np.inf,
        ),
    )


def likely_robots(robots: int, branches: int, *, seed: int = 1, constant_power: bool = False) -> Problem:
    """Robots of one shape: main branch, board, two boards behind it, 20 or more branches with loads.

    With `constant_power` the second board hangs on a regulator, a third of the loads are constant powers and the
    motors turn and have current limits; without, every load is linear.
    """
    rng = np.random.default_rng(seed)
    shape = np.array([-1, *[0] * (branches - 9), *[1] * 4, *[2] * 4])
    count = robots * branches
    parent = np.concatenate([np.where(shape < 0, -1, shape + robot * branches) for robot in range(robots)])
    kinds = [LoadKind.CURRENT, LoadKind.RESISTANCE, LoadKind.MOTOR]
    kind = rng.choice([*kinds, LoadKind.POWER] if constant_power else kinds, branches)
    kind[:3] = [LoadKind.NONE, LoadKind.NONE, LoadKind.REGULATOR if constant_power else LoadKind.NONE]
    amps = rng.uniform(40.0, 120.0, (robots, 1)) / branches * rng.uniform(0.2, 1.8, (robots, branches))
    amps[:, -4:] *= 0.2
    amps = amps.ravel()
    ohms = np.where(np.tile(shape, robots) < 0, 0.003, rng.uniform(0.005, 0.04, count))
    return Problem(
        FeedTree.build(
            robot=np.repeat(np.arange(robots), branches),
            parent=parent,
            supply_ohm=ohms,
            return_ohm=0.9 * ohms,
        ),
        Sources(rng.uniform(12.2, 12.9, robots), rng.uniform(0.012, 0.02, robots)),
        Loads(
            kind=np.tile(kind, robots),
            current_a=amps,
            power_w=amps * 8.0,
            load_ohm=11.0 / amps,
            motor_ohm=8.0 / amps,
            back_emf_v=rng.uniform(0.0, 4.0, count) if constant_power else 0.0,
            command_frac=rng.uniform(0.7, 1.0, count),
            limit_a=1.2 * amps if constant_power else np.inf,
            output_v=5.0,
            efficiency_frac=0.85,
        ),
    )
