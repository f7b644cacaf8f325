"""The feed tree solved for many runs at once: folded from the loads to the battery, unfolded back.

Public names: `Circuit`, `Supply`, `Fold`, `Answer`.

Arrays are (rows, runs), runs contiguous. Loads are straight lines I = g V - (c e - k) near a voltage (`Tangent`);
a branch of resistance r before a line (g, j) draws (g V - j)/(1 + r g) from its feeder, so lines add up from the
leaves to the battery. `Circuit.fold` does what stays the same as long as the lines do, `unfold` the rest.
"""

from dataclasses import dataclass
from typing import Final

import numpy as np

from shared.electrical.arrays import BoolArray, FloatArray
from shared.electrical.match.layout import Layout, Tier
from shared.electrical.match.loads import FLOOR_V, LoadFigures, LoadState, Tangent
from shared.electrical.network.tree import PlaceArray

__all__ = ["Answer", "Circuit", "Fold", "Supply"]

# Lines are drawn anew where they miss the loads' law by more than this; a tenth of a milliamp in 20 mohm is 2 uV.
TOLERANCE_A: Final = 1e-4
_MOST_TRIES: Final = 25
_FULL_TRIES: Final = 8
# A regulator's line is drawn at no less, so that a collapsed voltage stays a number.
_LEAST_V: Final = 0.05


@dataclass(frozen=True, slots=True)
class Supply:
    """The battery of every run as the step sees it: voltage without load [V] and resistance [ohm]."""

    open_v: FloatArray
    ohm: FloatArray


@dataclass(frozen=True, slots=True)
class Fold:
    """What `unfold` needs, good for any back-EMF as long as the lines and resistances stay."""

    share: FloatArray  # 1 / (1 + r g)
    pull: FloatArray  # g / (1 + r g): current per volt at the feeder
    back: FloatArray  # c / (1 + r g)
    push: FloatArray  # k / (1 + r g)
    total: FloatArray  # (runs,) conductance at the battery's terminals
    regulator_s: FloatArray  # (regulators, runs) slope of the input's line
    regulator_v: FloatArray  # voltage at which it was drawn
    behind_s: FloatArray  # conductance that hangs behind

    def put(self, runs: PlaceArray, new: "Fold") -> None:
        """Replace the columns of some runs."""
        for name in self.__slots__:
            getattr(self, name)[..., runs] = getattr(new, name)


@dataclass(frozen=True, slots=True)
class Answer:
    """Voltages at the far ends, currents through the branches, and the battery's terminals."""

    volts: FloatArray
    amps: FloatArray
    terminal_v: FloatArray
    total_a: FloatArray
    watts: FloatArray  # (regulators, runs) input power

    def put(self, runs: PlaceArray, new: "Answer") -> None:
        """Replace the columns of some runs."""
        for name in self.__slots__:
            getattr(self, name)[..., runs] = getattr(new, name)


def _regulate(
    figures: LoadFigures, which: PlaceArray, volts: FloatArray, conductance: FloatArray, source: FloatArray
) -> tuple[FloatArray, FloatArray]:
    """Output voltage and input power of regulators that are given a voltage and a line of loads behind them."""
    output = figures.output_v[which] * np.minimum(1.0, volts / figures.hold_v[which])
    wanted = conductance * output - source
    amps = np.clip(wanted, 0.0, figures.output_limit_a[which])
    # At its limit a regulator gives what the loads take at that current.
    sagged = (amps + source) / np.where(conductance > 0.0, conductance, np.inf)
    output = np.where(amps < wanted, np.clip(sagged, 0.0, output), output)
    efficiency = figures.output_v[which] / figures.input_share[which]
    return output, output * amps / efficiency


