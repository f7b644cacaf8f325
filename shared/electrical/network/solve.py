"""The solution of the feed tree: every voltage and current of many robots in many scenarios at once.

Public names: `solve`, `Solution`.

Each load is a conductance and a source (`loads`). From the leaves up, what hangs on a branch is seen through its
resistance as one such pair again; at the battery that gives the voltage in closed form; from there down every
branch follows. One pass is exact for linear loads. Constant power, motors at their ends and regulators repeat it
on the tangents at the last voltages, from the open-circuit voltage down. The tangent of a constant power lies
below its law, so no step passes the highest solution, which is the one a real circuit comes to rest on: if a
step finds no voltage (a conductance seen through a branch is not positive any more), there is none.
"""

from dataclasses import dataclass, replace

import numpy as np

from shared.electrical.arrays import BoolArray, FloatArray
from shared.electrical.network.errors import NetworkError
from shared.electrical.network.loads import LoadLaws, Loads, load_laws
from shared.electrical.network.tree import FeedTree, Sources

__all__ = ["Solution", "solve"]

_ROUNDS = 60
# A chord closes in by a share of the way each time; a share of 0.9 reaches 1e-9 in 200.
_CHORD_ROUNDS = 400


@dataclass(frozen=True, eq=False)
class Solution:
    """Voltages [V] against the battery's negative post and currents [A]: (branches, s), of batteries (robots, s).

    NaN everywhere in a robot that is not `solved`: its draws ask more than the battery and the wires can give.
    """

    battery_v: FloatArray
    current_a: FloatArray  # through the branch, towards the load; of a regulator's branch its input current
    plus_v: FloatArray  # far end
    minus_v: FloatArray
    load_v: FloatArray
    load_a: FloatArray  # the branch's own load
    output_a: (
        FloatArray  # what the branches behind a regulator ask of it, inf where no current is enough; else 0
    )
    solved: BoolArray
    limited: BoolArray  # a motor at its current limit, a regulator asked for more than its limit
    dropout: BoolArray  # a regulator whose input is not above its output


@dataclass(frozen=True, eq=False)
class _Network:
    """One problem in the order of the solver."""

    tree: FeedTree
    laws: LoadLaws
    open_v: FloatArray
    internal_ohm: FloatArray
    series_ohm: FloatArray

    def start_v(self) -> FloatArray:
        """No-load voltages: nothing can be higher."""
        volts = np.empty(self.laws.conductance_s.shape)
        volts[:] = self.open_v[self.tree.robot[self.tree.order]]
        regulators = self.laws.regulator_at
        if len(regulators):
            feed = volts.copy()
            feed[regulators] = self.laws.output_v
            for level in self.tree.levels[1:]:
                volts[level.rows] = feed[level.feeder]
                here = _within(regulators, level.rows)
                feed[level.rows] = volts[level.rows]
                feed[regulators[here]] = self.laws.output_v[here]
        return volts


@dataclass(frozen=True, eq=False)
class _Pass:
    battery_v: FloatArray
    volts: FloatArray
    amps: FloatArray
    load_a: FloatArray
    output_a: FloatArray | None


def _within(places: np.typing.NDArray[np.intp], rows: slice) -> slice:
    """Which of the ascending places lie in a run of rows."""
    return slice(*np.searchsorted(places, (rows.start, rows.stop)).tolist())


def _sums(values: FloatArray, first: np.typing.NDArray[np.intp]) -> FloatArray:
    if len(first) == 1:
        return values.sum(axis=0, keepdims=True)
    if values.shape[1] == 1:
        return np.add.reduceat(values[:, 0], first)[:, None]
    return np.add.reduceat(values, first, axis=0)


