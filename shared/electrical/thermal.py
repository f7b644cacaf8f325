"""Heating in time: how fast a conductor warms, how long it bears an overload, what a short circuit does.

Public names: `time_constant_s`, `overload_time_s`, `transient_temperature_c`, `adiabatic_k`,
`withstand_time_s`,
`withstand_i2t_a2s`, `withstand_current_a`, `fusing_current_a`, `fusing_current_steady_a`.
"""

from typing import Final

import numpy as np

from shared.electrical.arrays import FloatArray, Number, known
from shared.electrical.gauges import awg_area_mm2, cmil_from_mm2
from shared.electrical.tables.thermal import SINGLE_WIRE_MODEL

__all__ = [
    "adiabatic_k",
    "fusing_current_a",
    "fusing_current_steady_a",
    "overload_time_s",
    "time_constant_s",
    "transient_temperature_c",
    "withstand_current_a",
    "withstand_i2t_a2s",
    "withstand_time_s",
]

_ROWS: Final = sorted((awg_area_mm2(label), tau) for label, (tau, _) in SINGLE_WIRE_MODEL.items())
_LOG_AREAS: Final = np.log([area for area, _ in _ROWS])
_LOG_TAUS: Final = np.log([tau for _, tau in _ROWS])


def time_constant_s(area_mm2: Number) -> FloatArray:
    """Give the thermal time constant of one insulated copper wire in still air.

    Parameters:
        area_mm2: float or array [mm2], copper area.
    Returns:
        Array [s]; above 2 AWG the figure of 2 AWG (a thicker wire is slower still), NaN below 24 AWG.
    Errors: none.
    Validity: single wire; a bundle is slower, so the figure is on the safe side for judging pulses.
    Source: heat-balance model, computed with correlations from memory; log-log between gauges.

    >>> round(float(time_constant_s(3.3088)))
    74
    """
    log_area = np.log(known(area_mm2, zero_ok=False))
    tau = np.exp(np.interp(log_area, _LOG_AREAS, _LOG_TAUS))
    # np.interp holds the end value, which below the thinnest wire would promise too much.
    return np.where(log_area < _LOG_AREAS[0] - 1e-3, np.nan, tau)


def overload_time_s(ratio: Number, tau_s: Number, start_frac: Number = 0.0) -> FloatArray:
    """Give the time until a conductor under overload reaches its rated temperature.

    Parameters:
        ratio: float or array [-], current divided by the ampacity at the same ambient.
        tau_s: float or array [s], thermal time constant.
        start_frac: float or array [fraction 0-1] of the rated temperature rise already there at the start; a
            wire that ran at half its ampacity starts at 0.25.
    Returns:
        Array [s]; infinite where the ratio is 1 or less, 0 where the wire starts at its limit.
    Errors: none.
    Validity: ratio up to about 5; above, use the adiabatic equation. Constant resistance.
    Source: first-order heating, t = tau ln((r^2 - s) / (r^2 - 1)) (memory, computed).

    >>> round(float(overload_time_s(2.0, 74.0)), 1), float(overload_time_s(0.9, 74.0))
    (21.3, inf)
    """
    square, tau, start = np.broadcast_arrays(known(ratio) ** 2, known(tau_s), known(start_frac))
    over = square > 1.0
    safe = np.where(over, square, 2.0)
    seconds = tau * np.log(np.maximum(safe - start, safe - 1.0) / (safe - 1.0))
    steady = np.where(np.isnan(square) | np.isnan(tau) | np.isnan(start), np.nan, np.inf)
    return np.where(over, seconds, steady)


def transient_temperature_c(
    time_s: Number,
    tau_s: Number,
    final_c: Number,
    start_c: Number,
) -> FloatArray:
    """Give the conductor temperature some time after a current step.

    Parameters:
        time_s: float or array [s] since the step.
        tau_s: float or array [s], thermal time constant.
        final_c: float or array [C], steady temperature at the new current (`conductor_temperature_c`).
        start_c: float or array [C], temperature at the step.
    Returns:
        Array [C].
    Errors: none.
    Validity: first order, constant resistance; below about five times ampacity.
    Source: first-order heating (memory).

    >>> round(float(transient_temperature_c(74.0, 74.0, 105.0, 30.0)), 1)
    77.4
    """
    final = np.asarray(final_c, dtype=np.float64)
    return final + (start_c - final) * np.exp(-known(time_s) / known(tau_s, zero_ok=False))


