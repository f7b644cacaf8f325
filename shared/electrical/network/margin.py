"""How far a network is from voltage collapse.

Public names: `collapse_margin`.
"""

import math

import numpy as np

from shared.electrical.arrays import BoolArray, FloatArray
from shared.electrical.network.loads import Loads
from shared.electrical.network.solve import solve
from shared.electrical.network.tree import FeedTree, Sources

__all__ = ["collapse_margin"]

# No draw of a robot can be a million times too small and still count: then nothing collapses it.
_MOST = 2.0**20


def collapse_margin(
    tree: FeedTree, sources: Sources, loads: Loads, *, precision: float = 1e-10
) -> FloatArray:
    """Give the largest factor on all constant currents and powers at which the network still has a solution.

    Parameters:
        tree: FeedTree, resistances [ohm].
        sources: Sources, [V] and [ohm].
        loads: Loads, draws in [A] and [W].
        precision: float [-], relative; each factor of ten costs some three to four calls of `solve`.
    Returns:
        Array [-], (m, s): below 1 the voltage collapses, at 2 the draws may double; inf where nothing that draws
        a constant current or power can collapse it, 0 where it collapses without any of them.
    Errors: NetworkError as `solve`.
    Validity: as `solve`; resistances, motors and the limits of regulators stay as they are.
    Source: single load: P_max = V^2 / 4R (maximum power transfer); else by bisection on `solve`, whose answer
        "no solution" is exact.

    >>> tree = FeedTree.build(robot=[0], parent=[-1], supply_ohm=[0.005], return_ohm=[0.005])
    >>> margin = collapse_margin(tree, Sources(12.7, 0.005), Loads(kind=[2], power_w=1500.0))
    >>> round(float(margin[0, 0]), 6), round(12.7**2 / (4 * 0.015 * 1500.0), 6)
    (1.792111, 1.792111)
    """
    solved = solve(tree, sources, loads.times(0.0)).solved
    low, high = np.zeros(solved.shape), np.where(solved, 1.0, 0.0)
    growing = solved.copy()
    while growing.any():
        growing = growing & _holds(tree, sources, loads, high)
        low = np.where(growing, high, low)
        high = np.where(growing, high * 2.0, high)
        growing &= high <= _MOST
    endless = high > _MOST
    for _ in range(math.ceil(-math.log2(precision))):
        middle = (low + high) / 2.0
        holds = _holds(tree, sources, loads, middle)
        low, high = np.where(holds, middle, low), np.where(holds, high, middle)
    return np.where(endless, np.inf, low)


def _holds(tree: FeedTree, sources: Sources, loads: Loads, factor: FloatArray) -> BoolArray:
    return solve(tree, sources, loads.times(factor[tree.robot])).solved
