"""The robot's circuit solved for many runs at once.

Public names: `Answer`, `Circuit`, `Draws`, `Nodes`, `Supply`.

A load behind the resistance r of its branch draws, from the node that feeds it, a current that is known in closed
form (`loads`). What remains are the voltages of the few nodes that feed something: at each of them the sum of the
loads is taken as a straight line, the nodes are solved by elimination from the far ends to the battery, and the
lines are drawn again at the voltages found, their slopes from the last two (secant method), until nothing moves.
Arrays are (rows, runs) or (nodes, runs), runs contiguous.
"""

from dataclasses import dataclass
from typing import Final

import numpy as np

from shared.electrical.arrays import FloatArray
from shared.electrical.match.layout import Island, Layout, Node
from shared.electrical.match.loads import FLOOR_V, LoadFigures
from shared.electrical.network.tree import PlaceArray

__all__ = ["Answer", "Circuit", "Draws", "Nodes", "Supply"]

# The voltages of a step are found when they move by no more.
TOLERANCE_V: Final = 2e-5
# Kinks can throw a secant back and forth; after so many rounds the steepest line is taken, which never steps too far.
_SECANT_ROUNDS: Final = 15
_MOST_ROUNDS: Final = 200
# Runs that are not settled after so many rounds go on by themselves.
_TOGETHER: Final = 2
# Rounds in which the outputs of regulators follow inputs that are too low for them.
_SAG_ROUNDS: Final = 20
_NO_OHM: Final = np.zeros(1)


@dataclass(frozen=True, slots=True)
class Supply:
    """The battery of every run as a step sees it: voltage without load [V] and resistance [ohm]."""

    open_v: FloatArray
    ohm: FloatArray

    def columns(self, runs: PlaceArray) -> "Supply":
        """Of some runs."""
        return Supply(self.open_v[runs], self.ohm[runs] if len(self.ohm) > 1 else self.ohm)


@dataclass(frozen=True, slots=True)
class Draws:
    """What loads draw from a node at V: clip(min(slope V + base, most V), 0, limit), or a constant power."""

    slope: FloatArray  # (loads, runs)
    base: FloatArray
    most: FloatArray
    watts: FloatArray  # (powers, runs)
    ohm: FloatArray  # (rows, runs) of the branches

    def columns(self, runs: PlaceArray) -> "Draws":
        """Of some runs."""
        return Draws(*(getattr(self, name).take(runs, axis=1) for name in self.__slots__))


@dataclass(frozen=True, slots=True)
class Nodes:
    """State of the nodes: voltages, slopes of what hangs on each; of the regulators input and what is asked."""

    volts: FloatArray
    slope: FloatArray
    input_v: FloatArray
    asked_a: FloatArray

    def columns(self, runs: PlaceArray) -> "Nodes":
        """Of some runs."""
        return Nodes(*(getattr(self, name).take(runs, axis=1) for name in self.__slots__))

    def put(self, runs: PlaceArray, new: "Nodes") -> None:
        """Replace some runs."""
        for name in self.__slots__:
            getattr(self, name)[:, runs] = getattr(new, name)


@dataclass(frozen=True, slots=True)
class Answer:
    """Voltages at the far ends, currents through the branches, and the battery's terminals."""

    volts: FloatArray
    amps: FloatArray
    terminal_v: FloatArray
    total_a: FloatArray