@dataclass(frozen=True, slots=True)
class Circuit:
    """One robot's tree and loads."""

    layout: Layout
    figures: LoadFigures

    def fold(self, lines: Tangent, ohm: FloatArray, emf: FloatArray, volts: FloatArray) -> Fold:
        """Fold the lines, drawn near `volts`, into the battery's terminals."""
        layout = self.layout
        g = lines.g.copy()
        j = lines.c * emf - lines.k
        share = np.empty_like(g)
        at = np.maximum(volts[layout.regulators], _LEAST_V)
        slope, behind = np.zeros_like(at), np.zeros_like(at)
        for tier in reversed(layout.tiers):
            rows = tier.rows
            share[rows] = 1.0 / (1.0 + ohm[rows] * g[rows])
            if tier is layout.tiers[0]:
                break
            more_g = np.add.reduceat(g[rows] * share[rows], tier.first, axis=0)
            more_j = np.add.reduceat(j[rows] * share[rows], tier.first, axis=0)
            g[tier.fed[tier.plain]] += more_g[tier.plain]
            j[tier.fed[tier.plain]] += more_j[tier.plain]
            if len(tier.regulated):
                which, fed = tier.regulator, tier.fed[tier.regulated]
                behind[which] = more_g[tier.regulated]
                slope[which], g[fed], j[fed] = self._regulator_lines(
                    which, at[which], more_g[tier.regulated], more_j[tier.regulated]
                )
        pull = g * share
        total = pull[layout.tiers[0].rows].sum(axis=0)
        return Fold(share, pull, lines.c * share, lines.k * share, total, slope, at, behind)

    def _regulator_lines(
        self, which: PlaceArray, at: FloatArray, conductance: FloatArray, source: FloatArray
    ) -> tuple[FloatArray, FloatArray, FloatArray]:
        """Draw the lines of regulators' inputs at a voltage: slope (twice, as the fold keeps it), source."""
        _, watts = _regulate(self.figures, which, at, conductance, source)
        works = at >= np.maximum(self.figures.hold_v[which], FLOOR_V)
        slope = np.where(works, -1.0, 1.0) * watts / at**2
        return slope, slope, slope * at - watts / at

    def unfold(self, folded: Fold, ohm: FloatArray, emf: FloatArray, supply: Supply) -> Answer:
        """Solve the tree for the back-EMFs and the batteries of the moment."""
        tiers = self.layout.tiers
        j = folded.back * emf
        j -= folded.push
        output, watts = np.zeros_like(folded.regulator_s), np.zeros_like(folded.regulator_s)
        for tier in tiers[:0:-1]:
            more = np.add.reduceat(j[tier.rows], tier.first, axis=0)
            if len(tier.regulated):
                which, fed = tier.regulator, tier.fed[tier.regulated]
                at, slope = folded.regulator_v[which], folded.regulator_s[which]
                output[which], watts[which] = _regulate(
                    self.figures, which, at, folded.behind_s[which], more[tier.regulated]
                )
                j[fed] = (slope * at - watts[which] / at) * folded.share[fed]
                more, fed = more[tier.plain], tier.fed[tier.plain]
                j[fed] = more * folded.share[fed]
            else:
                j[tier.fed] = more * folded.share[tier.fed]
        gathered = j[tiers[0].rows].sum(axis=0)
        terminal = (supply.open_v + supply.ohm * gathered) / (1.0 + supply.ohm * folded.total)
        volts = np.empty_like(j)
        for tier in tiers:
            feed = terminal if tier is tiers[0] else _feed(tier, volts, output)
            drawn = folded.pull[tier.rows] * feed
            np.subtract(drawn, j[tier.rows], out=j[tier.rows])  # from here on the current
            np.multiply(ohm[tier.rows], j[tier.rows], out=drawn)
            np.subtract(feed, drawn, out=volts[tier.rows])
        return Answer(volts, j, terminal, j[tiers[0].rows].sum(axis=0), watts)

    def misfit(self, state: LoadState, emf: FloatArray, answer: Answer) -> BoolArray:
        """Find the runs whose lines miss the law of some load at the voltage they led to."""
        volts, figures = answer.volts, self.figures
        law = state.slope * volts
        other = state.back * emf
        law -= other
        law += state.push
        np.multiply(state.most, volts, out=other)
        np.minimum(law, other, out=law)
        np.maximum(law, 0.0, out=law)
        np.minimum(law, figures.limit_a, out=law)
        law -= answer.amps
        law[self.layout.inner] = 0.0
        rows = figures.power_rows
        if len(rows):
            safe = np.maximum(volts[rows], FLOOR_V)
            law[rows] = state.power * np.minimum(volts[rows], safe) / safe**2 - answer.amps[rows]
        rows = self.layout.regulators
        if len(rows):
            law[rows] = answer.watts / np.maximum(volts[rows], _LEAST_V) - answer.amps[rows]
        over: BoolArray = np.maximum(law.max(axis=0), -law.min(axis=0)) > TOLERANCE_A
        return over

    def settle(
        self, state: LoadState, ohm: FloatArray, emf: FloatArray, supply: Supply, volts: FloatArray
    ) -> tuple[Fold, Answer, BoolArray]:
        """Solve with the loads' true law, from `volts`: lines at the last voltage until they fit (Newton).

        The last item tells the runs that did not settle. A run without an answer above `FLOOR_V` has one below.
        """
        for tries in range(_MOST_TRIES):
            lines = Tangent.at(self.figures, state, volts, emf)
            folded = self.fold(lines, ohm, emf, volts)
            answer = self.unfold(folded, ohm, emf, supply)
            bad = self.misfit(state, emf, answer)
            if not bad.any():
                break
            # Laws that bend both ways can be stepped over for ever; half a step ends that.
            volts = answer.volts if tries < _FULL_TRIES else 0.5 * (volts + answer.volts)
        return folded, answer, bad


def _feed(tier: Tier, volts: FloatArray, output: FloatArray) -> FloatArray:
    """The voltage that arrives at the near end of each row: (rows, runs), or (runs,) where all have one."""
    if len(tier.fed) == 1 and not len(tier.behind):
        only: FloatArray = volts[tier.fed[0]]
        return only
    feed: FloatArray = volts[tier.feeder]
    feed[tier.behind] = output[tier.behind_which]
    return feed
