"""Ampacity: the current a conductor may carry, from a named table, corrected for ambient and bundle.

Public names: `corrected_ampacity_a` (the whole chain), `table_ampacity_a`, `ambient_factor`, `bundle_factor`,
`loaded_bundle_factor`, `ampacity_table_names`, `bundle_table_names`, and the default table names.

How a table is read:

- Insulation class: the next lower column that has a figure for the size (a 100 C wire is read in the 90 C
  column). Below the lowest: NaN.
- Area between two sizes (metric and automotive wire): a straight line through the logarithms, never outside
  the two neighbours. Ampacity goes with a power of the area, and between neighbours that power hardly
  changes: leaving every second gauge out of a heat-balance model and interpolating it back misses by about
  1 %, while the default table stands 4-13 % below that model. `interpolation='next_lower'` takes the thinner
  listed size instead.
- Thinner than the column's thinnest size (18 AWG by default): a second table for small wires. Its figures are
  for a wire in a hot bundle, so no bundle factor applies and no credit is taken for a cooler room.
- Thicker than the thickest size: NaN.
"""

from dataclasses import dataclass
from functools import cache
from typing import Final, Literal, TypeAlias

import numpy as np
import numpy.typing as npt

from shared.electrical.arrays import BoolArray, FloatArray, Number, known
from shared.electrical.gauges import awg_area_mm2
from shared.electrical.tables.ampacity import AMPACITY_TABLES, AmpacityTable
from shared.electrical.tables.bundles import BUNDLE_TABLES, LOADED_BUNDLE, LOADED_BUNDLE_PERCENT

__all__ = [
    "DEFAULT_BUNDLE_TABLE",
    "DEFAULT_SMALL_WIRE_TABLE",
    "DEFAULT_TABLE",
    "Interpolation",
    "ambient_factor",
    "ampacity_table_names",
    "bundle_factor",
    "bundle_table_names",
    "corrected_ampacity_a",
    "loaded_bundle_factor",
    "table_ampacity_a",
]

Interpolation: TypeAlias = Literal["log_log", "next_lower"]

DEFAULT_TABLE: Final = "33cfr183"
DEFAULT_BUNDLE_TABLE: Final = "abyc_e11"
DEFAULT_SMALL_WIRE_TABLE: Final = "ac4313"

# An area this close to a listed size is that size (areas are typed with three or four figures).
_SAME_SIZE: Final = 1e-3


@dataclass(frozen=True, slots=True)
class _Grid:
    """A table ready for lookup: logarithms of areas (rising) and amps [column, size], NaN if empty."""

    table: AmpacityTable
    log_areas: FloatArray
    classes_c: FloatArray
    log_amps: FloatArray
    smallest_log_area: FloatArray


@cache
def _grid(name: str) -> _Grid:
    if name not in AMPACITY_TABLES:
        raise ValueError(f"No ampacity table '{name}'; there are {', '.join(AMPACITY_TABLES)}.")
    table = AMPACITY_TABLES[name]
    rows = sorted((awg_area_mm2(label), amps) for label, amps in table.amps.items())
    log_areas = np.log(np.array([area for area, _ in rows]))
    log_amps = np.log(np.array([amps for _, amps in rows], dtype=np.float64).T)
    for column in range(1, len(log_amps)):
        # An empty cell: better insulation carries at least what the next lower class carries.
        empty = np.isnan(log_amps[column])
        log_amps[column, empty] = log_amps[column - 1, empty]
    smallest = np.array([log_areas[np.isfinite(column)][0] for column in log_amps])
    return _Grid(table, log_areas, np.array(table.classes_c), log_amps, smallest)


def ampacity_table_names() -> tuple[str, ...]:
    """List the ampacity tables that may set a limit.

    Parameters: none.
    Returns:
        Tuple of names [-]; tables kept for comparison only are left out.
    Errors: none.
    Validity: each table under its own conditions, see `tables.ampacity`.
    Source: the tables name theirs.

    >>> ampacity_table_names()[:2]
    ('33cfr183', 'nec310_16')
    """
    return tuple(name for name, table in AMPACITY_TABLES.items() if not table.comparison_only)


