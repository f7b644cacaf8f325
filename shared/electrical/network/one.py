"""One robot, without arrays: up to some hundred branches a plain loop is quicker than numpy's calls.

Public names: `one_robot`, `OneRobot`, `solve_one`, `OneSolution`.

The same passes as `solve`. Branches without a bent law behind them are folded once; only the others are repeated.
Whatever is out of the ordinary (no solution, a regulator that gives up) is left to `solve`.
"""

from dataclasses import dataclass
from typing import Any, NamedTuple, TypeAlias

import numpy as np

from shared.electrical.arrays import FloatArray
from shared.electrical.network.errors import NetworkError
from shared.electrical.network.loads import STEP, Loads, load_laws
from shared.electrical.network.solve import solve
from shared.electrical.network.tree import FeedTree, PlaceArray, Sources

__all__ = ["OneRobot", "OneSolution", "one_robot", "solve_one"]

_ROUNDS = 60
_INFINITE = float("inf")
# (branch, its feeder, loop resistance, return resistance); the feeder -1 is the last place of every list: the battery.
_Step: TypeAlias = tuple[int, int, float, float]


class _Motor(NamedTuple):
    row: int
    conductance_s: float
    source_a: float
    limit_a: float


class _Regulator(NamedTuple):
    output_v: float
    input_share: float
    output_limit_a: float


@dataclass(frozen=True, eq=False)
class OneRobot:
    """A robot as plain tuples, made by `one_robot`; to be solved with any battery."""

    tree: FeedTree
    loads: Loads
    plain: tuple[_Step, ...]  # from the leaves: branches with nothing but lines behind them
    bent: tuple[_Step, ...]  # from the leaves: the others
    down: tuple[_Step, ...]  # from the battery: all
    g: list[float]
    j: list[float]
    currents: tuple[int, ...]
    powers: tuple[tuple[int, float], ...]
    motors: tuple[_Motor, ...]
    regulators: dict[int, _Regulator]


@dataclass(frozen=True, eq=False)
class OneSolution:
    """As `Solution`, in lists by branch; `limited` and `dropout` are the branches where it is so."""

    battery_v: float
    current_a: list[float]
    plus_v: list[float]
    minus_v: list[float]
    load_v: list[float]
    solved: bool
    limited: tuple[int, ...]
    dropout: tuple[int, ...]


def one_robot(tree: FeedTree, loads: Loads) -> OneRobot:
    """Turn one robot in one scenario into the tuples that `solve_one` runs over.

    Parameters:
        tree: FeedTree of one robot, resistances [ohm].
        loads: Loads, figures in [A], [W], [ohm], [V].
    Returns:
        OneRobot, resistances [ohm], conductances [S].
    Errors: NetworkError as `solve`, and for more than one robot or scenario.
    Validity: as `solve`.
    Source: as `solve`.

    >>> tree = FeedTree.build(robot=[0], parent=[-1], supply_ohm=[0.01], return_ohm=[0.01])
    >>> one_robot(tree, Loads(kind=[3], load_ohm=2.0)).g
    [0.5, 0.0]
    """
    if tree.robot.any() or max(tree.loop_ohm.shape[1], loads.scenarios()) > 1:
        raise NetworkError("robot", "give one robot in one scenario, or use `solve`")
    laws = load_laws(tree, loads, 1)
    order, parent = tree.order.tolist(), tree.parent.tolist()
    loop, back = tree.loop_ohm[:, 0].tolist(), tree.back_ohm[:, 0].tolist()
    down = [(row, parent[row], loop[at], back[at]) for at, row in enumerate(order)]
    motors = [_Motor(*row) for row in _rows(tree, laws.motor_at[0], laws.motor_s, laws.motor_a, laws.limit_a)]
    outputs = (laws.output_v, laws.input_share, laws.output_limit_a)
    regulators = {row[0]: _Regulator(*row[1:]) for row in _rows(tree, laws.regulator_at, *outputs)}
    powers = [(row[0], row[1]) for row in _rows(tree, laws.power_at[0], laws.power_w)]
    bent = set()
    for row in (*(row for row, *_ in (*motors, *powers)), *regulators):
        while row >= 0:
            bent.add(row)
            row = parent[row]
    up = down[::-1]
    g, j = (tree.unsort(figures)[:, 0].tolist() for figures in laws.lines)
    return OneRobot(
        tree,
        loads,
        tuple(step for step in up if step[0] not in bent),
        tuple(step for step in up if step[0] in bent),
        tuple(down),
        [*g, 0.0],
        [*j, 0.0],
        tuple(tree.order[laws.current_at[0]].tolist()),
        tuple(powers),
        tuple(motors),
        regulators,
    )


def _rows(tree: FeedTree, at: PlaceArray, *figures: FloatArray) -> list[Any]:
    """Tuples of the branch and its figures, by branch."""
    columns = (figure[:, 0].tolist() for figure in figures)
    return sorted(zip(tree.order[at].tolist(), *columns, strict=True))


