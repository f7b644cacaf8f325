"""Batteries: state of charge from rest voltage, resistance readings, short-circuit current.

Public names: `state_of_charge_frac`, `rest_voltage_v`, `new_resistance_range_mohm`, `reading_entry`,
`ReadingEntry`,
`READING_ENTRY_TEXT`, `two_pulse_resistance_mohm`, `two_point_short_circuit_a`, `short_circuit_a`,
`loaded_voltage_v`.
"""

from collections.abc import Sequence
from enum import IntEnum
from typing import Final, TypeAlias

import numpy as np

from shared.electrical.arrays import FloatArray, IntArray, Number, known
from shared.electrical.tables.battery import (
    NEW_RESISTANCE_CLASS_AH,
    NEW_RESISTANCE_RANGE_MOHM,
    READING_LIMITS_MOHM,
    READING_USUAL_MOHM,
    REST_CURVES,
)

__all__ = [
    "READING_ENTRY_TEXT",
    "ReadingEntry",
    "RestCurve",
    "loaded_voltage_v",
    "new_resistance_range_mohm",
    "reading_entry",
    "rest_voltage_v",
    "short_circuit_a",
    "state_of_charge_frac",
    "two_point_short_circuit_a",
    "two_pulse_resistance_mohm",
]

# Points (state of charge 0-1, rest voltage V) of one battery model, or the name of a curve in
# `tables.battery`.
RestCurve: TypeAlias = Sequence[tuple[float, float]] | str


class ReadingEntry(IntEnum):
    """What a typed resistance looks like, as stored in int8 arrays."""

    REFUSED = -1
    PLAUSIBLE = 0
    UNUSUAL = 1
    OHM_SLIP = 2


READING_ENTRY_TEXT: Final[dict[ReadingEntry, str]] = {
    ReadingEntry.REFUSED: "outside 2 to 200 mohm: no 12 V battery reads this",
    ReadingEntry.PLAUSIBLE: "within 8 to 60 mohm",
    ReadingEntry.UNUSUAL: "outside 8 to 60 mohm: check the probes, the method and the unit",
    ReadingEntry.OHM_SLIP: "looks like ohm typed for mohm: 0.015 ohm is 15 mohm",
}


def _curve(curve: RestCurve) -> tuple[FloatArray, FloatArray]:
    if isinstance(curve, str):
        if curve not in REST_CURVES:
            raise ValueError(f"No rest-voltage curve '{curve}'; there are {', '.join(REST_CURVES)}.")
        curve = REST_CURVES[curve]
    points = np.array(sorted(curve), dtype=np.float64)
    if len(points) < 2 or not (np.diff(points, axis=0) > 0.0).all():
        raise ValueError("A rest-voltage curve needs two or more points whose voltage rises with the charge.")
    if points[0, 0] < 0.0 or points[-1, 0] > 1.0:
        raise ValueError("The states of charge of a rest-voltage curve lie between 0 and 1.")
    return points[:, 0], points[:, 1]


def state_of_charge_frac(rest_v: Number, curve: RestCurve = "agm_small") -> FloatArray:
    """Estimate the state of charge from the voltage of a rested battery.

    Parameters:
        rest_v: float or array [V], terminals open, at rest for 6 h or more.
        curve: points (state of charge [0-1], voltage [V]) of the model, or 'agm_small', 'gel', 'flooded'.
    Returns:
        Array [fraction 0-1], held at the ends of the curve; NaN outside 6 to 16 V.
    Errors: ValueError for an unknown name, or points that do not rise.
    Validity: lead-acid; worth about +/- 0.15 unless calibrated for the model. Not for lithium cells.
    Source: default curve: our choice inside the spread of six published lists; the curve belongs to the
        model.

    >>> [round(float(state_of_charge_frac(v)), 2) for v in (12.85, 12.45, 11.5)]
    [1.0, 0.62, 0.0]
    """
    charge, volts = _curve(curve)
    rest = np.asarray(rest_v, dtype=np.float64)
    plausible = (rest >= 6.0) & (rest <= 16.0)
    return np.where(plausible, np.interp(rest, volts, charge), np.nan)


def rest_voltage_v(charge_frac: Number, curve: RestCurve = "agm_small") -> FloatArray:
    """Give the rest voltage of a battery at a state of charge.

    Parameters:
        charge_frac: float or array [fraction 0-1].
        curve: points (state of charge [0-1], voltage [V]) of the model, or a name, as `state_of_charge_frac`.
    Returns:
        Array [V]; NaN outside 0 to 1.
    Errors: ValueError for an unknown name, or points that do not rise.
    Validity: as `state_of_charge_frac`.
    Source: as `state_of_charge_frac`.

    >>> float(rest_voltage_v(0.5))
    12.3
    """
    charge, volts = _curve(curve)
    wanted = np.asarray(charge_frac, dtype=np.float64)
    inside = (wanted >= 0.0) & (wanted <= 1.0)
    return np.where(inside, np.interp(wanted, charge, volts), np.nan)


