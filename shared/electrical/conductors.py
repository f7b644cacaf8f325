"""Conductors: resistance from geometry or a standard, temperature, voltage drop over the round trip.

Public names: `resistance_20c_ohm_per_m`, `max_resistance_ohm_per_m`, `resistance_at_c`,
`parallel_resistance`,
`path_resistance_ohm`, `conductor_temperature_c`, `voltage_drop_v`, `drop_frac`, `drop_limit_frac`,
`area_for_drop_mm2` and `copper_mass_g`. Lengths are one-way; the functions count the return conductor themselves.
"""

from functools import cache

import numpy as np

from shared.electrical.arrays import BoolArray, FloatArray, Number, known
from shared.electrical.tables.copper import (
    DENSITY_G_PER_CM3,
    DROP_LIMIT_FRAC,
    INFERRED_ZERO_C,
    LAY_FACTOR,
    MAX_OHM_PER_KM,
    RESISTIVITY_OHM_MM2_PER_M,
)

__all__ = [
    "area_for_drop_mm2",
    "conductor_temperature_c",
    "copper_mass_g",
    "drop_frac",
    "drop_limit_frac",
    "max_resistance_ohm_per_m",
    "parallel_resistance",
    "path_resistance_ohm",
    "resistance_20c_ohm_per_m",
    "resistance_at_c",
    "voltage_drop_v",
]

_RHO = RESISTIVITY_OHM_MM2_PER_M.value
_ZERO_C = INFERRED_ZERO_C.value


def resistance_20c_ohm_per_m(
    area_mm2: Number,
    given_ohm_per_km: Number = np.nan,
    *,
    stranded: bool | BoolArray = True,
) -> FloatArray:
    """Give the resistance per metre of one conductor at 20 C: as given where known, else from its area.

    Parameters:
        area_mm2: float or array [mm2], copper area.
        given_ohm_per_km: float or array [ohm/km at 20 C], data-sheet or standard maximum; NaN where there is
            none.
        stranded: bool or bool array [-], adds 2 % for the lay of the strands; not applied to a given figure.
    Returns:
        Array [ohm/m].
    Errors: none; NaN where the area is not positive and no figure is given.
    Validity: annealed copper, 100 % IACS; commercial copper is 97-101 %, poor lay up to 8 % above solid.
    Source: IEC 60028 (resistivity), NEC Chapter 9 Table 8 (stranded over solid).

    >>> round(float(resistance_20c_ohm_per_m(3.309)) * 1000, 2)
    5.31
    >>> round(float(resistance_20c_ohm_per_m(2.5, 7.98)), 5)
    0.00798
    """
    lay = np.where(stranded, LAY_FACTOR.value, 1.0)
    computed = _RHO * lay / known(area_mm2, zero_ok=False)
    given = known(given_ohm_per_km, zero_ok=False) / 1000.0
    return np.where(np.isnan(given), computed, given)


@cache
def _standard_row(table: str) -> tuple[FloatArray, FloatArray]:
    if table not in MAX_OHM_PER_KM:
        raise ValueError(f"No resistance table '{table}'; there are {', '.join(MAX_OHM_PER_KM)}.")
    rows = MAX_OHM_PER_KM[table]
    return np.array(list(rows)), np.array(list(rows.values()))


def max_resistance_ohm_per_m(area_mm2: Number, table: str = "iec60228_class5") -> FloatArray:
    """Look up the maximum resistance a conductor standard allows for a nominal metric area.

    Parameters:
        area_mm2: float or array [mm2], nominal area.
        table: name [-], 'iec60228_class2', 'iec60228_class5', 'iec60228_class5_tinned' or 'iso6722' (from
            memory).
    Returns:
        Array [ohm/m at 20 C]; NaN for an area the standard does not list (AWG and SAE sizes, for instance).
    Errors: ValueError for an unknown table name.
    Validity: nominal areas within 0.1 %; no interpolation, the steps of the standards are not smooth.
    Source: IEC 60228:2004 Tables 2 and 3; ISO 6722-1:2011 (memory).

    >>> round(float(max_resistance_ohm_per_m(2.5)), 5), float(max_resistance_ohm_per_m(3.309))
    (0.00798, nan)
    """
    areas_mm2, ohm_per_km = _standard_row(table)
    area = np.asarray(area_mm2, dtype=np.float64)
    index = np.abs(area[..., np.newaxis] - areas_mm2).argmin(axis=-1)
    listed = np.isclose(area, areas_mm2[index], rtol=1e-3, atol=0.0)
    return np.where(listed, ohm_per_km[index] / 1000.0, np.nan)


