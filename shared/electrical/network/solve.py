"""The solution of the feed tree: every voltage and current of many robots in many scenarios at once.

Public names: `solve`, `Solution`.

Each load is a conductance and a source (`loads`). From the leaves up, what hangs on a branch is seen through its
resistance as one such pair again; at the battery that gives the voltage in closed form; from there down every
branch follows. One pass is exact for linear loads. Constant power, motors at their ends and regulators repeat it
on the tangents at the last voltages, from the open-circuit voltage down. The tangent of a constant power lies
below its law, so no step passes the highest solution, which is the one a real circuit comes to rest on: if a
step finds no voltage (a conductance seen through a branch is not positive any more), there is none.
"""

from dataclasses import dataclass
from functools import cached_property

import numpy as np
import numpy.typing as npt

from shared.electrical.arrays import BoolArray, FloatArray
from shared.electrical.network.errors import NetworkError
from shared.electrical.network.loads import LoadLaws, Loads, load_laws
from shared.electrical.network.tree import AnyKind, FeedTree, PlaceArray, Sources

__all__ = ["Solution", "solve"]

# The C library of Linux gives freed blocks back to the system, and gets new pages for the next array, unless a block as
# large was freed before: then it keeps them. Three scenarios of a hundred to a thousand robots of 60 branches take half
# to two thirds of the processor time so (no page fault a call instead of some 280 to 6,500). The block is never touched
# and so costs no memory.
_ = np.empty(2**21)
del _

_ROUNDS = 60
# A chord closes in by a share of the way each time; a share of 0.9 reaches 1e-9 in 200.
_CHORD_ROUNDS = 400


@dataclass(eq=False)
class _Pass:
    """What one pass found, in the order of the solver."""

    battery_v: FloatArray
    volts: FloatArray
    amps: FloatArray
    load_a: FloatArray
    output_a: FloatArray  # of the regulators


@dataclass(frozen=True, eq=False)
class Solution:
    """Voltages [V] against the battery's negative post and currents [A]: (branches, s), of batteries (robots, s).

    NaN in a robot that is not `solved`: its draws ask more than the battery and the wires can give. Figures are put
    in the caller's order when they are first asked for.
    """

    battery_v: FloatArray
    solved: BoolArray
    tree: FeedTree
    found: _Pass
    flags: dict[str, BoolArray]
    asked_a: FloatArray

    @cached_property
    def current_a(self) -> FloatArray:
        """Through the branch, towards the load; of a regulator's branch its input current."""
        return self.tree.unsort(self.found.amps)

    @cached_property
    def plus_v(self) -> FloatArray:
        """Positive pole at the far end."""
        return self.minus_v + self.load_v

    @cached_property
    def minus_v(self) -> FloatArray:
        """Negative pole at the far end."""
        minus = self.found.amps * self.tree.back_ohm
        for level in self.tree.levels[1:]:
            minus[level.rows] += level.of_feeders(minus)
        return self.tree.unsort(minus)

    @cached_property
    def load_v(self) -> FloatArray:
        """Between the two; of a regulator its input voltage."""
        return self.tree.unsort(self.found.volts)

    @cached_property
    def load_a(self) -> FloatArray:
        """The branch's own load alone."""
        return self.tree.unsort(self.found.load_a)

    @cached_property
    def output_a(self) -> FloatArray:
        """What the branches behind a regulator ask of it, inf where no current is enough; else 0."""
        return self.tree.unsort(self.asked_a)

    @cached_property
    def limited(self) -> BoolArray:
        """A motor at its current limit, a regulator asked for more than its limit."""
        return self.tree.unsort(self.flags["limited"])

    @cached_property
    def dropout(self) -> BoolArray:
        """A regulator whose input is not above its output."""
        return self.tree.unsort(self.flags["dropout"])


@dataclass(eq=False)
class _Network:
    """One problem in the order of the solver."""

    tree: FeedTree
    laws: LoadLaws
    open_v: FloatArray
    internal_ohm: FloatArray

    def robots(self, figures: npt.NDArray[AnyKind]) -> npt.NDArray[AnyKind]:
        """Give each branch the figure of its robot."""
        return figures.take(self.tree.sort(self.tree.robot), axis=0)

    def start_v(self) -> FloatArray:
        """Open-circuit voltages: nothing can be higher."""
        volts = self.robots(self.open_v)
        regulators = self.laws.regulator_at
        if len(regulators):
            feed = volts.copy()
            feed[regulators] = self.laws.output_v
            for level in self.tree.levels[1:]:
                volts[level.rows] = feed[level.feeder]
                feed[level.rows] = volts[level.rows]
                here = _within(regulators, level.rows)
                feed[regulators[here]] = self.laws.output_v[here]
        return volts


