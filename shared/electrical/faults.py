"""Short circuits: what current flows, what the conductor bears, what its device lets through, which device opens.

Public names: `FaultRange`, `fault_range`, `short_time_limit_c`, `bearable_s`, `LetThrough`, `let_through`,
`Selectivity`, `selectivity`, `selectivity_check`, `OVERLOAD_BORNE_FRAC`. All work on whole columns of circuits; bands
of devices come from `bands`.
"""

from __future__ import annotations

from typing import Final, NamedTuple

import numpy as np

from shared.electrical.arrays import FloatArray, IntArray, Number, Verdict, at_most, known
from shared.electrical.bands import DeviceBands, Rows
from shared.electrical.protection import prospective_fault_a
from shared.electrical.tables.thermal import CROSS_LINKED_FROM_C, SHORT_TIME_LIMIT_C
from shared.electrical.thermal import adiabatic_k, time_constant_s, withstand_current_a, withstand_time_s

__all__ = [
    "OVERLOAD_BORNE_FRAC",
    "FaultRange",
    "LetThrough",
    "Selectivity",
    "bearable_s",
    "fault_range",
    "let_through",
    "selectivity",
    "selectivity_check",
    "short_time_limit_c",
]

# IEC 60364-4-43 433.1, I2 <= 1.45 Iz: an overload up to here may last until the device opens, however late.
OVERLOAD_BORNE_FRAC: Final = 1.45
# The adiabatic equation holds up to here; beyond, heat is lost to the air meanwhile.
_ADIABATIC_S: Final = 5.0
_NEXT: Final = 1.0 + 1e-9
_STEPS: Final = np.array([0.0, 0.04, 0.1, 0.2, 0.35, 0.5, 0.75])


class FaultRange(NamedTuple):
    """Least and largest current [A] a dead short draws at a place."""

    lowest_a: FloatArray
    highest_a: FloatArray


def fault_range(
    full_v: Number,
    new_mohm: Number,
    cold_path_mohm: Number,
    tired_v: Number,
    tired_mohm: Number,
    hot_path_mohm: Number,
) -> FaultRange:
    """Give the range of the current that a dead short draws at the end of a path.

    Parameters:
        full_v: float or array [V], open-circuit voltage of the full battery.
        new_mohm: float or array [mohm], internal resistance of the battery when it is new.
        cold_path_mohm: float or array [mohm], supply and return path to the place, conductors at 20 C.
        tired_v: float or array [V], open-circuit voltage of a battery nearly empty.
        tired_mohm: float or array [mohm], internal resistance of the oldest battery that may be fitted.
        hot_path_mohm: float or array [mohm], the same path, conductors at the limit of their insulation.
    Returns:
        FaultRange of arrays [A].
    Errors: none; NaN where a figure is missing or the resistance is not positive.
    Validity: dead short; an arc or a loose strand draws less. Inductance left out.
    Source: Ohm's law; I_f = V_oc / (R_int + R_path).

    >>> both = fault_range(12.6, 15.0, 108.0, 12.6, 15.0, 540.0)
    >>> round(float(both.highest_a)), round(float(both.lowest_a))
    (102, 23)
    """
    return FaultRange(
        prospective_fault_a(tired_v, tired_mohm, hot_path_mohm),
        prospective_fault_a(full_v, new_mohm, cold_path_mohm),
    )


def short_time_limit_c(insulation_class_c: Number) -> FloatArray:
    """Give the temperature an insulation bears for the moment of a short circuit.

    Parameters:
        insulation_class_c: float or array [C], temperature class printed on the wire.
    Returns:
        Array [C]: 160 as for PVC up to the 105 C class, 250 as for cross-linked insulation from the 125 C class.
    Errors: none; NaN where the class is not known.
    Validity: up to about 5 s. A cross-linked wire of the 90 or 105 C class bears more than is said here.
    Source: IEC 60364-5-54 for 160 and 250 C; which class is of which kind: common practice, no source.

    >>> short_time_limit_c(np.array([75.0, 105.0, 125.0])).tolist()
    [160.0, 160.0, 250.0]
    """
    class_c = np.asarray(insulation_class_c, dtype=np.float64)
    limit = np.where(class_c < CROSS_LINKED_FROM_C, SHORT_TIME_LIMIT_C["pvc"], SHORT_TIME_LIMIT_C["linked"])
    return np.where(np.isnan(class_c), np.nan, limit)