def bundle_table_names() -> tuple[str, ...]:
    """List the bundle tables by number of conductors.

    Parameters: none.
    Returns:
        Tuple of names [-].
    Errors: none.
    Validity: each table belongs to its own family of ampacity tables.
    Source: the tables name theirs.

    >>> bundle_table_names()
    ('abyc_e11', 'nec310_15c1', 'cec5c')
    """
    return tuple(BUNDLE_TABLES)


def ambient_factor(ambient_c: Number, class_c: Number, base_ambient_c: Number = 30.0) -> FloatArray:
    """Correct an ampacity from the table's ambient temperature to the real one.

    Parameters:
        ambient_c: float or array [C], air around the wire.
        class_c: float or array [C], insulation class (conductor temperature limit).
        base_ambient_c: float or array [C], ambient of the table.
    Returns:
        Array [-]: 1 at the base, above 1 when cooler, 0 from the class temperature up.
    Errors: none; NaN where the class does not exceed the base ambient.
    Validity: heat loss taken as proportional to the temperature difference.
    Source: sqrt((Tc - Ta) / (Tc - T0)) (memory); equals every cell of CEC Table 5A within 0.01.

    >>> [round(float(ambient_factor(ambient, 105.0)), 2) for ambient in (30.0, 50.0, 105.0)]
    [1.0, 0.86, 0.0]
    """
    class_temp = np.asarray(class_c, dtype=np.float64)
    headroom = np.maximum(class_temp - np.asarray(ambient_c, dtype=np.float64), 0.0)
    return np.sqrt(headroom / known(class_temp - base_ambient_c, zero_ok=False))


def bundle_factor(conductors: Number, table: str = DEFAULT_BUNDLE_TABLE) -> FloatArray:
    """Reduce ampacity for current-carrying conductors that heat each other.

    Parameters:
        conductors: float or array [count], current-carrying conductors in the bundle, this one included.
        table: name [-], 'abyc_e11', 'nec310_15c1' or 'cec5c'.
    Returns:
        Array [-]; NaN where the count is below 1 or unknown.
    Errors: ValueError for an unknown table name.
    Validity: all conductors loaded together; a circuit's feed and return count as two.
    Source: UL 1426 / ABYC E-11; NEC 310.15(C)(1); CEC Table 5C.

    >>> bundle_factor(np.array([1.0, 3.0, 6.0, 24.0, 25.0])).tolist()
    [1.0, 0.7, 0.6, 0.5, 0.4]
    """
    if table not in BUNDLE_TABLES:
        raise ValueError(f"No bundle table '{table}'; there are {', '.join(BUNDLE_TABLES)}.")
    steps = BUNDLE_TABLES[table]
    count = np.asarray(conductors, dtype=np.float64)
    index = np.searchsorted(np.array(steps.from_count, dtype=np.float64), count, side="right") - 1
    return np.where(count >= 1.0, np.array(steps.factors)[index], np.nan)


def loaded_bundle_factor(wires: Number, loaded_frac: Number) -> FloatArray:
    """Reduce a single-wire free-air current for a bundle that is only partly loaded.

    Parameters:
        wires: float or array [count], wires in the bundle, 1 to 19.
        loaded_frac: float or array [fraction 0-1], share of the bundle's capacity in use; below 0.2 is read
            at 0.2.
    Returns:
        Array [-]; NaN beyond 19 wires or 100 %.
    Errors: none.
    Validity: read off published curves, linear between the points.
    Source: MIL-W-5088L / SAE AS50881 bundle derating curves; AC 43.13-1B example 2 uses 0.6 for 8 wires at
        60 %.

    >>> round(float(loaded_bundle_factor(8.0, 0.6)), 3)
    0.595
    """
    counts = np.array(list(LOADED_BUNDLE), dtype=np.float64)
    factors = np.array(list(LOADED_BUNDLE.values()))
    loads = np.array(LOADED_BUNDLE_PERCENT) / 100.0
    n, load = np.broadcast_arrays(
        np.asarray(wires, dtype=np.float64), np.asarray(loaded_frac, dtype=np.float64)
    )
    inside = (n >= counts[0]) & (n <= counts[-1]) & (load >= 0.0) & (load <= 1.0)
    i, u = _place(counts, np.where(inside, n, counts[0]))
    j, v = _place(loads, np.where(inside, np.maximum(load, loads[0]), loads[0]))
    low = factors[i, j] * (1.0 - v) + factors[i, j + 1] * v
    high = factors[i + 1, j] * (1.0 - v) + factors[i + 1, j + 1] * v
    return np.where(inside, low * (1.0 - u) + high * u, np.nan)