def resistance_at_c(resistance_20c: Number, temp_c: Number) -> FloatArray:
    """Correct a copper resistance from 20 C to another conductor temperature.

    Parameters:
        resistance_20c: float or array [ohm, ohm/m ... at 20 C].
        temp_c: float or array [C], conductor temperature.
    Returns:
        Array [unit of the input].
    Errors: none; NaN below the temperature where the straight line reaches zero.
    Validity: about -50 to 250 C. IEC 60228 uses 250/(230+T) instead: 0.4 % more at 75 C.
    Source: FAA AC 43.13-1B CHG 1 par. 11-66d, R(T) = R20 (234.5 + T) / 254.5.

    >>> round(float(resistance_at_c(1.0, 75.0)), 3)
    1.216
    """
    scale = known(np.asarray(temp_c, dtype=np.float64) + _ZERO_C, zero_ok=False) / (_ZERO_C + 20.0)
    return known(resistance_20c) * scale


def parallel_resistance(resistance: Number, count: Number) -> FloatArray:
    """Give the resistance of several equal conductors side by side.

    Parameters:
        resistance: float or array [ohm or ohm/m] of one conductor.
        count: float or array [conductors in parallel], 1 or more.
    Returns:
        Array [unit of the input]; NaN where the count is below 1.
    Errors: none.
    Validity: equal length, area and joints; with unequal joints the better path carries the more current.
    Source: Kirchhoff's laws.

    >>> float(parallel_resistance(0.008, 2))
    0.004
    """
    number = np.asarray(count, dtype=np.float64)
    return known(resistance) / np.where(number >= 1.0, number, np.nan)


def path_resistance_ohm(
    resistance_ohm_per_m: Number, one_way_length_m: Number, contact_mohm: Number = 0.0
) -> FloatArray:
    """Give the resistance of the circuit out and back, contacts included.

    Parameters:
        resistance_ohm_per_m: float or array [ohm/m] of one conductor at its temperature.
        one_way_length_m: float or array [m], from source to load; the return conductor is counted here.
        contact_mohm: float or array [mohm], fuse, crimps and connectors together.
    Returns:
        Array [ohm].
    Errors: none.
    Validity: return conductor of the same size as the feed; no chassis return.
    Source: Ohm's law; round trip as in ABYC E-11 and AC 43.13-1B charts.

    >>> round(float(path_resistance_ohm(0.005, 2.0, 5.0)), 4)
    0.025
    """
    return 2.0 * known(resistance_ohm_per_m) * known(one_way_length_m) + known(contact_mohm) * 1e-3


def voltage_drop_v(
    current_a: Number,
    resistance_ohm_per_m: Number,
    one_way_length_m: Number,
    contact_mohm: Number = 0.0,
) -> FloatArray:
    """Give the voltage lost between source and load over the round trip.

    Parameters:
        current_a: float or array [A].
        resistance_ohm_per_m: float or array [ohm/m] of one conductor at its temperature.
        one_way_length_m: float or array [m]; the return conductor is counted here.
        contact_mohm: float or array [mohm], fuse, crimps and connectors together.
    Returns:
        Array [V].
    Errors: none.
    Validity: direct current; battery sag is not part of it.
    Source: Ohm's law; check values FAA AC 43.13-1B CHG 1 Table 11-7 (whose run lengths count both
        conductors).

    >>> round(float(voltage_drop_v(20.0, 2.02e-3 / 0.3048, 88 * 0.3048 / 2)), 3)
    3.555
    """
    return known(current_a) * path_resistance_ohm(resistance_ohm_per_m, one_way_length_m, contact_mohm)