def bearable_s(
    current_a: Number,
    area_mm2: Number,
    insulation_class_c: Number,
    ambient_c: Number,
    ampacity_a: Number,
) -> FloatArray:
    """Give the time for which a conductor at its temperature limit bears an overload or a fault current.

    Parameters:
        current_a: float or array [A].
        area_mm2: float or array [mm2], all conductors in parallel together.
        insulation_class_c: float or array [C].
        ambient_c: float or array [C].
        ampacity_a: float or array [A], corrected, all conductors in parallel together.
    Returns:
        Array [s]; infinite up to 1.45 times the ampacity and wherever the insulation's short-time limit is not
        reached. Up to 5 s by the adiabatic equation, above by first-order heating, but never less than 5 s.
    Errors: none; NaN where a figure is missing.
    Validity: copper. The conductor is taken as hot as its insulation allows when the fault begins, and its
        resistance as at the end: the safe side.
    Source: IEC 60364-5-54 (adiabatic), IEC 60364-4-43 433.1 (1.45), first-order heating (memory).

    >>> bearable_s(np.array([40.0, 300.0, 600.0]), 3.3088, 105.0, 30.0, 45.0).round(2).tolist()
    [inf, 0.93, 0.23]
    """
    amps, class_c, ambient = known(current_a), np.asarray(insulation_class_c, dtype=np.float64), ambient_c
    final_c = short_time_limit_c(class_c)
    adiabatic = withstand_time_s(amps, area_mm2, adiabatic_k(class_c, final_c))
    ratio = amps / known(ampacity_a, zero_ok=False)
    hotter = (234.5 + final_c) / (234.5 + class_c)
    steady_c = ambient + (class_c - ambient) * ratio**2 * hotter
    with np.errstate(divide="ignore", invalid="ignore"):
        heated = time_constant_s(area_mm2) * np.log((steady_c - class_c) / (steady_c - final_c))
    heated = np.where(steady_c <= final_c, np.inf, np.maximum(heated, _ADIABATIC_S))
    seconds = np.where(adiabatic <= _ADIABATIC_S, adiabatic, heated)
    seconds = np.where(ratio <= OVERLOAD_BORNE_FRAC, np.inf, seconds)
    return np.where(np.isnan(adiabatic) | np.isnan(ratio), np.nan, seconds)


class LetThrough(NamedTuple):
    """The worst current of a range: where the device takes longest against what the conductor bears."""

    verdict: IntArray
    current_a: FloatArray
    opens_s: FloatArray
    bears_s: FloatArray


def let_through(
    bands: DeviceBands,
    device: Rows,
    faults: FaultRange,
    area_mm2: Number,
    insulation_class_c: Number,
    ambient_c: Number,
    ampacity_a: Number,
) -> LetThrough:
    """Judge whether a device opens before its conductor is damaged, at every fault current of a range.

    Parameters:
        bands: DeviceBands [A, s] of all devices.
        device: array [row number in bands] of each circuit, negative for none.
        faults: FaultRange [A] of each circuit; a lowest one that is not known narrows it to the highest.
        area_mm2: array [mm2], insulation_class_c: array [C], ambient_c: array [C] and ampacity_a: array [A] as for
            `bearable_s`.
    Returns:
        LetThrough of one entry per circuit: verdict [Verdict], the current [A] with the largest ratio of longest
        opening time to bearable time (the highest where none comes near), and both times [s]. UNKNOWN where the
        device has no points or a figure is missing.
    Errors: none.
    Validity: exact where the wire's limit is adiabatic, both edges being straight in logarithms between the
        currents compared (the ends of the range and the knots of the band); within a few hundredths of the time
        where heat is lost meanwhile.
    Source: IEC 60364-4-43 434.5.2; AC 43.13-1B par. 11-48.

    >>> blade = DeviceBands.build(np.array([5.0]), np.array([True]), device=np.zeros(2, dtype=np.int64),
    ...     multiple=np.array([2.0, 6.0]), earliest_s=np.array([0.15, 0.02]), latest_s=np.array([5.0, 0.1]))
    >>> both = FaultRange(np.array([23.0]), np.array([102.0]))
    >>> worst = let_through(blade, np.zeros(1, dtype=np.int64), both, 0.3255, 105.0, 30.0, 4.5)
    >>> int(worst.verdict[0]), float(worst.current_a[0])
    (1, 23.0)
    """
    highest = np.atleast_1d(faults.highest_a)
    both = FaultRange(np.fmin(faults.lowest_a, highest), highest)
    rows = np.broadcast_to(device, highest.shape)
    columns = [
        np.broadcast_to(c, highest.shape) for c in (area_mm2, insulation_class_c, ambient_c, ampacity_a)
    ]
    opens, bears = bands.latest_s(rows, highest), bearable_s(highest, *columns)
    # Both times only fall as the current rises: where this holds there is nothing to look for in between.
    sure = bands.latest_s(rows, both.lowest_a) <= bears
    verdict = np.where(sure, np.int8(Verdict.HOLDS), np.int8(Verdict.UNKNOWN))
    told = LetThrough(verdict, highest.copy(), opens, bears)
    rest = np.flatnonzero(~sure)
    if rest.size:
        worst = _worst(
            bands, rows[rest], FaultRange(*(edge[rest] for edge in both)), [c[rest] for c in columns]
        )
        verdict[rest] = worst.verdict
        told.current_a[rest], told.opens_s[rest], told.bears_s[rest] = worst[1:]
    return told


