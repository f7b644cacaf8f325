"""Loads: the steady current that heats a conductor as much as an intermittent load does.

Public names: `effective_load` (what the checks use), `EffectiveLoad`, `LoadBasis`, `LOAD_BASIS_TEXT`,
`duty_rms_a`,
`rms_current_a`, `pulse_equivalent_a`, `RMS_WINDOW_FRAC`.

The root-mean-square current is right only while the wire cannot follow the pulses. For a cycle of a third of
the
wire's time constant it is at most 8 % below the current that gives the same *peak* temperature, for a cycle
as long
as the time constant 26 % (limit of a short pulse, `pulse_equivalent_a`). So the RMS is used up to a third;
beyond,
the repeating pulse is followed in time, which for a single pulse is the overload-time line of `thermal`.
"""

from enum import IntEnum
from typing import Final, NamedTuple

import numpy as np

from shared.electrical.arrays import FloatArray, IntArray, Number, known

__all__ = [
    "LOAD_BASIS_TEXT",
    "RMS_WINDOW_FRAC",
    "EffectiveLoad",
    "LoadBasis",
    "duty_rms_a",
    "effective_load",
    "pulse_equivalent_a",
    "rms_current_a",
]

# Longest cycle, as a share of the conductor's time constant, over which an RMS is taken; see the module text.
RMS_WINDOW_FRAC: Final = 1.0 / 3.0


class LoadBasis(IntEnum):
    """Which reasoning gave the effective current, as stored in int8 arrays."""

    UNKNOWN = -1
    CONTINUOUS = 0
    RMS = 1
    PULSE = 2
    PEAK = 3


LOAD_BASIS_TEXT: Final[dict[LoadBasis, str]] = {
    LoadBasis.UNKNOWN: "no current is known for this load",
    LoadBasis.CONTINUOUS: "steady load: the continuous current",
    LoadBasis.RMS: "duty RMS: the cycle is short against the conductor's time constant",
    LoadBasis.PULSE: "the pulse is long against the conductor's time constant: followed in time",
    LoadBasis.PEAK: "cycle or duty unknown: the peak is taken as if it lasted",
}


class EffectiveLoad(NamedTuple):
    """Thermally equivalent steady current [A], the reasoning code (`LoadBasis`), and the plain RMS [A]."""

    current_a: FloatArray
    basis: IntArray
    rms_a: FloatArray


def rms_current_a(currents_a: FloatArray, durations_s: FloatArray) -> FloatArray:
    """Give the RMS of a current that goes through steps of given durations.

    Parameters:
        currents_a: array [A], steps along the last axis.
        durations_s: array [s], same length along the last axis.
    Returns:
        Array [A], one value per leading row.
    Errors: none; NaN where the durations sum to zero.
    Validity: thermally meaningful only for a cycle well below the conductor's time constant.
    Source: I_rms = sqrt(sum(I^2 t) / T), duty-cycle sizing pages.

    >>> round(float(rms_current_a(np.array([840.0, 200.0]), np.array([6.0, 54.0]))), 1)
    326.4
    """
    currents, durations = known(currents_a), known(durations_s)
    energy, total = np.broadcast_arrays(currents**2 * durations, durations)
    mean_square: FloatArray = np.sum(energy, axis=-1) / known(np.sum(total, axis=-1), zero_ok=False)
    return np.sqrt(mean_square)


def duty_rms_a(continuous_a: Number, peak_a: Number, duty_frac: Number) -> FloatArray:
    """Give the RMS of a load that runs at its peak for part of the time and at its continuous current
    otherwise.

    Parameters:
        continuous_a: float or array [A], current between the peaks.
        peak_a: float or array [A].
        duty_frac: float or array [fraction 0-1] of the time at the peak.
    Returns:
        Array [A]; NaN where the duty is outside 0 to 1.
    Errors: none.
    Validity: as `rms_current_a`.
    Source: I_rms = sqrt(sum(I^2 t) / T).

    >>> round(float(duty_rms_a(10.0, 40.0, 0.25)), 2)
    21.79
    """
    duty = _duty(duty_frac)
    return np.sqrt(known(peak_a) ** 2 * duty + known(continuous_a) ** 2 * (1.0 - duty))