def new_resistance_range_mohm(capacity_ah: Number) -> tuple[FloatArray, FloatArray]:
    """Give the range in which makers state the resistance of a new small AGM battery.

    Parameters:
        capacity_ah: float or array [Ah at the 20 h rate].
    Returns:
        Pair of arrays [mohm], least and most; NaN outside 17 to 21 Ah: resistance does not scale with
        capacity.
    Errors: none.
    Validity: full, 20-25 C, as stated by makers. A data-sheet value is not a baseline.
    Source: battery data sheets (20.6 Ah: 15 mohm); the width is common practice.

    >>> [float(end) for end in new_resistance_range_mohm(18.0)]
    [12.0, 18.0]
    """
    capacity = np.asarray(capacity_ah, dtype=np.float64)
    inside = (capacity >= NEW_RESISTANCE_CLASS_AH[0]) & (capacity <= NEW_RESISTANCE_CLASS_AH[1])
    least, most = NEW_RESISTANCE_RANGE_MOHM
    return np.where(inside, least, np.nan), np.where(inside, most, np.nan)


def reading_entry(resistance_mohm: Number) -> IntArray:
    """Judge a typed resistance before it is stored: plausible, unusual, a slip between ohm and mohm, or
    nonsense.

    Parameters:
        resistance_mohm: float or array [mohm], as typed.
    Returns:
        int8 array [ReadingEntry].
    Errors: none; REFUSED where the value is missing.
    Validity: 12 V lead-acid batteries of some 5 to 100 Ah.
    Source: our choice: accept 2-200 mohm, warn outside 8-60 (common practice, no source).

    >>> reading_entry(np.array([15.0, 90.0, 0.015, 900.0])).tolist()
    [0, 1, 2, -1]
    """
    reading = np.asarray(resistance_mohm, dtype=np.float64)
    low, high = READING_LIMITS_MOHM
    usual_low, usual_high = READING_USUAL_MOHM
    cases = [
        (reading >= usual_low) & (reading <= usual_high),
        (reading >= low) & (reading <= high),
        (reading >= low / 1000.0) & (reading <= high / 1000.0),
    ]
    codes = [ReadingEntry.PLAUSIBLE, ReadingEntry.UNUSUAL, ReadingEntry.OHM_SLIP]
    return np.select(cases, [np.int8(code) for code in codes], np.int8(ReadingEntry.REFUSED)).astype(np.int8)


def two_pulse_resistance_mohm(low_a: Number, low_v: Number, high_a: Number, high_v: Number) -> FloatArray:
    """Give the internal resistance from the voltages under two load currents.

    Parameters:
        low_a: float or array [A], smaller current.
        low_v: float or array [V] under it.
        high_a: float or array [A], larger current.
        high_v: float or array [V] under it.
    Returns:
        Array [mohm]; NaN where the second current is not the larger or its voltage not the lower.
    Errors: none.
    Validity: currents and pulse times belong to the reading; only like readings may be compared.
    Source: IEC 61960, R = (U1 - U2) / (I2 - I1).

    >>> round(float(two_pulse_resistance_mohm(40.0, 12.2765, 120.0, 11.6460)), 2)
    7.88
    """
    drop = known(np.asarray(low_v, dtype=np.float64) - high_v, zero_ok=False)
    step = known(np.asarray(high_a, dtype=np.float64) - low_a, zero_ok=False)
    return drop / step * 1000.0


def two_point_short_circuit_a(low_a: Number, low_v: Number, high_a: Number, high_v: Number) -> FloatArray:
    """Give the short-circuit current by extending the line through two load points to zero volts.

    Parameters:
        low_a: float or array [A], smaller current.
        low_v: float or array [V] under it.
        high_a: float or array [A], larger current.
        high_v: float or array [V] under it.
    Returns:
        Array [A]; NaN as `two_pulse_resistance_mohm`.
    Errors: none.
    Validity: an estimate for interrupt ratings; never short a battery to find out.
    Source: IEC 60896-21 cl. 6.3, Isc = (U1 I2 - U2 I1) / (U1 - U2) (memory).

    >>> round(float(two_point_short_circuit_a(40.0, 12.2765, 120.0, 11.6460)))
    1598
    """
    resistance_ohm = two_pulse_resistance_mohm(low_a, low_v, high_a, high_v) / 1000.0
    return known(low_a) + known(low_v) / resistance_ohm


def short_circuit_a(open_circuit_v: Number, resistance_mohm: Number) -> FloatArray:
    """Give the current of a dead short at the battery's terminals.

    Parameters:
        open_circuit_v: float or array [V].
        resistance_mohm: float or array [mohm], internal.
    Returns:
        Array [A]; NaN where the resistance is not positive.
    Errors: none.
    Validity: as good as the resistance: a 1 kHz reading and a dc reading give different answers.
    Source: Ohm's law, Isc = Voc / R.

    >>> round(float(short_circuit_a(12.6, 15.0)))
    840
    """
    return known(open_circuit_v) / (known(resistance_mohm, zero_ok=False) / 1000.0)


def loaded_voltage_v(open_circuit_v: Number, resistance_mohm: Number, current_a: Number) -> FloatArray:
    """Give the terminal voltage of a battery under load.

    Parameters:
        open_circuit_v: float or array [V].
        resistance_mohm: float or array [mohm], internal.
        current_a: float or array [A].
    Returns:
        Array [V]; NaN where the load asks more than a short circuit gives.
    Errors: none.
    Validity: first seconds; polarisation lowers the voltage further in time.
    Source: Ohm's law, V = Voc - I R.

    >>> round(float(loaded_voltage_v(12.7, 15.0, 120.0)), 2)
    10.9
    """
    return known(known(open_circuit_v) - known(current_a) * known(resistance_mohm) / 1000.0)