def _place(grid: FloatArray, value: FloatArray) -> tuple[npt.NDArray[np.intp], FloatArray]:
    """Find the lower neighbour of each value in a rising grid, and how far it lies towards the upper one
    (0-1)."""
    index = np.clip(np.searchsorted(grid, value, side="right") - 1, 0, len(grid) - 2)
    return index, (value - grid[index]) / (grid[index + 1] - grid[index])


def _read(
    grid: _Grid, log_area: FloatArray, column: npt.NDArray[np.intp], policy: Interpolation
) -> FloatArray:
    """Read amps at logarithmic areas in given columns; NaN outside the column's sizes."""
    index, along = _place(grid.log_areas, log_area)
    step = grid.log_areas[index + 1] - grid.log_areas[index]
    at_upper = np.abs(1.0 - along) * step < _SAME_SIZE
    at_lower = np.abs(along) * step < _SAME_SIZE
    low, high = grid.log_amps[column, index], grid.log_amps[column, index + 1]
    between = low if policy == "next_lower" else low * (1.0 - along) + high * along
    outside = (along < 0.0) | (along > 1.0)
    exact = np.where(at_upper, high, np.where(at_lower, low, np.where(outside, np.nan, between)))
    return np.exp(exact)


def _column(grid: _Grid, class_c: FloatArray) -> npt.NDArray[np.intp]:
    """Column of the next lower insulation class; -1 below the lowest."""
    return np.searchsorted(grid.classes_c, class_c, side="right") - 1


def _log_area(area_mm2: Number) -> FloatArray:
    return np.log(known(area_mm2, zero_ok=False))


def table_ampacity_a(
    area_mm2: Number,
    class_c: Number,
    table: str = DEFAULT_TABLE,
    interpolation: Interpolation = "log_log",
) -> FloatArray:
    """Read the ampacity of a conductor from one table, under that table's own conditions.

    Parameters:
        area_mm2: float or array [mm2], copper area.
        class_c: float or array [C], insulation class; the next lower column is read.
        table: name [-], see `ampacity_table_names`; 'chassis' is kept for comparison.
        interpolation: 'log_log' or 'next_lower' [-], for areas between two listed sizes.
    Returns:
        Array [A]; NaN outside the table's sizes and below its lowest class.
    Errors: ValueError for an unknown table or interpolation.
    Validity: the conditions of the table; no ambient, bundle or small-wire rule is applied here.
    Source: as the table says, 33 CFR 183.425 Table 5 by default.

    >>> float(table_ampacity_a(awg_area_mm2("12"), 105.0))
    45.0
    >>> round(float(table_ampacity_a(2.5, 105.0)), 1)
    38.7
    >>> float(table_ampacity_a(2.5, 105.0, "33cfr183", "next_lower"))
    35.0
    """
    if interpolation not in ("log_log", "next_lower"):
        raise ValueError(f"No interpolation '{interpolation}'; there are log_log and next_lower.")
    grid = _grid(table)
    log_area, class_temp = np.broadcast_arrays(_log_area(area_mm2), np.asarray(class_c, dtype=np.float64))
    column = _column(grid, class_temp)
    amps = _read(grid, log_area, np.maximum(column, 0), interpolation)
    return _rounded(np.where((column >= 0) & ~np.isnan(class_temp), amps, np.nan))


def _rounded(amps: FloatArray) -> FloatArray:
    # exp(log(45)) is 45.00000000000001; a limit must print and compare as the table has it.
    return np.round(amps, 9)


