"""Protective devices: rating, continuous load, interrupt rating, and opening times where the points are
known.

Public names: `rating_check`, `continuous_load_check`, `interrupt_check`, `prospective_fault_a`,
`opening_time_s`,
`OpeningBand`, `least_interrupt_a`, `small_conductor_limit_a`, `ac4313_protector_a`, `clears_in_time`,
`CONTINUOUS_LOAD_FRAC`. Checks return int8 arrays of `Verdict`: HOLDS, FAILS, UNKNOWN.
"""

from functools import cache
from typing import Final, Literal, NamedTuple

import numpy as np

from shared.electrical.arrays import FloatArray, IntArray, Number, at_least, at_most, known
from shared.electrical.bands import DeviceBands
from shared.electrical.gauges import awg_area_mm2
from shared.electrical.tables.protection import (
    CURVES,
    INTERRUPT_BY_CRANKING,
    PROTECTOR_AC4313,
    SMALL_CONDUCTOR_A,
    TimeCurrentCurve,
)

__all__ = [
    "CONTINUOUS_LOAD_FRAC",
    "OpeningBand",
    "ac4313_protector_a",
    "clears_in_time",
    "continuous_load_check",
    "interrupt_check",
    "least_interrupt_a",
    "opening_time_s",
    "prospective_fault_a",
    "rating_check",
    "small_conductor_limit_a",
]

# The "80 % rule": NEC 210.20(A) asks for a device of at least 125 % of the continuous load.
CONTINUOUS_LOAD_FRAC: Final = 0.8


class OpeningBand(NamedTuple):
    """Shortest and longest opening time [s]; infinite = does not open, NaN = cannot judge."""

    min_s: FloatArray
    max_s: FloatArray


def rating_check(rating_a: Number, ampacity_a: Number, *, allowed_frac: float = 1.0) -> IntArray:
    """Judge whether a device protects its conductor: rating <= corrected ampacity.

    Parameters:
        rating_a: float or array [A] of the protective device.
        ampacity_a: float or array [A], corrected (`ampacity.corrected_ampacity_a`).
        allowed_frac: float [-], share of the ampacity allowed; federal boat law bears 1.5 below 50 V, we ask
            1.0.
    Returns:
        int8 array [Verdict].
    Errors: none; UNKNOWN where either figure is missing.
    Validity: direct current; the device also needs a dc voltage rating.
    Source: NEC 240.4; IEC 60364-4-43 433.1; AC 43.13-1B par. 11-48. The 1.5: 33 CFR 183.455(c)(1).

    >>> rating_check(np.array([40.0, 50.0, np.nan]), 45.0).tolist()
    [1, 0, -1]
    """
    return at_most(known(rating_a, zero_ok=False), known(ampacity_a) * allowed_frac)


def continuous_load_check(
    continuous_a: Number, rating_a: Number, *, load_frac: float = CONTINUOUS_LOAD_FRAC
) -> IntArray:
    """Judge whether a device carries its continuous load without nuisance opening: load <= 0.8 x rating.

    Parameters:
        continuous_a: float or array [A].
        rating_a: float or array [A] of the protective device.
        load_frac: float [-], share of the rating that may flow continuously.
    Returns:
        int8 array [Verdict].
    Errors: none; UNKNOWN where either figure is missing.
    Validity: about 25 C; hot enclosures need more margin (15-25 %).
    Source: NEC 210.20(A), device at least 125 % of the continuous load.

    >>> continuous_load_check(np.array([32.0, 33.0]), 40.0).tolist()
    [1, 0]
    """
    return at_most(known(continuous_a), known(rating_a, zero_ok=False) * load_frac)


def prospective_fault_a(open_circuit_v: Number, internal_mohm: Number, path_mohm: Number = 0.0) -> FloatArray:
    """Give the current a dead short draws: open-circuit voltage over all the resistance in its way.

    Parameters:
        open_circuit_v: float or array [V] of the battery.
        internal_mohm: float or array [mohm] of the battery, as measured.
        path_mohm: float or array [mohm], conductors out and back and contacts up to the fault.
    Returns:
        Array [A].
    Errors: none; NaN where the resistance is not positive.
    Validity: first instant, inductance left out; a meter's small-signal resistance may hide a larger current.
    Source: Ohm's law; I_f = V_oc / (R_int + 2 L R_wire).

    >>> round(float(prospective_fault_a(12.6, 15.0)))
    840
    """
    total_mohm = known(internal_mohm) + known(path_mohm)
    return known(open_circuit_v) / (known(total_mohm, zero_ok=False) * 1e-3)