def _one_pass(net: _Network, volts: FloatArray, secant: bool) -> _Pass:
    """Up with the loads' lines at these voltages, down with the voltages they give."""
    laws, levels, r = net.laws, net.tree.levels, net.series_ohm
    own_g, own_j = laws.tangent(volts, secant)
    g, j = own_g.copy(), own_j.copy()
    share = np.empty_like(g)
    root_g, root_j = np.zeros(net.open_v.shape), np.zeros(net.open_v.shape)
    output_a = np.zeros_like(laws.output_v) if len(laws.regulator_at) else None
    for number in range(len(levels) - 1, -1, -1):
        level = levels[number]
        rows = level.rows
        if output_a is not None:
            _regulate(laws, rows, volts, (g, j, own_g, own_j), output_a)
        pivot = r[rows] * g[rows] + 1.0
        if not laws.passive:
            pivot[~(pivot > 0.0)] = np.nan
        np.divide(1.0, pivot, out=share[rows])
        into_g, into_j = (g, j) if number else (root_g, root_j)
        into_g[level.fed] += _sums(g[rows] * share[rows], level.first)
        into_j[level.fed] += _sums(j[rows] * share[rows], level.first)
    pivot = net.internal_ohm * root_g + 1.0
    pivot[~(pivot > 0.0)] = np.nan
    battery_v = (net.open_v + net.internal_ohm * root_j) / pivot
    found = np.empty_like(g)
    feed = battery_v
    for level in levels:
        rows = level.rows
        found[rows] = (feed[level.feeder] + r[rows] * j[rows]) * share[rows]
        if feed is battery_v:
            feed = found if output_a is None else found.copy()
        elif output_a is not None:
            feed[rows] = found[rows]
        if output_a is not None:
            here = _within(laws.regulator_at, rows)
            feed[laws.regulator_at[here]] = laws.output_v[here]
    return _Pass(battery_v, found, g * found - j, own_g * found - own_j, output_a)


def _regulate(
    laws: LoadLaws,
    rows: slice,
    volts: FloatArray,
    lines: tuple[FloatArray, FloatArray, FloatArray, FloatArray],
    output_a: FloatArray,
) -> None:
    """Turn what hangs on the regulators of a level into the tangent of the power they draw."""
    here = _within(laws.regulator_at, rows)
    at = laws.regulator_at[here]
    if not len(at):
        return
    g, j, own_g, own_j = lines
    asked = g[at] * laws.output_v[here] - j[at]
    most = laws.output_limit_a[here]
    # What asks more than any current gives is NaN; a regulator with a limit then draws what its limit allows.
    given = np.where(asked <= most, asked, np.where(np.isfinite(most), most, np.nan))
    output_a[here] = asked
    input_v = volts[at]
    amps = given * laws.input_share[here] / np.where(input_v > 0.0, input_v, np.nan)
    for line in (g, own_g):
        line[at] = -amps / input_v
    for line in (j, own_j):
        line[at] = -2.0 * amps


def _settle(net: _Network, volts: FloatArray, *, secant: bool = False) -> _Pass:
    """Repeat the pass until the lines are the laws; a robot that never gets there is NaN."""
    for _ in range(_CHORD_ROUNDS if secant else _ROUNDS):
        done = _one_pass(net, volts, secant)
        if secant:
            moving = np.abs(done.volts - volts) > 1e-9 * np.abs(done.volts)
        else:
            moving = net.laws.unsettled(volts, done.volts)
        if not moving.any():
            return done
        volts = done.volts
    if secant:
        return done
    stuck = net.tree.robot[net.tree.order[np.nonzero(moving)[0]]]
    robots = np.zeros(len(net.open_v), dtype=np.bool_)
    robots[stuck] = True
    return _blank(net, done, robots[:, None])


def _blank(net: _Network, done: _Pass, robots: BoolArray) -> _Pass:
    rows = np.broadcast_to(robots, net.open_v.shape)[net.tree.robot[net.tree.order]]
    hide = {name: np.where(rows, np.nan, getattr(done, name)) for name in ("volts", "amps", "load_a")}
    return replace(done, battery_v=np.where(robots, np.nan, done.battery_v), **hide)