def _small_wire_a(
    area_mm2: Number, class_c: FloatArray, ambient_c: Number, table: str, interpolation: Interpolation
) -> FloatArray:
    """Amps of a thin wire from a hot bundle's table: lower class scaled down, cooler room not credited."""
    grid = _grid(table)
    column_class = np.maximum(class_c, grid.classes_c[0])
    amps = table_ampacity_a(area_mm2, column_class, table, interpolation)
    read_class = grid.classes_c[np.maximum(_column(grid, column_class), 0)]
    headroom = np.maximum(np.minimum(class_c, read_class) - ambient_c, 0.0)
    cooling = np.sqrt(headroom / (read_class - grid.table.base_ambient_c))
    return amps * np.minimum(cooling, 1.0)


def _smallest_area(grid: _Grid, class_c: FloatArray) -> FloatArray:
    return np.exp(grid.smallest_log_area[np.maximum(_column(grid, class_c), 0)])


def _needs_small_table(grid: _Grid, area_mm2: Number, class_c: FloatArray) -> BoolArray:
    return known(area_mm2, zero_ok=False) < _smallest_area(grid, class_c) * (1.0 - _SAME_SIZE)


def corrected_ampacity_a(
    area_mm2: Number,
    class_c: Number,
    ambient_c: Number = 30.0,
    conductors: Number = 1.0,
    *,
    table: str = DEFAULT_TABLE,
    bundle_table: str = DEFAULT_BUNDLE_TABLE,
    small_wire_table: str = DEFAULT_SMALL_WIRE_TABLE,
    interpolation: Interpolation = "log_log",
) -> FloatArray:
    """Give the current a conductor may carry where it lies: table value x ambient factor x bundle factor.

    Parameters:
        area_mm2: float or array [mm2], copper area.
        class_c: float or array [C], insulation class.
        ambient_c: float or array [C], air around the wire.
        conductors: float or array [count], current-carrying conductors bundled together, this one included.
        table: name [-] of the ampacity table, see `ampacity_table_names`.
        bundle_table: name [-] of the bundle table, see `bundle_table_names`.
        small_wire_table: name [-] of the table for wires thinner than `table` lists: 'ac4313' or
            'nasa_single'.
        interpolation: 'log_log' or 'next_lower' [-], for areas between two listed sizes.
    Returns:
        Array [A]; 0 when the room is as hot as the insulation may get; NaN where the tables do not reach.
    Errors: ValueError for an unknown table, bundle table or interpolation.
    Validity: copper; 24 AWG to 4/0; terminals and connectors may carry less than the wire.
    Source: 33 CFR 183.425 Table 5, ABYC E-11 and CEC Table 5A by default; AC 43.13-1B Table 11-9 for thin
        wires.

    >>> float(corrected_ampacity_a(awg_area_mm2("12"), 105.0)), float(corrected_ampacity_a(0.3255, 105.0))
    (45.0, 3.0)
    >>> float(corrected_ampacity_a(awg_area_mm2("12"), 105.0, 30.0, 8))
    22.5
    """
    grid = _grid(table)
    class_temp = np.asarray(class_c, dtype=np.float64)
    column_class = grid.classes_c[np.maximum(_column(grid, class_temp), 0)]
    cooling = ambient_factor(ambient_c, np.minimum(class_temp, column_class), grid.table.base_ambient_c)
    bundled = bundle_factor(conductors, bundle_table)
    if grid.table.bundled:
        cooling, bundled = np.minimum(cooling, 1.0), np.where(np.isnan(bundled), np.nan, 1.0)
    if small_wire_table == table:
        return table_ampacity_a(area_mm2, class_temp, table, interpolation) * cooling * bundled
    thin = _needs_small_table(grid, area_mm2, class_temp)
    # A thin wire is first read as the thinnest listed one: it never carries more than that.
    listed_area = np.where(thin, _smallest_area(grid, class_temp), area_mm2)
    normal = table_ampacity_a(listed_area, class_temp, table, interpolation) * cooling * bundled
    if not np.any(thin):
        return normal
    small = _small_wire_a(area_mm2, class_temp, ambient_c, small_wire_table, interpolation)
    return np.where(thin, np.minimum(small, normal), normal)
