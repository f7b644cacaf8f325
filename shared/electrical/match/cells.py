"""The batteries of a block of runs, stepped: charge drawn and polarisation.

Public names: `Cells`.

Terminal voltage V = open(charge) - U - I R0 with dU/dt = (I R1 - U) / tau. The implicit midpoint rule leaves, over a
step of h with b = h / (2 tau), a source of open - U / (1 + b) behind R0 + R1 b / (1 + b).
"""

from collections.abc import Sequence

import numpy as np

from shared.electrical.arrays import FloatArray
from shared.electrical.match.circuit import Supply
from shared.electrical.match.inputs import MatchBattery
from shared.electrical.network.tree import PlaceArray

__all__ = ["Cells"]

_S_PER_H = 3600.0


class Cells:
    """One battery per run; `which` gives it for every run, in ascending order."""

    def __init__(self, batteries: Sequence[MatchBattery], which: PlaceArray, step_s: float) -> None:
        def column(name: str) -> FloatArray:
            return np.array([getattr(battery, name) for battery in batteries], dtype=np.float64)[which]

        present = np.unique(which)
        self._slices = [
            (batteries[one].points, slice(*np.searchsorted(which, (one, one + 1)).tolist()))
            for one in present
        ]
        self._capacity_ah = column("capacity_ah")
        self._start_frac = column("charge_frac")
        self.internal_ohm = column("internal_ohm")
        self._polarised_ohm = column("polarisation_ohm")
        self._half_h = 0.5 * step_s / _S_PER_H
        self._b = 0.5 * step_s / column("polarisation_s")
        self._mid_ohm = self.internal_ohm + self._polarised_ohm * self._b / (1.0 + self._b)
        self.drawn_ah = np.zeros(len(which))
        self._polarised_v = np.zeros(len(which))
        self._last_a = np.zeros(len(which))
        self.look_up()

    def charge_frac(self) -> FloatArray:
        """State of charge, 0 when empty."""
        return np.maximum(self._start_frac - self.drawn_ah / self._capacity_ah, 0.0)

    def look_up(self) -> None:
        """Read the open-circuit curve here; until the next time it counts as straight."""
        slope_over = 1e-3
        charge = self.charge_frac()
        high, low = np.empty_like(charge), np.empty_like(charge)
        for points, runs in self._slices:
            high[runs] = np.interp(charge[runs], *points)
            low[runs] = np.interp(charge[runs] - slope_over, *points)
        self._at_ah = self.drawn_ah.copy()
        self._open_v = high
        self._fall_v_per_ah = (high - low) / (slope_over * self._capacity_ah)

    def _open(self, ahead_ah: FloatArray | float) -> FloatArray:
        return self._open_v - self._fall_v_per_ah * (self.drawn_ah + ahead_ah - self._at_ah)

    def open_v_now(self, runs: PlaceArray) -> FloatArray:
        """The voltage without load of some runs as they stand, behind `internal_ohm`."""
        return (self._open(0.0) - self._polarised_v)[runs]

    def over_step(self) -> Supply:
        """All batteries as the step's midpoint sees them."""
        open_v = self._open(self._last_a * self._half_h)
        return Supply(open_v - self._polarised_v / (1.0 + self._b), self._mid_ohm)

    def advance(self, amps: FloatArray) -> None:
        """Draw a current for the step."""
        self.drawn_ah += amps * (2.0 * self._half_h)
        middle = (self._polarised_v + self._b * self._polarised_ohm * amps) / (1.0 + self._b)
        self._polarised_v = 2.0 * middle - self._polarised_v
        self._last_a = amps.copy()