def solve(tree: FeedTree, sources: Sources, loads: Loads) -> Solution:
    """Solve the feed trees of many robots in many scenarios.

    Parameters:
        tree: FeedTree, n branches of m robots, resistances [ohm].
        sources: Sources, open-circuit voltage [V] and internal resistance [ohm] of each robot's battery.
        loads: Loads, at the far end of each branch, figures in [A], [W], [ohm], [V].
    Returns:
        Solution, voltages [V] and currents [A], (n, s), of batteries (m, s); s is 1 or the scenarios of any input.
        `solved` is False, and every figure of that robot NaN, where its draws have no solution: the voltage
        collapses. Of several solutions the one of highest voltage is given.
        A regulator holds its output voltage and draws the power of what it feeds over its efficiency. Asked for
        more than its output limit, or for more than its own branches can carry, it is `limited`: it draws what
        its limit allows, and what it feeds is off (0 V, 0 A). Without a limit the robot is not solved.
        With `dropout` its input is not above its output and the output is still taken as held: only a converter
        that also steps up can.
    Errors: NetworkError with the field where a battery, a resistance or a load's figure is missing or impossible.
    Validity: steady state; conductors at the temperature their resistances are given for. Constant currents and
        powers draw as stated down to 0 V.
    Source: Kirchhoff's laws; Newton's method from above on convex laws (Ortega and Rheinboldt, Iterative Solution
        of Nonlinear Equations in Several Variables, 13.3; from memory).

    >>> tree = FeedTree.build(robot=[0], parent=[-1], supply_ohm=[0.005], return_ohm=[0.005])
    >>> one = solve(tree, Sources(12.7, 0.005), Loads(kind=[2], power_w=1500.0))
    >>> round(float(one.load_v[0, 0]), 5), round(float(one.current_a[0, 0]), 2)
    (10.57167, 141.89)
    >>> solve(tree, Sources(12.7, 0.005), Loads(kind=[2], power_w=2700.0)).solved.tolist()
    [[False]]
    """
    with np.errstate(all="ignore"):
        open_v, internal_ohm = sources.columns()
        if len(tree.robot) and tree.robot.max() >= len(open_v):
            raise NetworkError(
                "open_v", f"has {len(open_v)} batteries where {tree.robot.max() + 1} robots are"
            )
        counts = [open_v.shape[1], internal_ohm.shape[1], tree.supply_ohm.shape[1], tree.return_ohm.shape[1]]
        scenarios = max(*counts, loads.scenarios())
        series = (tree.supply_ohm + tree.return_ohm)[tree.order]
        wide = np.broadcast_to(open_v, (len(open_v), scenarios))
        net = _Network(tree, load_laws(tree, loads, scenarios), wide, internal_ohm, series)
        done = _settle(net, net.start_v())
        if len(net.laws.motor_at[0]) and np.isnan(done.battery_v).any():
            done = _again_from_above(net, done)
        return _report(net, done)


def _again_from_above(net: _Network, first: _Pass) -> _Pass:
    """Motors at their limit can make a step pass the solution and seem to collapse: then go by chords, slowly."""
    careful = _settle(net, net.start_v(), secant=True)
    careful = _settle(net, careful.volts)
    lost = np.isnan(first.battery_v)
    rows = lost[net.tree.robot[net.tree.order]]
    output_a = None
    if first.output_a is not None and careful.output_a is not None:
        output_a = np.where(rows[net.laws.regulator_at], careful.output_a, first.output_a)
    return _Pass(
        np.where(lost, careful.battery_v, first.battery_v),
        np.where(rows, careful.volts, first.volts),
        np.where(rows, careful.amps, first.amps),
        np.where(rows, careful.load_a, first.load_a),
        output_a,
    )


def _report(net: _Network, done: _Pass) -> Solution:
    """Poles, flags, and the caller's order."""
    tree, laws, place = net.tree, net.laws, net.tree.place
    solved = np.isfinite(done.battery_v)
    limited = np.zeros(done.volts.shape, dtype=np.bool_)
    dropout = np.zeros_like(limited)
    output_a = np.zeros_like(done.volts)
    if len(laws.motor_at[0]):
        free = laws.motor_s * done.volts[laws.motor_at] - laws.motor_a
        limited[laws.motor_at] = free > laws.limit_a
    if done.output_a is not None:
        _switch_off(net, done, limited)
        at = laws.regulator_at
        running = np.isfinite(done.volts[at])
        output_a[at] = np.where(running, np.where(np.isnan(done.output_a), np.inf, done.output_a), np.nan)
        dropout[at] = done.volts[at] <= laws.output_v
    back = tree.return_ohm[tree.order]
    minus = done.amps * back
    for level in tree.levels[1:]:
        minus[level.rows] += minus[level.feeder]
    volts = done.volts
    return Solution(
        done.battery_v, done.amps[place], (minus + volts)[place], minus[place], volts[place], done.load_a[place],
        output_a[place], solved, limited[place], dropout[place],
    )  # fmt: skip


def _switch_off(net: _Network, done: _Pass, limited: BoolArray) -> None:
    """What hangs on a regulator that gives up is at 0 V."""
    at = net.laws.regulator_at
    solved = np.isfinite(done.battery_v)[net.tree.robot[net.tree.order]]
    assert done.output_a is not None
    limited[at] = ~(done.output_a <= net.laws.output_limit_a) & solved[at]
    off = np.zeros_like(limited)
    gives_up = np.zeros_like(limited)
    gives_up[at] = limited[at]
    for level in net.tree.levels[1:]:
        off[level.rows] = off[level.feeder] | gives_up[level.feeder]
    for values in (done.volts, done.amps, done.load_a):
        values[off] = 0.0
        values[~solved] = np.nan
    limited &= ~off