def interrupt_check(interrupt_a: Number, fault_a: Number) -> IntArray:
    """Judge whether a device can break the prospective fault current.

    Parameters:
        interrupt_a: float or array [A], interrupt rating at this dc voltage.
        fault_a: float or array [A], prospective fault current at the device.
    Returns:
        int8 array [Verdict].
    Errors: none; UNKNOWN where either figure is missing.
    Validity: direct current; glass fuses that break 35 A or 10 x rating fail on any battery.
    Source: NEC 110.9 (memory); ABYC E-11 Table V.A.

    >>> interrupt_check(np.array([1000.0, 35.0]), 840.0).tolist()
    [1, 0]
    """
    return at_least(known(interrupt_a), known(fault_a))


def least_interrupt_a(cranking_a: Number, place: Literal["main", "branch"] = "main") -> FloatArray:
    """Give the interrupt rating asked of a breaker by the size of the battery.

    Parameters:
        cranking_a: float or array [A], total cold-cranking current of the battery or bank.
        place: 'main' or 'branch' [-].
    Returns:
        Array [A].
    Errors: ValueError for another place.
    Validity: 12 and 24 V; above 2200 A of cranking current ask the battery's maker.
    Source: ABYC E-11 Table V.A.

    >>> least_interrupt_a(np.array([300.0, 700.0])).tolist()
    [1500.0, 3000.0]
    """
    if place not in ("main", "branch"):
        raise ValueError(f"No place '{place}'; there are main and branch.")
    column = 1 if place == "main" else 2
    rows: FloatArray = np.array([row[column] for row in INTERRUPT_BY_CRANKING])
    limits = np.array([row[0] for row in INTERRUPT_BY_CRANKING])
    cranking = known(cranking_a)
    index = np.minimum(np.searchsorted(limits, cranking), len(rows) - 1)
    return np.where(np.isnan(cranking), np.nan, rows[index])


def opening_time_s(multiple: Number, curve: TimeCurrentCurve | str | None) -> OpeningBand:
    """Give the band of opening times of a device at a multiple of its rating.

    Parameters:
        multiple: float or array [-], current over rating.
        curve: a `TimeCurrentCurve` of the device's own points, the name of a family in
            `tables.protection.CURVES`,
            or None [-] when nothing is known.
    Returns:
        OpeningBand of shortest and longest time [s]: infinite up to the multiple that holds; between it and
        the
        first point only the shortest time is known; beyond the last point only the longest.
    Errors: ValueError for an unknown family name.
    Validity: 25 C; log-log between points. NaN without points: never a guessed curve.
    Source: the curve's own, with its status (the families are from memory).

    >>> band = opening_time_s(np.array([1.0, 2.0]), "blade")
    >>> band.min_s.tolist(), band.max_s.tolist()
    ([inf, 0.15], [inf, 5.0])
    >>> float(opening_time_s(2.0, None).max_s)
    nan
    """
    times = np.asarray(known(multiple))
    if curve is None:
        return OpeningBand(np.full(times.shape, np.nan), np.full(times.shape, np.nan))
    if isinstance(curve, str):
        if curve not in CURVES:
            raise ValueError(f"No fuse or breaker family '{curve}'; there are {', '.join(CURVES)}.")
        curve = CURVES[curve]
    return _band(times, curve)


def _band(multiple: FloatArray, curve: TimeCurrentCurve) -> OpeningBand:
    points = curve.points
    bands = DeviceBands.build(
        np.ones(1),
        np.zeros(1, dtype=np.bool_),
        device=np.zeros(1 + len(points), dtype=np.int64),
        multiple=np.array([curve.holds_multiple, *(point.multiple for point in points)]),
        earliest_s=np.array([np.nan, *(point.min_s for point in points)]),
        latest_s=np.array([np.nan, *(point.max_s for point in points)]),
    )
    only = np.zeros(multiple.shape, dtype=np.int64)
    return OpeningBand(
        np.round(bands.earliest_s(only, multiple), 9), np.round(bands.latest_s(only, multiple), 9)
    )