def _within(places: PlaceArray, rows: slice) -> slice:
    """Which of the ascending places lie in a run of rows."""
    return slice(*np.searchsorted(places, (rows.start, rows.stop)).tolist())


def _one_pass(net: _Network, own: FloatArray, volts: FloatArray) -> _Pass:
    """Up with the loads' lines, down with the voltages they give. `volts` is where the lines are drawn."""
    laws, levels, r = net.laws, net.tree.levels, net.tree.loop_ohm
    output_a = np.zeros_like(laws.output_v)
    lines, root = own.copy(), np.zeros((2, *net.open_v.shape))
    share = np.empty(own.shape[1:])
    for number in range(len(levels) - 1, -1, -1):
        level = levels[number]
        rows = level.rows
        if len(laws.regulator_at):
            _regulate(laws, rows, volts, own, lines, output_a)
        pivot = share[rows]
        np.multiply(r[rows], lines[0, rows], out=pivot)
        pivot += 1.0
        if not laws.passive:
            pivot[~(pivot > 0.0)] = np.nan
        np.divide(1.0, pivot, out=pivot)
        level.add_to_feeders(lines if number else root, lines[:, rows], pivot)
    g, j = lines
    pivot = net.internal_ohm * root[0] + 1.0
    pivot[~(pivot > 0.0)] = np.nan
    battery_v = (net.open_v + net.internal_ohm * root[1]) / pivot
    found = r * j
    feed = found.copy() if len(laws.regulator_at) else found
    for number, level in enumerate(levels):
        here = found[level.rows]
        here += level.of_feeders(feed if number else battery_v)
        here *= share[level.rows]
        if feed is not found:
            feed[level.rows] = here
            some = _within(laws.regulator_at, level.rows)
            feed[laws.regulator_at[some]] = laws.output_v[some]
    g *= found
    g -= j
    return _Pass(battery_v, found, g, own[0] * found - own[1], output_a)


def _regulate(
    laws: LoadLaws,
    rows: slice,
    volts: FloatArray,
    own: FloatArray,
    lines: FloatArray,
    output_a: FloatArray,
) -> None:
    """Turn what hangs on the regulators of a level into the tangent of the power they draw."""
    here = _within(laws.regulator_at, rows)
    at = laws.regulator_at[here]
    if not len(at):
        return
    asked = lines[0, at] * laws.output_v[here] - lines[1, at]
    most = laws.output_limit_a[here]
    # What asks more than any current gives is NaN; a regulator with a limit then draws what its limit allows.
    given = np.where(asked <= most, asked, np.where(np.isfinite(most), most, np.nan))
    output_a[here] = asked
    input_v = volts[at]
    amps = given * laws.input_share[here] / np.where(input_v > 0.0, input_v, np.nan)
    for both in (own, lines):
        both[0, at] = -amps / input_v
        both[1, at] = -2.0 * amps


def _settle(net: _Network, volts: FloatArray) -> _Pass:
    """Repeat the pass until the lines are the laws; a robot that never gets there is NaN."""
    for _ in range(_ROUNDS):
        done = _one_pass(net, net.laws.tangent(volts, secant=False), volts)
        moving = net.laws.unsettled(volts, done.volts)
        if not any(rows.any() for _at, rows in moving):
            return done
        volts = done.volts
    stuck = np.zeros(net.open_v.shape, dtype=np.bool_)
    for at, rows in moving:
        places = rows.nonzero()
        row = at[0][places[0]]
        column = places[1] if len(places) == 2 else at[1][places[0]]
        stuck[net.tree.robot[net.tree.order[row]], column] = True
    return _choose(net, stuck, None, done)


def _approach(net: _Network) -> FloatArray:
    """Near the solution from above by chords that never pass it: slow, but sure."""
    volts = net.start_v()
    for _ in range(_CHORD_ROUNDS):
        found = _one_pass(net, net.laws.tangent(volts, secant=True), volts).volts
        if not (np.abs(found - volts) > 1e-9 * np.abs(found)).any():
            break
        volts = found
    return found