def solve_one(robot: OneRobot, open_v: float, internal_ohm: float) -> OneSolution:
    """Solve one robot with one battery.

    Parameters:
        robot: OneRobot.
        open_v: float [V], open-circuit voltage.
        internal_ohm: float [ohm], internal resistance.
    Returns:
        OneSolution [V, A], equal to `solve` to the last few bits.
    Errors: NetworkError where there is no battery.
    Validity: as `solve`.
    Source: as `solve`.

    >>> tree = FeedTree.build(robot=[0], parent=[-1], supply_ohm=[0.005], return_ohm=[0.005])
    >>> one = solve_one(one_robot(tree, Loads(kind=[2], power_w=1500.0)), 12.7, 0.005)
    >>> round(one.load_v[0], 5), one.solved
    (10.57167, True)
    """
    if not (0.0 < open_v < _INFINITE and 0.0 < internal_ohm < _INFINITE):
        return _in_full(robot, open_v, internal_ohm)  # refuses with the field at fault
    g, j = robot.g.copy(), robot.j.copy()
    share = robot.g.copy()
    for row, parent, r, _back in robot.plain:
        conductance = g[row]
        share[row] = part = 1.0 / (1.0 + r * conductance)
        g[parent] += conductance * part
        j[parent] += j[row] * part
    if robot.bent:
        lines = _bent_lines(robot, g, j, share, open_v, internal_ohm)
        if lines is None:
            return _in_full(robot, open_v, internal_ohm)
        g, j = lines
    volts, amps, minus, plus = g.copy(), g.copy(), g.copy(), g.copy()
    volts[-1] = battery_v = (open_v + internal_ohm * j[-1]) / (1.0 + internal_ohm * g[-1])
    minus[-1] = 0.0
    regulators = robot.regulators
    for row, parent, r, back in robot.down:
        at = volts[parent] if parent not in regulators else regulators[parent].output_v
        volts[row] = here = (at + r * j[row]) * share[row]
        amps[row] = current = g[row] * here - j[row]
        minus[row] = low = minus[parent] + back * current
        plus[row] = low + here
    for row in robot.currents:
        if volts[row] < 0.0:
            return _in_full(robot, open_v, internal_ohm)
    for figures in (volts, amps, minus, plus):
        figures.pop()
    limited = tuple(m.row for m in robot.motors if m.conductance_s * volts[m.row] - m.source_a > m.limit_a)
    dropout = tuple(row for row, regulator in regulators.items() if volts[row] <= regulator.output_v)
    return OneSolution(battery_v, amps, plus, minus, volts, True, limited, dropout)


def _bent_lines(
    robot: OneRobot,
    base_g: list[float],
    base_j: list[float],
    share: list[float],
    open_v: float,
    internal_ohm: float,
) -> tuple[list[float], list[float]] | None:
    """The lines on which the solution lies, and the shares of the branches they pass; None if it is not plain."""
    volts = _start(robot, open_v)
    regulators = robot.regulators
    up_down = robot.bent[::-1]
    for _ in range(_ROUNDS):
        g, j = base_g.copy(), base_j.copy()
        _draw_lines(robot, volts, g, j)
        for row, parent, r, _back in robot.bent:
            conductance, source = g[row], j[row]
            if row in regulators:
                output_v, input_share, most = regulators[row]
                asked = conductance * output_v - source
                if not asked <= most:
                    return None
                at = volts[row]
                source = asked * input_share / at
                g[row] = conductance = -source / at
                j[row] = source = -2.0 * source
            pivot = 1.0 + r * conductance
            if not pivot > 0.0:
                return None
            share[row] = part = 1.0 / pivot
            g[parent] += conductance * part
            j[parent] += source * part
        pivot = 1.0 + internal_ohm * g[-1]
        if not pivot > 0.0:
            return None
        after = volts.copy()
        after[-1] = (open_v + internal_ohm * j[-1]) / pivot
        for row, parent, r, _back in up_down:
            at = after[parent] if parent not in regulators else regulators[parent].output_v
            after[row] = at = (at + r * j[row]) * share[row]
            if not at > 0.0:
                return None
        if _settled(robot, volts, after):
            return g, j
        volts = after
    return None


def _start(robot: OneRobot, open_v: float) -> list[float]:
    volts = [open_v] * len(robot.g)
    if robot.regulators:
        for row, parent, _r, _back in robot.down:
            regulator = robot.regulators.get(parent)
            volts[row] = regulator.output_v if regulator else volts[parent]
    return volts


def _draw_lines(robot: OneRobot, volts: list[float], g: list[float], j: list[float]) -> None:
    """Add the tangents of the bent laws at these voltages."""
    for row, watts in robot.powers:
        at = volts[row]
        amps = watts / at
        g[row] -= amps / at
        j[row] -= 2.0 * amps
    for row, conductance, source, limit in robot.motors:
        free = conductance * volts[row] - source
        if free > limit:
            j[row] -= limit
        elif free > 0.0:
            g[row] += conductance
            j[row] += source


def _settled(robot: OneRobot, before: list[float], after: list[float]) -> bool:
    for row, _watts in robot.powers:
        if abs(after[row] - before[row]) > STEP * after[row]:
            return False
    for row in robot.regulators:
        if abs(after[row] - before[row]) > STEP * after[row]:
            return False
    for row, conductance, source, limit in robot.motors:
        old, new = conductance * before[row] - source, conductance * after[row] - source
        line = limit if old > limit else (new if old > 0.0 else 0.0)
        if abs(line - min(max(new, 0.0), limit)) > 1e-13 * (abs(new) + source):
            return False
    return True


def _in_full(robot: OneRobot, open_v: float, internal_ohm: float) -> OneSolution:
    """The answer of `solve`, in lists."""
    full = solve(robot.tree, Sources(open_v, internal_ohm), robot.loads)
    poles = (full.current_a, full.plus_v, full.minus_v, full.load_v)
    current_a, plus_v, minus_v, load_v = (figures[:, 0].tolist() for figures in poles)
    limited = tuple(np.flatnonzero(full.limited[:, 0]).tolist())
    dropout = tuple(np.flatnonzero(full.dropout[:, 0]).tolist())
    battery_v, solved = full.battery_v[0, 0].item(), full.solved[0, 0].item()
    return OneSolution(battery_v, current_a, plus_v, minus_v, load_v, solved, limited, dropout)