def _worst(bands: DeviceBands, rows: Rows, faults: FaultRange, columns: list[FloatArray]) -> LetThrough:
    """Compare at every current that may be the worst."""
    wide = [column[:, None] for column in columns]
    amps = _compared_a(bands, rows, faults, wide[0], wide[1], wide[3])
    opens = bands.latest_s(rows[:, None], amps)
    bears = bearable_s(amps, *wide)
    with np.errstate(divide="ignore", invalid="ignore"):
        ratio = np.where(np.isinf(bears), 0.0, opens / bears)
    worst = np.round(np.nan_to_num(ratio, nan=-1.0, posinf=np.inf), 9)
    at = (np.arange(rows.size), np.argmax(worst, axis=1))
    unknown = np.isnan(ratio).all(axis=1)
    verdict = np.where(unknown, np.int8(Verdict.UNKNOWN), at_most(opens[at], bears[at]))
    return LetThrough(verdict.astype(np.int8), amps[at], opens[at], bears[at])


def _compared_a(
    bands: DeviceBands,
    rows: Rows,
    faults: FaultRange,
    area: FloatArray,
    class_c: FloatArray,
    ampacity: FloatArray,
) -> FloatArray:
    """The currents at which device and conductor are compared, one row per circuit, all within its fault range."""
    knots = bands.latest_knots_a[np.maximum(rows, 0)] if bands.rating_a.size else np.empty((rows.size, 0))
    least = OVERLOAD_BORNE_FRAC * _NEXT * ampacity
    quick = withstand_current_a(_ADIABATIC_S, area, adiabatic_k(class_c, short_time_limit_c(class_c)))
    # In between the heating is curved: a few steps keep what lies between two of them within a hundredth.
    heating = least * np.power(np.fmax(quick / least, 1.0), _STEPS)
    lowest, highest = (edge[:, None] for edge in faults)
    # The largest current first: of those equally bad it is the one told.
    edges = np.column_stack((highest, lowest, knots[:, :1] / _NEXT**2, quick, heating, knots))
    amps: FloatArray = np.fmin(np.fmax(edges, lowest), highest)
    return amps


class Selectivity(NamedTuple):
    """Per pair of devices: selective up to `limit_a` [A]; beyond `known_a` [A] the upstream points say nothing."""

    limit_a: FloatArray
    known_a: FloatArray


