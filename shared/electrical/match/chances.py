"""Chance over many runs: phasing drawn at random, the probability of a brown-out, who is to blame.

Public names: `random_shifts`, `brownout_probability`, `Probability`, `contributions`, `Contributions`.
"""

from dataclasses import dataclass
from typing import Final

import numpy as np
import numpy.typing as npt

from shared.electrical.arrays import FloatArray
from shared.electrical.match.inputs import MatchError, MatchRobot
from shared.electrical.match.record import MatchResult
from shared.electrical.network.tree import PlaceArray

__all__ = ["Contributions", "Probability", "brownout_probability", "contributions", "random_shifts"]

_GAMMA: Final = 0x9E3779B97F4A7C15


@dataclass(frozen=True, slots=True)
class Probability:
    """A share of runs with its confidence interval."""

    p: float
    low: float
    high: float
    hits: int
    runs: int


@dataclass(frozen=True, slots=True)
class Contributions:
    """Loads by what they draw at the moment of the lowest board voltage, mean over the runs, largest first."""

    branch: PlaceArray
    current_a: FloatArray
    sag_v: FloatArray  # taken off the board's voltage
    share_frac: FloatArray


def _uniform(count: int, key: int) -> FloatArray:
    """Numbers in [0, 1) by SplitMix64: the same for a key everywhere and for ever."""
    with np.errstate(over="ignore"):
        z = np.uint64(key % 2**64) + np.arange(1, count + 1, dtype=np.uint64) * np.uint64(_GAMMA)
        z = (z ^ (z >> np.uint64(30))) * np.uint64(0xBF58476D1CE4E5B9)
        z = (z ^ (z >> np.uint64(27))) * np.uint64(0x94D049BB133111EB)
        z ^= z >> np.uint64(31)
    return (z >> np.uint64(11)).astype(np.float64) * 2.0**-53


def random_shifts(robot: MatchRobot, runs: int, seed: int) -> FloatArray:
    """Draw for every run how far into its cycle each mechanism is at the start, evenly over the cycle.

    Parameters:
        robot: MatchRobot, whose duties [s] give the cycles; a mechanism's cycle is its longest one.
        runs: int [-].
        seed: int [-]; the same seed gives the same runs, and more runs begin with the same ones.
    Returns:
        Array (groups, runs) [s].
    Errors: MatchError where there is no run.
    Validity: mechanisms independent of each other; those that one driver moves together belong in one group.
    Source: SplitMix64 (Steele, Lea, Flood 2014, Fast splittable pseudorandom number generators; from memory).

    >>> from shared.electrical.match.examples import one_motor
    >>> shifts = random_shifts(one_motor()[0], 1000, seed=1)
    >>> shifts.shape, bool(0.97 < shifts.mean() < 1.03)
    ((1, 1000), True)
    """
    if runs < 1:
        raise MatchError("runs", runs, "ask for at least one run.")
    cycle_s = np.zeros(int(robot.group.max()) + 1)
    for group, duty in zip(robot.group, robot.duties, strict=True):
        if duty is not None:
            cycle_s[group] = max(cycle_s[group], float(duty.seconds.sum()))
    return np.array(
        [cycle * _uniform(runs, seed * 1_000_003 + 7919 * group) for group, cycle in enumerate(cycle_s)]
    )


def brownout_probability(lowest_v: npt.ArrayLike, level_v: float, *, confidence: float = 0.95) -> Probability:
    """Estimate how likely a run is to fall below a voltage.

    Parameters:
        lowest_v: array (runs,) [V], lowest voltage of each run, at the same place as the level.
        level_v: float [V].
        confidence: float [fraction 0-1] of the interval.
    Returns:
        Probability [fraction 0-1] with both ends; never narrower than the confidence asked for.
    Errors: MatchError where there is no run.
    Validity: runs independent of each other; says nothing about what the model leaves out.
    Source: Clopper and Pearson 1934, Biometrika 26: exact interval by the beta distribution.

    >>> chance = brownout_probability([7.1, 6.2, 7.4, 7.3, 7.0, 6.9, 7.2, 7.6, 7.8, 7.5], 6.5)
    >>> chance.p, round(chance.low, 4), round(chance.high, 4)
    (0.1, 0.0025, 0.445)
    """
    from scipy.special import betaincinv  # noqa: PLC0415  (slow to import, and pages do without)

    lowest = np.asarray(lowest_v, dtype=np.float64).ravel()
    runs, hits = lowest.size, int((lowest < level_v).sum())
    if not runs:
        raise MatchError("lowest_v", 0, "simulate at least one run.")
    tail = 0.5 * (1.0 - confidence)
    low = float(betaincinv(hits, runs - hits + 1, tail)) if hits else 0.0
    high = float(betaincinv(hits + 1, runs - hits, 1.0 - tail)) if hits < runs else 1.0
    return Probability(hits / runs, low, high, hits, runs)


def contributions(robot: MatchRobot, result: MatchResult, battery: int = 0) -> Contributions:
    """Rank the loads by what they draw at the moment of the lowest board voltage.

    Parameters:
        robot: MatchRobot [ohm].
        result: MatchResult [A], of this robot.
        battery: int [-], place of the battery.
    Returns:
        Contributions [A], [V], [fraction 0-1], mean over the runs; branches that feed others are left out.
    Errors: none.
    Validity: `sag_v` counts the wires and joints up to the board, not the battery's own resistance: it is what a
        load costs all others besides the battery's sag, which everyone shares by `share_frac`.
    Source: Ohm's law along the common path.

    >>> from shared.electrical.match.examples import one_motor
    >>> from shared.electrical.match.stepping import simulate
    >>> robot, cell = one_motor()
    >>> found = contributions(robot, simulate(robot, [cell], np.zeros((1, 1)), duration_s=1.0))
    >>> found.branch.tolist(), found.share_frac.tolist()
    ([1], [1.0])
    """
    parent = robot.tree.parent
    leaves = np.setdiff1d(np.arange(len(parent)), parent)
    amps: FloatArray = result.lowest_current_a[leaves, battery].mean(axis=-1)
    ohm = (robot.tree.supply_ohm + robot.tree.return_ohm)[:, 0]
    to_board = _ancestors(parent, robot.board)
    common = np.array([sum(ohm[on] for on in _ancestors(parent, leaf) & to_board) for leaf in leaves])
    order = np.argsort(-amps, kind="stable")
    total = amps.sum()
    share = amps / total if total > 0.0 else np.zeros_like(amps)
    return Contributions(leaves[order], amps[order], (amps * common)[order], share[order])


def _ancestors(parent: PlaceArray, branch: int) -> set[int]:
    found = set()
    while branch >= 0:
        found.add(int(branch))
        branch = int(parent[branch])
    return found
