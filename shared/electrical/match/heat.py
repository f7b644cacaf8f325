"""Conductors and protective devices warming up, first order.

Public names: `Heat`, `device_heat_tau_s`.

A wire settles where conductor_temperature_c puts it, I^2 being worth more as copper warms:
tau dT/dt = (Tr - Ta) (I/Ir)^2 (234.5 + T) / (234.5 + Tr) - (T - Ta). A device's heat is 1 at the current it just
does not carry for ever: tau dx/dt = (I/I0)^2 - x; it opens at x = 1. Both are slow, so they are stepped once in a
window of some steps with the mean square of the current, by the exact exponential.
"""

from typing import Final

import numpy as np

from shared.electrical.arrays import FloatArray
from shared.electrical.match.inputs import MatchRobot
from shared.electrical.match.layout import Layout
from shared.electrical.tables.copper import INFERRED_ZERO_C
from shared.electrical.tables.protection import TimeCurrentCurve

__all__ = ["Heat", "device_heat_tau_s"]

_ZERO_C: Final = INFERRED_ZERO_C.value
# Copper melts; the wire is lost long before.
_MOST_C: Final = 1083.0
# Beyond this multiple a device heats faster than it can pass heat on, and no first-order figure comes from it.
_FIRST_ORDER_MULTIPLE: Final = 3.0


def device_heat_tau_s(curve: TimeCurrentCurve | None) -> float:
    """Give the heat time constant that makes a device open as its own time-current points say at the soonest.

    Parameters:
        curve: TimeCurrentCurve of the device [multiples of the rating, s], or None.
    Returns:
        float [s], the shortest that any point up to three times the rating gives; NaN without such a point.
    Errors: none.
    Validity: slow thermal breakers and fuses; a magnetic release has no such constant.
    Source: first-order heating, t = tau ln(m^2 / (m^2 - m0^2)) with m0 the multiple that holds (memory, computed).

    >>> device_heat_tau_s(None)
    nan
    >>> from shared.electrical.tables.protection import CURVES
    >>> round(device_heat_tau_s(CURVES["thermal_main_120"]), 1)
    34.8
    """
    if curve is None:
        return float("nan")
    holds = curve.holds_multiple**2
    taus = [
        point.min_s / float(np.log(point.multiple**2 / (point.multiple**2 - holds)))
        for point in curve.points
        if point.multiple <= _FIRST_ORDER_MULTIPLE
    ]
    return min(taus, default=float("nan"))


class Heat:
    """Temperatures (n, runs) of the wires and heat of the devices, with their highest so far."""

    def __init__(self, robot: MatchRobot, layout: Layout, runs: int, window_s: float) -> None:
        def column(values: FloatArray) -> FloatArray:
            return values[layout.order][:, np.newaxis]

        self._ambient_c = column(robot.ambient_c)
        rise = column(robot.wire_limit_c) - self._ambient_c
        rated, self._device_a = column(robot.wire_rated_a), column(robot.device_a)
        hot_ohm = _ZERO_C + column(robot.wire_limit_c)
        self._gain = rise / np.where(rated > 0.0, rated, np.nan) ** 2 / hot_ohm
        self._turns = window_s / np.where(column(robot.wire_tau_s) > 0.0, column(robot.wire_tau_s), np.nan)
        self._device_gain = 1.0 / np.where(self._device_a > 0.0, self._device_a, np.nan) ** 2
        tau = column(robot.device_tau_s)
        self._device_step = -np.expm1(-window_s / np.where(tau > 0.0, tau, np.nan))
        self._at_20c = layout.ohm[:, np.newaxis]
        # A load that shares its branch with others has no wire of its own.
        self._wire_ohm = np.where(self._at_20c > 0.0, column(robot.wire_ohm), 0.0)
        self._judged = ~np.isnan(self._gain * self._turns * self._ambient_c)
        shape = (len(layout.order), runs)
        start = np.where(np.isnan(self._ambient_c), 20.0, self._ambient_c)
        self.temp_c = np.broadcast_to(start, shape).copy()
        self.most_c = np.where(self._judged, self.temp_c, np.nan)
        self.most_at_s = np.where(self._judged, 0.0, np.nan) + np.zeros(shape)
        self.device = np.where(np.isnan(self._device_gain * self._device_step), np.nan, 0.0) + np.zeros(shape)
        self.device_most = self.device.copy()
        self._coming_c = np.zeros(shape)

    def ohm(self) -> FloatArray:
        """Resistance (n, runs) of the branches in the middle of the coming window."""
        warm = self.temp_c + 0.5 * self._coming_c - 20.0
        return self._at_20c + self._wire_ohm * warm / (_ZERO_C + 20.0)

    def warm(self, mean_square_a2: FloatArray, end_s: float) -> None:
        """Pass one window with this mean square of the currents (n, runs); NaN = not judged stays."""
        with np.errstate(invalid="ignore", over="ignore"):
            gain = self._gain * mean_square_a2
            lean = 1.0 - gain  # how much of a deviation is passed on
            lean = np.where(np.abs(lean) < 1e-9, 1e-9, lean)
            steady = (self._ambient_c + gain * _ZERO_C) / lean
            new = self.temp_c + (steady - self.temp_c) * -np.expm1(-lean * self._turns)
            new = np.minimum(np.where(self._judged, new, self.temp_c), _MOST_C)
            self._coming_c = new - self.temp_c
            self.temp_c = new
            hotter = new > self.most_c
            self.device += (mean_square_a2 * self._device_gain - self.device) * self._device_step
        self.most_c[hotter] = new[hotter]
        self.most_at_s[hotter] = end_s
        np.maximum(self.device_most, self.device, out=self.device_most)