def _choose(net: _Network, robots: BoolArray, there: _Pass | None, else_: _Pass) -> _Pass:
    """One answer in some robots (NaN without one), the other in the rest."""
    rows = net.robots(robots)
    masks = {"battery_v": robots, "output_a": rows[net.laws.regulator_at]}
    return _Pass(
        **{
            name: np.where(masks.get(name, rows), getattr(there, name, np.nan), value)
            for name, value in vars(else_).items()
        }
    )


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
        net = _network(tree, sources, loads)
        if net.laws.linear:
            done = _one_pass(net, net.laws.lines, net.open_v)
            if done.volts.min(initial=0.0) < 0.0:
                done = _settle(net, done.volts)
        else:
            done = _settle(net, net.start_v())
            if len(net.laws.motor_at[0]) and np.isnan(done.battery_v).any():
                done = _again(net, sources, loads, done)
        return _report(net, done)


def _network(tree: FeedTree, sources: Sources, loads: Loads) -> _Network:
    open_v, internal_ohm = sources.columns()
    if tree.robots > len(open_v):
        raise NetworkError("open_v", f"has {len(open_v)} rows where {tree.robots} robots are")
    given = (open_v.shape[1], internal_ohm.shape[1], tree.loop_ohm.shape[1])
    scenarios = max(*given, loads.scenarios())
    if open_v.shape[1] != scenarios:
        open_v = np.broadcast_to(open_v, (len(open_v), scenarios))
    return _Network(tree, load_laws(tree, loads, scenarios), open_v, internal_ohm)


def _again(net: _Network, sources: Sources, loads: Loads, first: _Pass) -> _Pass:
    """Motors at their limit can make a step pass the solution and seem to collapse: take those robots slowly."""
    lost = np.logical_or.reduce(np.isnan(first.battery_v), axis=1)
    tree, rows = net.tree.only(lost)
    open_v, internal_ohm = sources.columns()
    part = _network(tree, Sources(open_v[lost], internal_ohm[lost]), loads.only(rows))
    answer = _settle(part, _approach(part))
    # Back among the others, in the order of the solver.
    at = net.tree.place[rows][tree.order]
    regulators = np.searchsorted(net.laws.regulator_at, at[part.laws.regulator_at])
    places = {"battery_v": np.flatnonzero(lost), "output_a": regulators}
    for name, value in vars(first).items():
        value[places.get(name, at)] = getattr(answer, name)
    return first


def _report(net: _Network, done: _Pass) -> Solution:
    """Flags, and what is behind regulators that gave up."""
    laws = net.laws
    limited = np.zeros(done.volts.shape, dtype=np.bool_)
    dropout = np.zeros_like(limited)
    output_a = np.zeros_like(done.volts)
    if len(laws.motor_at[0]):
        limited[laws.motor_at] = laws.motor_s * done.volts[laws.motor_at] - laws.motor_a > laws.limit_a
    if len(laws.regulator_at):
        _switch_off(net, done, limited)
        at = laws.regulator_at
        asked = np.where(np.isnan(done.output_a), np.inf, done.output_a)
        output_a[at] = np.where(np.isnan(done.volts[at]), np.nan, asked)
        dropout[at] = done.volts[at] <= laws.output_v
    flags = {"limited": limited, "dropout": dropout}
    return Solution(done.battery_v, np.isfinite(done.battery_v), net.tree, done, flags, output_a)


def _switch_off(net: _Network, done: _Pass, limited: BoolArray) -> None:
    """What hangs on a regulator that gives up is at 0 V."""
    at = net.laws.regulator_at
    solved = net.robots(np.isfinite(done.battery_v))
    gives_up = np.zeros_like(limited)
    gives_up[at] = ~(done.output_a <= net.laws.output_limit_a) & solved[at]
    off = np.zeros_like(limited)
    for level in net.tree.levels[1:]:
        off[level.rows] = (off | gives_up)[level.feeder]
    limited |= gives_up
    limited &= ~off & solved
    done.output_a[off[at]] = 0.0
    for figures in (done.volts, done.amps, done.load_a):
        figures[off] = 0.0
        figures[~solved] = np.nan