def _duty(duty_frac: Number) -> FloatArray:
    duty = known(duty_frac)
    return np.where(duty <= 1.0, duty, np.nan)


def pulse_equivalent_a(
    continuous_a: Number, peak_a: Number, duty_frac: Number, cycle_s: Number, tau_s: Number
) -> FloatArray:
    """Give the steady current that reaches the same peak temperature as a pulse repeated for ever.

    Parameters:
        continuous_a: float or array [A], current between the peaks.
        peak_a: float or array [A], not below the continuous current.
        duty_frac: float or array [fraction 0-1] of the cycle at the peak.
        cycle_s: float or array [s], length of one cycle.
        tau_s: float or array [s], thermal time constant of the conductor.
    Returns:
        Array [A], between the RMS (short cycle) and the peak (long cycle).
    Errors: none; NaN where cycle or time constant is not positive.
    Validity: first-order heating; a cycle much longer than the time constant needs the pulse itself to fit.
    Source: steady periodic solution of first-order heating, derived here:
        I^2 = Ic^2 + (Ip^2 - Ic^2) (1 - exp(-d T / tau)) / (1 - exp(-T / tau)).

    >>> round(float(pulse_equivalent_a(0.0, 40.0, 0.25, 1.0, 1000.0)), 1)
    20.0
    >>> round(float(pulse_equivalent_a(0.0, 40.0, 0.25, 74.0, 74.0)), 1)
    23.7
    """
    base, peak = known(continuous_a) ** 2, known(peak_a) ** 2
    turns = known(cycle_s, zero_ok=False) / known(tau_s, zero_ok=False)
    share = np.expm1(-_duty(duty_frac) * turns) / np.expm1(-turns)
    return np.sqrt(base + np.maximum(peak - base, 0.0) * share)


def effective_load(
    continuous_a: Number,
    peak_a: Number,
    duty_frac: Number,
    cycle_s: Number,
    tau_s: Number,
    *,
    window_frac: float = RMS_WINDOW_FRAC,
) -> EffectiveLoad:
    """Give the steady current to compare with ampacity, and say which reasoning it rests on.

    Parameters:
        continuous_a: float or array [A]; NaN if unknown, then the peak is taken to last.
        peak_a: float or array [A]; NaN if the load has no peak.
        duty_frac: float or array [fraction 0-1] of the cycle at the peak; NaN if unknown.
        cycle_s: float or array [s], length of one cycle; NaN if unknown.
        tau_s: float or array [s], time constant of the conductor (`thermal.time_constant_s`); NaN if unknown.
        window_frac: float [-], longest cycle over which an RMS counts, as a share of the time constant.
    Returns:
        EffectiveLoad of current [A], basis code [`LoadBasis`] and RMS [A] (NaN where duty is unknown).
    Errors: none; basis UNKNOWN and NaN where neither current is known.
    Validity: the peak's effect on a fuse is another question: see `protection`.
    Source: RMS duty rule with its window; pulse by first-order heating (`pulse_equivalent_a`).

    >>> load = effective_load(10.0, 40.0, 0.25, np.array([4.0, 60.0, np.nan]), 74.0)
    >>> load.current_a.round(1).tolist(), load.basis.tolist()
    ([21.8, 24.4, 40.0], [1, 2, 3])
    """
    steady, peak, duty, cycle, tau = np.broadcast_arrays(
        known(continuous_a), known(peak_a), _duty(duty_frac), known(cycle_s, zero_ok=False), known(tau_s)
    )
    rms = duty_rms_a(steady, peak, duty)
    pulse = pulse_equivalent_a(steady, peak, duty, cycle, tau)
    no_peak = ~(peak > steady) & ~np.isnan(steady) | (duty == 0.0) & ~np.isnan(steady)
    neither = np.isnan(steady) & np.isnan(peak)
    cases = [neither, no_peak, np.isnan(pulse), cycle <= window_frac * tau]
    codes = [LoadBasis.UNKNOWN, LoadBasis.CONTINUOUS, LoadBasis.PEAK, LoadBasis.RMS]
    basis = np.select(cases, [np.int8(code) for code in codes], np.int8(LoadBasis.PULSE))
    current = np.select(cases, [steady, steady, peak, rms], pulse)
    return EffectiveLoad(current, basis.astype(np.int8), np.where(no_peak, steady, rms))
