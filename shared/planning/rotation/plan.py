"""What a rotation comes to: a battery and a charge for every match, and how good that is."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Protocol

import numpy as np
from numpy.typing import ArrayLike, NDArray

__all__ = ["Plan", "Previous", "Stage"]

FloatArray = NDArray[np.float64]
IntArray = NDArray[np.int64]
BoolArray = NDArray[np.bool_]


class Previous(Protocol):
    """The plan before, with matches and batteries numbered as in the problem now; -1 for one that is gone."""

    @property
    def battery(self) -> ArrayLike: ...


@dataclass(frozen=True)
class Stage:
    """One aim, in the order they are pursued: what was reached and what is the best that could be.

    ``cover``: weight of the matches without a battery, in hundredths; less is better.
    ``floor``: worst weighted margin as far as the floor [mV]; only when a plan is made anew.
    ``changes``: matches whose battery is another than before; only when a plan is made anew.
    ``worst``: worst weighted margin [mV]; more is better.
    ``sum``: weighted margins in whole steps of 0.1 V, added up; more is better.
    ``wear``: squares of cycles so far and matches ahead, added up over the batteries; less is better.
    """

    name: str
    value: int
    bound: int
    proven: bool


@dataclass(frozen=True, eq=False)
class Plan:
    """A battery for every match m (-1: none), the charge just before it, and how the plan stands.

    NaN and -1 where there is nothing to say: a match without a battery, without a charge before it, fixed or begun.
    """

    planned: BoolArray
    """Matches the plan decides: neither fixed nor begun."""
    battery: IntArray
    charge_frac: FloatArray
    """State of charge when it goes out, counted down to a step."""
    lowest_v: FloatArray
    margin_v: FloatArray
    """Lowest board voltage expected less the brown-out level [V], not weighted."""
    charger: IntArray
    charge_from_min: FloatArray
    charge_until_min: FloatArray
    ready_min: FloatArray
    """From when on it may go out."""
    changes: int
    """Planned matches whose battery is another than in the plan before."""
    worst_margin_v: float
    """Least of ``margin_v``; NaN when no match has a battery."""
    proven: bool
    """Every aim is reached as well as these rules allow."""
    gap_v: float
    """How much better the worst weighted margin could be at most; infinite when not known."""
    seconds: float
    """Spent in the search."""
    stages: tuple[Stage, ...]

    @property
    def uncovered(self) -> IntArray:
        """Planned matches without a battery."""
        return np.flatnonzero(self.planned & (self.battery < 0))
