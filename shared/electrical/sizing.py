"""The wire to fit: the smallest gauge on sale that meets ampacity and voltage drop together.

Public names: `smallest_area_for_current_mm2`, `smallest_area_for_drop_mm2`, `smallest_area_mm2`,
`SizeChoice`,
`trade_area_mm2`, `TRADE_GAUGES`. Print a result with `gauges.format_size`.
"""

from typing import Final, NamedTuple

import numpy as np

from shared.electrical.ampacity import DEFAULT_BUNDLE_TABLE, DEFAULT_TABLE, corrected_ampacity_a
from shared.electrical.arrays import BoolArray, FloatArray, Number, at_least, known
from shared.electrical.conductors import area_for_drop_mm2
from shared.electrical.gauges import awg_area_mm2

__all__ = [
    "TRADE_GAUGES",
    "SizeChoice",
    "smallest_area_for_current_mm2",
    "smallest_area_for_drop_mm2",
    "smallest_area_mm2",
    "trade_area_mm2",
]

# Gauges a shop sells, thin to thick: even numbers, then 1 and up (common practice, no source).
TRADE_GAUGES: Final = (
    "24", "22", "20", "18", "16", "14", "12", "10", "8", "6", "4", "2", "1", "1/0", "2/0", "3/0", "4/0",
)  # fmt: skip
_AREAS: Final[FloatArray] = np.array([awg_area_mm2(label) for label in TRADE_GAUGES])


class SizeChoice(NamedTuple):
    """Area of the smallest gauge that will do [mm2], NaN if none does; whether the voltage drop decided
    it."""

    area_mm2: FloatArray
    governed_by_drop: BoolArray


def trade_area_mm2(needed_mm2: Number) -> FloatArray:
    """Round a needed area up to the next gauge on sale.

    Parameters:
        needed_mm2: float or array [mm2].
    Returns:
        Array [mm2] of an AWG size from 24 to 4/0; NaN above 4/0.
    Errors: none.
    Validity: an area within 0.1 % of a gauge is that gauge.
    Source: ASTM B258 areas; which gauges are on sale is common practice.

    >>> round(float(trade_area_mm2(3.0)), 3)
    3.309
    """
    needed = known(needed_mm2)
    index = np.searchsorted(_AREAS * 1.001, needed)
    found = (index < len(_AREAS)) & ~np.isnan(needed)
    return np.where(found, _AREAS[np.minimum(index, len(_AREAS) - 1)], np.nan)


def smallest_area_for_drop_mm2(
    current_a: Number, one_way_length_m: Number, drop_v: Number, temp_c: Number = 20.0
) -> FloatArray:
    """Give the smallest gauge that keeps the round-trip voltage drop within a limit.

    Parameters:
        current_a: float or array [A].
        one_way_length_m: float or array [m]; the return conductor is counted.
        drop_v: float or array [V], allowed drop.
        temp_c: float or array [C], conductor temperature.
    Returns:
        Array [mm2] of an AWG size; NaN when even 4/0 is too thin.
    Errors: none.
    Validity: drop only; take `smallest_area_mm2` for both criteria.
    Source: Ohm's law with IEC 60028 copper; ASTM B258 areas.

    >>> round(float(smallest_area_for_drop_mm2(10.0, 3.2, 0.36)), 3)
    3.309
    """
    return trade_area_mm2(area_for_drop_mm2(current_a, one_way_length_m, drop_v, temp_c))


def smallest_area_for_current_mm2(
    current_a: Number,
    class_c: Number,
    ambient_c: Number = 30.0,
    conductors: Number = 1.0,
    *,
    table: str = DEFAULT_TABLE,
    bundle_table: str = DEFAULT_BUNDLE_TABLE,
) -> FloatArray:
    """Give the smallest gauge whose corrected ampacity carries a current.

    Parameters:
        current_a: float or array [A]: thermally equivalent load, or the device rating if that is larger.
        class_c: float or array [C], insulation class.
        ambient_c: float or array [C], air around the wire.
        conductors: float or array [count], current-carrying conductors bundled together.
        table: name [-] of the ampacity table.
        bundle_table: name [-] of the bundle table.
    Returns:
        Array [mm2] of an AWG size; NaN when even 4/0 is too thin.
    Errors: ValueError for an unknown table.
    Validity: as `ampacity.corrected_ampacity_a`.
    Source: as `ampacity.corrected_ampacity_a`.

    >>> round(float(smallest_area_for_current_mm2(100.0, 105.0)), 1)
    13.3
    """
    current, klass, ambient, count = (
        np.asarray(part, dtype=np.float64)[..., np.newaxis]
        for part in (current_a, class_c, ambient_c, conductors)
    )
    amps = corrected_ampacity_a(_AREAS, klass, ambient, count, table=table, bundle_table=bundle_table)
    enough = at_least(amps, known(current)) == 1
    return np.where(enough.any(axis=-1), _AREAS[enough.argmax(axis=-1)], np.nan)


def smallest_area_mm2(for_current_mm2: Number, for_drop_mm2: Number) -> SizeChoice:
    """Combine both criteria: the wire to fit is the larger of the two, and either one missing leaves none.

    Parameters:
        for_current_mm2: float or array [mm2] from `smallest_area_for_current_mm2`.
        for_drop_mm2: float or array [mm2] from `smallest_area_for_drop_mm2`.
    Returns:
        SizeChoice of area [mm2] and whether the drop decided.
    Errors: none.
    Validity: voltage-drop tables leave ampacity out, and the other way round.
    Source: marine wire-chart page, worked example in which ampacity governs.

    >>> choice = smallest_area_mm2(13.3, 8.37)
    >>> float(choice.area_mm2), bool(choice.governed_by_drop)
    (13.3, False)
    """
    by_current, by_drop = known(for_current_mm2), known(for_drop_mm2)
    return SizeChoice(np.maximum(by_current, by_drop), np.asarray(by_drop > by_current))