def adiabatic_k(initial_c: Number, final_c: Number) -> FloatArray:
    """Give the short-circuit factor k of a copper conductor.

    Parameters:
        initial_c: float or array [C] before the fault.
        final_c: float or array [C] the insulation bears for a moment: 160 for PVC, 250 for cross-linked.
    Returns:
        Array [A s^0.5 / mm2]; 0 where the conductor starts at or above the final temperature.
    Errors: none.
    Validity: up to about 5 s, no heat lost. The published 115 starts at 70 C; a 105 C wire at its limit has
        87.
    Source: IEC 60949 / IEC 60364-5-54, k = 226 sqrt(ln((234.5 + tf) / (234.5 + ti))).

    >>> round(float(adiabatic_k(70.0, 160.0)), 1), round(float(adiabatic_k(105.0, 160.0)), 1)
    (115.0, 87.6)
    """
    hot = 234.5 + np.asarray(final_c, dtype=np.float64)
    cold = known(234.5 + np.asarray(initial_c, dtype=np.float64), zero_ok=False)
    return 226.0 * np.sqrt(np.log(np.maximum(hot / cold, 1.0)))


def withstand_i2t_a2s(area_mm2: Number, k: Number = 115.0) -> FloatArray:
    """Give the let-through energy I2t that a conductor survives.

    Parameters:
        area_mm2: float or array [mm2].
        k: float or array [A s^0.5 / mm2], see `adiabatic_k`.
    Returns:
        Array [A2s].
    Errors: none.
    Validity: up to about 5 s.
    Source: IEC 60364-5-54, I^2 t <= k^2 S^2.

    >>> round(float(withstand_i2t_a2s(3.3088)))
    144789
    """
    return (known(k) * known(area_mm2)) ** 2


def withstand_time_s(current_a: Number, area_mm2: Number, k: Number = 115.0) -> FloatArray:
    """Give the time for which a conductor survives a fault current.

    Parameters:
        current_a: float or array [A].
        area_mm2: float or array [mm2].
        k: float or array [A s^0.5 / mm2], see `adiabatic_k`.
    Returns:
        Array [s]; results above 5 s are pessimistic, heat is lost meanwhile.
    Errors: none; NaN where the current is not positive.
    Validity: up to about 5 s.
    Source: IEC 60364-5-54, t = k^2 S^2 / I^2.

    >>> round(float(withstand_time_s(300.0, 3.3088)), 1)
    1.6
    """
    return withstand_i2t_a2s(area_mm2, k) / known(current_a, zero_ok=False) ** 2


def withstand_current_a(time_s: Number, area_mm2: Number, k: Number = 115.0) -> FloatArray:
    """Give the fault current a conductor survives for a time.

    Parameters:
        time_s: float or array [s].
        area_mm2: float or array [mm2].
        k: float or array [A s^0.5 / mm2], see `adiabatic_k`.
    Returns:
        Array [A].
    Errors: none; NaN where the time is not positive.
    Validity: up to about 5 s.
    Source: IEC 60364-5-54, I = k S / sqrt(t).

    >>> round(float(withstand_current_a(1.0, 3.3088)))
    381
    """
    return np.sqrt(withstand_i2t_a2s(area_mm2, k) / known(time_s, zero_ok=False))


def fusing_current_a(
    area_mm2: Number, time_s: Number, ambient_c: Number = 25.0, melting_c: float = 1083.0
) -> FloatArray:
    """Give the current that melts a bare copper wire in a given time: destruction, never a design limit.

    Parameters:
        area_mm2: float or array [mm2].
        time_s: float or array [s].
        ambient_c: float or array [C].
        melting_c: float [C], melting point of copper.
    Returns:
        Array [A].
    Errors: none; NaN where the time is not positive.
    Validity: up to about 10 s, no heat lost.
    Source: Onderdonk's equation as E. R. Stauffacher gave it, General Electric Review 1928.

    >>> round(float(fusing_current_a(1.3078, 5.0)), 1)
    168.9
    """
    rise = (melting_c - np.asarray(ambient_c, dtype=np.float64)) / (234.0 + ambient_c)
    return cmil_from_mm2(known(area_mm2)) * np.sqrt(
        np.log10(1.0 + rise) / (33.0 * known(time_s, zero_ok=False))
    )


def fusing_current_steady_a(diameter_mm: Number) -> FloatArray:
    """Give the steady current that melts a bare copper wire in air: destruction, never a design limit.

    Parameters:
        diameter_mm: float or array [mm] of the solid wire.
    Returns:
        Array [A].
    Errors: none.
    Validity: bare round wire, horizontal, still air.
    Source: W. H. Preece, Proc. Royal Society, 1880s: I = 10244 d^1.5, d in inches.

    >>> round(float(fusing_current_steady_a(1.291)))
    117
    """
    return 10244.0 * np.power(known(diameter_mm) / 25.4, 1.5)