def drop_frac(drop_v: Number, system_v: Number = 12.0) -> FloatArray:
    """Express a voltage drop as a fraction of the nominal system voltage.

    Parameters:
        drop_v: float or array [V].
        system_v: float or array [V], nominal, not the voltage of the moment.
    Returns:
        Array [fraction 0-1].
    Errors: none; NaN where the system voltage is not positive.
    Validity: any.
    Source: definition.

    >>> round(float(drop_frac(0.36)), 3)
    0.03
    """
    return known(drop_v) / known(system_v, zero_ok=False)


def drop_limit_frac(critical: bool | BoolArray) -> FloatArray:
    """Give the allowed voltage drop of a circuit by whether it is critical.

    Parameters:
        critical: bool or bool array [-]; electronics, radio, controllers and feeders are critical.
    Returns:
        Array [fraction of the nominal voltage]: 0.03 critical, 0.10 other.
    Errors: none.
    Validity: 12 V systems; a rule pack may set its own limits.
    Source: ABYC E-11, quoted on wire-chart pages.

    >>> float(drop_limit_frac(True)), float(drop_limit_frac(False))
    (0.03, 0.1)
    """
    return np.where(critical, DROP_LIMIT_FRAC["critical"], DROP_LIMIT_FRAC["other"])


def area_for_drop_mm2(
    current_a: Number, one_way_length_m: Number, drop_v: Number, temp_c: Number = 20.0
) -> FloatArray:
    """Give the least copper area (stranded) that keeps the round-trip drop within a limit.

    Parameters:
        current_a: float or array [A].
        one_way_length_m: float or array [m]; the return conductor is counted here.
        drop_v: float or array [V], allowed drop.
        temp_c: float or array [C], conductor temperature.
    Returns:
        Array [mm2]; round up to a size that exists.
    Errors: none; NaN where the allowed drop is not positive.
    Validity: drop only: compare with ampacity and take the larger wire (`sizing.smallest_awg`).
    Source: Ohm's law with IEC 60028 copper; check values: marine 3 % chart, CM = 10.75 I L / E.

    >>> round(float(area_for_drop_mm2(10.0, 21 * 0.3048 / 2, 0.36)), 2)
    3.13
    """
    rho = resistance_at_c(_RHO * LAY_FACTOR.value, temp_c)
    return 2.0 * rho * known(one_way_length_m) * known(current_a) / known(drop_v, zero_ok=False)


def conductor_temperature_c(
    current_a: Number, rated_a: Number, ambient_c: Number = 30.0, rated_temp_c: Number = 105.0
) -> FloatArray:
    """Estimate the steady conductor temperature at a current, from the rating at the same ambient.

    Parameters:
        current_a: float or array [A], steady or thermally equivalent current.
        rated_a: float or array [A], ampacity at this ambient and bundle for `rated_temp_c`.
        ambient_c: float or array [C].
        rated_temp_c: float or array [C], insulation class the rating belongs to.
    Returns:
        Array [C].
    Errors: none; NaN where the rating is zero or unknown.
    Validity: up to about 1.3 x rating; leaves out that resistance rises with temperature.
    Source: square law T = Ta + (Tr - Ta)(I/Ir)^2 (memory).

    >>> float(conductor_temperature_c(30.0, 60.0, 30.0, 110.0))
    50.0
    """
    ambient = np.asarray(ambient_c, dtype=np.float64)
    rise = np.asarray(rated_temp_c, dtype=np.float64) - ambient
    return ambient + rise * (known(current_a) / known(rated_a, zero_ok=False)) ** 2


def copper_mass_g(area_mm2: Number, length_m: Number) -> FloatArray:
    """Give the mass of the copper in a length of conductor, without insulation.

    Parameters:
        area_mm2: float or array [mm2], copper area.
        length_m: float or array [m] of conductor, both poles and all parallel ones counted by the caller.
    Returns:
        Array [g].
    Errors: none; NaN where an input is negative.
    Validity: the lay of the strands adds up to 2 %.
    Source: IEC 60028, 8.89 g/cm3 (memory).

    >>> round(float(copper_mass_g(2.5, 10.0)), 1)
    222.2
    """
    return known(area_mm2) * known(length_m) * DENSITY_G_PER_CM3.value