@dataclass(frozen=True, slots=True)
class Circuit:
    """One robot's tree and loads."""

    layout: Layout
    figures: LoadFigures

    @property
    def restless(self) -> bool:
        """Whether what regulators take changes by itself: there are motors behind."""
        turning = self.figures.motor_s[:, 0] > 0.0
        loads = self.layout.loads
        return any(turning[island.rows[island.rows < loads]].any() for island in self.layout.islands[:-1])

    def idle(self, open_v: FloatArray) -> Nodes:
        """The nodes with nothing drawn."""
        layout = self.layout
        volts = np.broadcast_to(open_v, (len(layout.nodes), len(open_v))).copy()
        for island in layout.islands[:-1]:
            volts[island.nodes] = self.figures.output_v[island.regulator]
        input_v = volts[layout.regulator_node]
        return Nodes(volts, np.zeros_like(volts), input_v, np.zeros_like(input_v))

    def solve(
        self,
        draws: Draws,
        supply: Supply,
        nodes: Nodes,
        amps: FloatArray,
        volts: FloatArray,
        *,
        serve: bool = True,
    ) -> tuple[Answer, PlaceArray]:
        """Find the voltages, starting from those in `nodes`; `nodes`, `amps` and `volts` are written over.

        Without `serve` the regulators take what they took last, unless the input of one is too low. Also tells
        the runs whose voltages never came to rest.
        """
        layout = self.layout
        battery = layout.islands[-1]
        for _ in range(_SAG_ROUNDS):
            for island in layout.islands[:-1] if serve else ():
                self._serve(island, draws, nodes, amps)
            lost = self._settle(battery, draws, supply, nodes, amps)
            serve = self._inputs_moved(draws, nodes, amps)
            if not serve:
                break
        total_a = self._unfold(draws, nodes, amps, volts)
        return Answer(volts, amps, nodes.volts[0], total_a), lost

    def _serve(self, island: Island, draws: Draws, nodes: Nodes, amps: FloatArray) -> None:
        """What a regulator takes for its island, at the output its input allows."""
        which, head, figures = island.regulator, island.nodes.start, self.figures
        share = np.minimum(1.0, nodes.input_v[which] / figures.hold_v[which])
        nodes.volts[head] = figures.output_v[which] * share
        if island.nodes.stop == head + 1:
            asked = self._draw(head, draws, nodes.volts[head], amps)
        else:
            self._settle(island, draws, Supply(nodes.volts[head].copy(), _NO_OHM), nodes, amps)
            node = self.layout.nodes[head]
            asked = self._draw(head, draws, nodes.volts[head], amps)
            for below in node.below:
                asked = (
                    asked + (nodes.volts[head] - nodes.volts[below]) / draws.ohm[self.layout.nodes[below].row]
                )
        nodes.asked_a[which] = asked
        given = np.minimum(asked, figures.output_limit_a[which])
        draws.watts[self.layout.regulator_watts[which]] = (
            nodes.volts[head] * given / figures.efficiency[which]
        )

    def _inputs_moved(self, draws: Draws, nodes: Nodes, amps: FloatArray) -> bool:
        """Take over the regulators' input voltages; whether any output has to follow."""
        rows = self.layout.regulators
        if not len(rows):
            return False
        input_v = nodes.volts[self.layout.regulator_node] - draws.ohm[rows] * amps[rows]
        lower = np.minimum(input_v, nodes.input_v)
        moved = (lower < self.figures.hold_v) & (np.abs(input_v - nodes.input_v) > TOLERANCE_V)
        nodes.input_v[:] = input_v
        return bool(moved.any())

    def _settle(
        self, island: Island, draws: Draws, supply: Supply, nodes: Nodes, amps: FloatArray
    ) -> PlaceArray:
        """Bring an island to rest; gives the runs that never came to."""
        runs = self._rounds(island, draws, supply, nodes, amps, _TOGETHER)
        if not len(runs):
            return runs
        some, some_amps = nodes.columns(runs), amps.take(runs, axis=1)
        stuck = self._rounds(island, draws.columns(runs), supply.columns(runs), some, some_amps, _MOST_ROUNDS)
        nodes.put(runs, some)
        amps[:, runs] = some_amps
        return runs[stuck]

    def _rounds(
        self, island: Island, draws: Draws, supply: Supply, nodes: Nodes, amps: FloatArray, rounds: int
    ) -> PlaceArray:
        """Some rounds of lines and elimination; gives the runs still moving."""
        where = island.nodes
        volts, slope = nodes.volts[where], nodes.slope[where]
        sums, found = np.zeros_like(volts), np.empty_like(volts)
        before_v, before_a = np.empty_like(volts), np.empty_like(volts)
        for number in range(rounds):
            for place in island.loaded:
                sums[place] = self._draw(where.start + place, draws, volts[place], amps)
            if number:
                np.subtract(volts, before_v, out=before_v)
                np.subtract(sums, before_a, out=before_a)
                np.divide(before_a, before_v, out=slope, where=np.abs(before_v) > 1e-9)
                np.maximum(slope, 0.0, out=slope)
            if number > _SECANT_ROUNDS:
                self._steepen(island, draws, slope)
            self._eliminate(island, draws, supply, volts, slope, sums, found)
            np.maximum(found, 0.0, out=found)  # a line may overshoot; no load pulls a node below
            before_v[:], before_a[:], volts[:] = volts, sums, found
            found -= before_v
            np.abs(found, out=found)
            moving: PlaceArray = (np.maximum.reduce(found, axis=0) > TOLERANCE_V).nonzero()[0]
            if not len(moving):
                break
        return moving

    def _draw(self, place: int, draws: Draws, feed: FloatArray, amps: FloatArray) -> FloatArray:
        """What the loads of a node draw at its voltage, and the sum."""
        node = self.layout.nodes[place]
        here = amps[node.lines]
        np.multiply(draws.slope[node.lines], feed, out=here)
        here += draws.base[node.lines]
        np.minimum(here, draws.most[node.lines] * feed, out=here)
        np.maximum(here, 0.0, out=here)
        np.minimum(here, self.figures.limit_a[node.lines], out=here)
        if node.powers.stop > node.powers.start:
            _draw_powers(draws, node, feed, amps[node.powers])
        total: FloatArray = np.add.reduce(amps[node.lines.start : node.powers.stop], axis=0)
        return total

    def _steepen(self, island: Island, draws: Draws, slope: FloatArray) -> None:
        """The slope that the loads of no node exceed."""
        for place in island.loaded:
            node = self.layout.nodes[island.nodes.start + place]
            lines = np.maximum(draws.slope[node.lines], draws.most[node.lines]).sum(axis=0)
            slope[place] = lines + draws.watts[node.watts].sum(axis=0) / FLOOR_V**2

    def _eliminate(
        self,
        island: Island,
        draws: Draws,
        supply: Supply,
        volts: FloatArray,
        slope: FloatArray,
        sums: FloatArray,
        found: FloatArray,
    ) -> None:
        """Solve the nodes of an island for the lines through what is drawn."""
        start = island.nodes.start
        if island.loaded == (1,) and len(volts) == 2:
            # The usual robot: nothing hangs on the battery but the branch to the board.
            branch_ohm = draws.ohm[self.layout.nodes[start + 1].row]
            g, j = slope[1], slope[1] * volts[1] - sums[1]
            ohm = supply.ohm + branch_ohm
            np.divide(supply.open_v + ohm * j, 1.0 + ohm * g, out=found[1])
            np.subtract(supply.open_v, supply.ohm * (g * found[1] - j), out=found[0])
            return
        source = slope * volts
        source -= sums
        shares: dict[int, tuple[FloatArray, FloatArray]] = {}
        total: FloatArray
        for place in range(len(volts) - 1, -1, -1):
            node = self.layout.nodes[start + place]
            total, gathered = slope[place], source[place]
            for below in node.below:
                g, j = shares[below]
                total, gathered = total + g, gathered + j
            if node.row < 0:
                break
            share = 1.0 / (1.0 + draws.ohm[node.row] * total)
            shares[start + place] = total * share, gathered * share
        np.divide(supply.open_v + supply.ohm * gathered, 1.0 + supply.ohm * total, out=found[0])
        for place in range(len(volts)):
            for below in self.layout.nodes[start + place].below:
                g, j = shares[below]
                # The branch draws g V - j from the node that feeds it.
                amps = g * found[place] - j
                np.subtract(
                    found[place], draws.ohm[self.layout.nodes[below].row] * amps, out=found[below - start]
                )

    def _unfold(self, draws: Draws, nodes: Nodes, amps: FloatArray, volts: FloatArray) -> FloatArray:
        """Voltages at the far ends, and the currents of the branches that feed nodes; gives the battery's."""
        layout = self.layout
        total: FloatArray = np.zeros_like(nodes.volts[0])
        for place in range(len(layout.nodes) - 1, -1, -1):
            node, feed = layout.nodes[place], nodes.volts[place]
            loads = slice(node.lines.start, node.powers.stop)
            here = volts[loads]
            np.multiply(draws.ohm[loads], amps[loads], out=here)
            np.subtract(feed, here, out=here)
            total = np.add.reduce(amps[loads], axis=0)
            for below in node.below:
                total += amps[layout.nodes[below].row]
            if node.row >= 0:
                amps[node.row], volts[node.row] = total, feed
        for island in layout.islands[:-1]:
            over = nodes.asked_a[island.regulator] > self.figures.output_limit_a[island.regulator]
            if over.any():
                # Asked for more than its limit a regulator gives up; what it feeds is off.
                volts[np.ix_(island.rows, np.flatnonzero(over))] = 0.0
        return total


def _draw_powers(draws: Draws, node: Node, feed: FloatArray, amps: FloatArray) -> None:
    """P = V (feed - V) / r has two answers; the higher is the one that lasts. None: a resistance below 1 V."""
    watts, ohm = draws.watts[node.watts], draws.ohm[node.powers]
    inside = ohm * watts
    inside *= -4.0
    inside += feed * feed
    # From 4 on the voltage is above the floor whatever the power: feed >= 2 and the root >= 2.
    if np.minimum.reduce(inside, axis=None) >= 4.0 * FLOOR_V**2:
        np.sqrt(inside, out=inside)
        inside += feed
        np.divide(watts, inside, out=amps)
        amps *= 2.0
        return
    volts = 0.5 * (feed + np.sqrt(np.maximum(inside, 0.0)))
    works = (inside >= 0.0) & (volts >= FLOOR_V)
    resistance = feed / (FLOOR_V**2 + ohm * watts)
    np.multiply(watts, np.where(works, 1.0 / np.maximum(volts, FLOOR_V), resistance), out=amps)