def clears_in_time(longest_opening_s: Number, bearable_s: Number) -> IntArray:
    """Judge whether a device opens before the conductor has had enough, or before an upstream device opens.

    Parameters:
        longest_opening_s: float or array [s], `OpeningBand.max_s` of the device nearest the fault.
        bearable_s: float or array [s]: `thermal.overload_time_s`, `thermal.withstand_time_s`, or the shortest
            opening time of the upstream device (selectivity).
    Returns:
        int8 array [Verdict]; a device that never opens fails unless the conductor bears the current for ever.
    Errors: none; UNKNOWN where either time is missing.
    Validity: compare at every current up to the fault level, not at one.
    Source: AC 43.13-1B par. 11-48; NEC Article 100, 'coordination, selective'.

    >>> clears_in_time(np.array([5.0, np.inf, np.inf]), np.array([21.3, 21.3, np.inf])).tolist()
    [1, 0, 1]
    """
    return at_most(known(longest_opening_s), known(bearable_s))


def _next_thinner(area_mm2: Number, areas: FloatArray, values: FloatArray) -> FloatArray:
    """Read the row of the thickest listed gauge not above the area; NaN below the thinnest."""
    area = known(area_mm2)
    index = np.searchsorted(areas * 0.999, area, side="right") - 1
    return np.where((index >= 0) & ~np.isnan(area), values[np.maximum(index, 0)], np.nan)


@cache
def _small_conductor_rows() -> tuple[FloatArray, FloatArray]:
    rows = sorted((awg_area_mm2(label), limit) for label, (limit, _) in SMALL_CONDUCTOR_A.items())
    # From 8 AWG on, 240.4(D) sets no limit of its own.
    rows.append((awg_area_mm2("8"), float("inf")))
    return np.array([area for area, _ in rows]), np.array([limit for _, limit in rows])


def small_conductor_limit_a(area_mm2: Number) -> FloatArray:
    """Give the largest device the building code allows on a small copper conductor.

    Parameters:
        area_mm2: float or array [mm2]; between gauges the thinner one counts.
    Returns:
        Array [A]; infinite from 8 AWG up, NaN below 18 AWG.
    Errors: none.
    Validity: building wiring; optional in a rule pack, not physics.
    Source: NEC 240.4(D): 15/20/30 A on 14/12/10 AWG; 7/10 A on 18/16 AWG from memory.

    >>> small_conductor_limit_a(np.array([3.3088, 2.5])).tolist()
    [20.0, 15.0]
    """
    return _next_thinner(area_mm2, *_small_conductor_rows())


@cache
def _ac4313_rows(column: int) -> tuple[FloatArray, FloatArray]:
    rows = sorted((awg_area_mm2(label), pair[column]) for label, pair in PROTECTOR_AC4313.items())
    return np.array([area for area, _ in rows]), np.array([limit for _, limit in rows])


def ac4313_protector_a(area_mm2: Number, kind: Literal["breaker", "fuse"] = "breaker") -> FloatArray:
    """Give the protector the aircraft practice pairs with a copper wire.

    Parameters:
        area_mm2: float or array [mm2]; between gauges the thinner one counts.
        kind: 'breaker' or 'fuse' [-].
    Returns:
        Array [A]; NaN below 22 AWG and where the table has no breaker.
    Errors: ValueError for another kind.
    Validity: conservative by its own words: wires in bundles in a hot aircraft.
    Source: FAA AC 43.13-1B CHG 1 Table 11-3.

    >>> float(ac4313_protector_a(3.3088)), float(ac4313_protector_a(3.3088, "fuse"))
    (30.0, 20.0)
    """
    if kind not in ("breaker", "fuse"):
        raise ValueError(f"No protector kind '{kind}'; there are breaker and fuse.")
    return _next_thinner(area_mm2, *_ac4313_rows(0 if kind == "breaker" else 1))