def selectivity(bands: DeviceBands, downstream: Rows, upstream: Rows) -> Selectivity:
    """Give the current up to which the device nearest the fault surely opens before the one upstream may.

    Parameters:
        bands: DeviceBands [A, s] of all devices.
        downstream: array [row number in bands], the device nearer the fault; negative for none.
        upstream: array [row number in bands], the device nearer the battery.
    Returns:
        Selectivity of arrays [A]: the selectivity limit (infinite where the pair is selective at every current
        that the points reach) and how far the upstream device's points reach. NaN without points.
    Errors: none.
    Validity: both devices carry the same current; load current of other branches upstream shortens its time. From
        the current on at which the downstream device opens for certain. Exact: the edges are straight in logarithms
        between the currents compared.
    Source: NEC Article 100, 'coordination, selective'; the word selectivity limit current: IEC 60947-2 (memory).

    >>> two = DeviceBands.build(np.array([10.0, 120.0]), np.array([True, False]),
    ...     device=np.array([0, 0, 1, 1]), multiple=np.array([2.0, 6.0, 1.5, 6.0]),
    ...     earliest_s=np.array([0.15, 0.02, 60.0, 1.0]), latest_s=np.array([5.0, 0.1, 300.0, 4.0]))
    >>> [float(a[0]) for a in selectivity(two, np.array([0]), np.array([1]))]
    [inf, 720.0]
    """
    down, up = np.atleast_1d(downstream), np.atleast_1d(upstream)
    both = (down >= 0) & (up >= 0)
    if not bands.rating_a.size:
        return Selectivity(np.full(down.shape, np.nan), np.full(down.shape, np.nan))
    # A league has few pairs of kinds: each is worked out once.
    pair, back = np.unique(np.where(both, down * bands.rating_a.size + up, -1), return_inverse=True)
    low_row, high_row = np.divmod(np.maximum(pair, 0), bands.rating_a.size)
    start, reach = bands.pickup_a[low_row], bands.earliest_known_to_a[high_row]
    end = np.fmax(start, reach)
    edges = np.column_stack(
        (start, end, bands.holds_a[high_row] * _NEXT**2, bands.earliest_knots_a[high_row],
         bands.latest_knots_a[low_row])
    )  # fmt: skip
    amps = np.sort(np.fmin(np.fmax(edges, start[:, None]), end[:, None]), axis=1)
    later = bands.latest_s(low_row[:, None], amps)
    sooner = bands.earliest_bound_s(high_row[:, None], amps)
    limit = _first_failure_a(amps, later, sooner)
    judged = (pair >= 0) & ~np.isnan(start) & ~np.isnan(sooner[:, -1])
    return Selectivity(np.where(judged, limit, np.nan)[back], np.where(judged, reach, np.nan)[back])


def _first_failure_a(amps: FloatArray, later: FloatArray, sooner: FloatArray) -> FloatArray:
    """The least current at which the later time is no longer below the sooner one; infinite if there is none."""
    fails = ~(later < sooner)
    first = np.argmax(fails, axis=1)
    row = np.arange(amps.shape[0])
    before = np.maximum(first - 1, 0)
    with np.errstate(divide="ignore", invalid="ignore"):
        gap0 = np.log(sooner[row, before] / later[row, before])
        gap1 = np.log(sooner[row, first] / later[row, first])
        share = np.where(first > 0, gap0 / (gap0 - gap1), 1.0)
        x0, x1 = np.log(amps[row, before]), np.log(amps[row, first])
        crossing = np.exp(x0 + (x1 - x0) * share)
    # From 'never opens' to a time is a step, with no line to cross on.
    crossing = np.where(np.isfinite(crossing), crossing, amps[row, first])
    return np.where(fails.any(axis=1), crossing, np.inf)


def selectivity_check(pair: Selectivity, fault_a: Number) -> IntArray:
    """Judge whether a pair of devices is selective for every fault up to a current.

    Parameters:
        pair: Selectivity [A] of each pair.
        fault_a: float or array [A], largest fault current right behind the downstream device.
    Returns:
        int8 array [Verdict]; UNKNOWN where points are missing or end before the fault current.
    Errors: none.
    Validity: as `selectivity`.
    Source: NEC Article 100, 'coordination, selective'.

    >>> pair = Selectivity(np.array([np.inf, np.inf, 40.0]), np.array([720.0, 500.0, 500.0]))
    >>> selectivity_check(pair, 600.0).tolist()
    [1, -1, 0]
    """
    fault = known(fault_a)
    fails = fault >= pair.limit_a
    holds = (fault < pair.limit_a) & (fault <= pair.known_a * _NEXT)
    verdict = np.where(fails, np.int8(Verdict.FAILS), np.int8(Verdict.UNKNOWN))
    return np.where(holds, np.int8(Verdict.HOLDS), verdict).astype(np.int8)
