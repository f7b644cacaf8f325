"""Terminations: does the wire fit the barrel, the stud the hole, and did the pull test pass.

Public names: `barrel_check`, `hole_check`, `stud_mm`, `pull_out_min_n`, `pull_table_names`,
`pull_test_check`,
`lowest_pull_n`, `newton_from_lbf`. Checks return int8 arrays of `Verdict`: HOLDS, FAILS, UNKNOWN.
"""

import re
from functools import cache
from typing import Final

import numpy as np

from shared.electrical.arrays import FloatArray, IntArray, Number, Verdict, at_least, at_most, known
from shared.electrical.gauges import awg_area_mm2
from shared.electrical.tables.terminations import HOLE_SLACK_MM, LEAST_PULLS, PULL_TABLES, STUDS

__all__ = [
    "barrel_check",
    "hole_check",
    "lowest_pull_n",
    "newton_from_lbf",
    "pull_out_min_n",
    "pull_table_names",
    "pull_test_check",
    "stud_mm",
]

# Standard gravity 9.80665 m/s2 times the pound 0.45359237 kg, both exact by definition.
_N_PER_LBF: Final = 9.80665 * 0.45359237


def barrel_check(
    area_mm2: Number, barrel_min_mm2: Number, barrel_max_mm2: Number, *, tolerance_frac: float = 0.001
) -> IntArray:
    """Judge whether a wire lies within the range of a terminal's barrel.

    Parameters:
        area_mm2: float or array [mm2], copper area of the wire (of all wires together in a double crimp).
        barrel_min_mm2: float or array [mm2], thinnest wire printed on the terminal.
        barrel_max_mm2: float or array [mm2], thickest wire printed on the terminal.
        tolerance_frac: float [-], how far past an end still counts; areas are typed with few figures.
    Returns:
        int8 array [Verdict].
    Errors: none; UNKNOWN where a figure is missing.
    Validity: stranded copper; automotive (SAE) wire carries about 10 % less copper than AWG of the same
        number.
    Source: crimp inspection sheets and NASA-STD-8739.4: wire size within the range stamped on the terminal.

    >>> barrel_check(np.array([0.823, 2.081, np.nan]), 0.3255, 1.309).tolist()
    [1, 0, -1]
    """
    area = known(area_mm2, zero_ok=False)
    thick_enough = at_least(area * (1.0 + tolerance_frac), known(barrel_min_mm2))
    thin_enough = at_most(area, known(barrel_max_mm2) * (1.0 + tolerance_frac))
    # A wire outside one known end fails even when the other end is not known.
    failed = (thick_enough == Verdict.FAILS) | (thin_enough == Verdict.FAILS)
    return np.where(failed, np.int8(Verdict.FAILS), np.minimum(thick_enough, thin_enough))


def hole_check(stud_mm: Number, hole_mm: Number, *, slack_mm: float = HOLE_SLACK_MM) -> IntArray:
    """Judge whether a ring's hole fits a stud: stud <= hole <= stud + 0.5 mm.

    Parameters:
        stud_mm: float or array [mm], diameter of the stud or screw.
        hole_mm: float or array [mm], diameter of the terminal's hole.
        slack_mm: float [mm], how much wider the hole may be.
    Returns:
        int8 array [Verdict].
    Errors: none; UNKNOWN where a figure is missing.
    Validity: measured diameters; an M8 stud does not pass a hole made for 5/16 in (7.94 mm).
    Source: ring terminal guides, hole within 0.3 to 0.5 mm of the stud (common practice).

    >>> hole_check(6.0, np.array([5.3, 6.4, 8.4])).tolist()
    [0, 1, 0]
    """
    stud, hole = known(stud_mm, zero_ok=False), known(hole_mm, zero_ok=False)
    return np.minimum(at_most(stud, hole), at_most(hole, stud + slack_mm))


def stud_mm(text: str) -> float:
    """Read a stud size as a person types it.

    Parameters:
        text: text [trade size]: '#10', '1/4', '5/16 in', 'M6', '6 mm', '6.35mm'.
    Returns:
        float [mm], diameter.
    Errors: ValueError for a size that is not in the table and gives no millimetres.
    Validity: 2 to 16 mm.
    Source: ring terminal size charts; inch number sizes follow 0.060 + 0.013 n in.

    >>> stud_mm("M6"), stud_mm("1/4 in"), stud_mm("6.35 mm")
    (6.0, 6.35, 6.35)
    """
    plain = re.sub(r"\s+", "", text).rstrip('"').removesuffix("in").upper()
    plain = re.sub(r"^NO\.?", "#", plain)
    if plain in STUDS:
        return STUDS[plain].diameter_mm
    if found := re.fullmatch(r"(\d+(?:[.,]\d+)?)MM", plain):
        diameter = float(found[1].replace(",", "."))
        if 2.0 <= diameter <= 16.0:
            return diameter
    raise ValueError(
        f"'{text}' is not a stud size. Type one of {', '.join(STUDS)}, or millimetres such as '6 mm'."
    )


def newton_from_lbf(force_lbf: Number) -> FloatArray:
    """Convert pounds-force to newtons.

    Parameters:
        force_lbf: float or array [lbf].
    Returns:
        Array [N].
    Errors: none.
    Validity: exact.
    Source: definitions: 1 lb = 0.45359237 kg, standard gravity 9.80665 m/s2.

    >>> round(float(newton_from_lbf(30.0)), 1)
    133.4
    """
    return np.asarray(force_lbf, dtype=np.float64) * _N_PER_LBF


def pull_table_names() -> tuple[str, ...]:
    """List the pull-out tables.

    Parameters: none.
    Returns:
        Tuple of names [-], the default first.
    Errors: none.
    Validity: the tables serve different purposes; name the table with each limit.
    Source: the tables name theirs.

    >>> pull_table_names()
    ('ul486a', 'mil_t_7928', 'abyc_e11', 'iec60352_2')
    """
    return tuple(PULL_TABLES)


@cache
def _pull_rows(name: str) -> tuple[FloatArray, FloatArray]:
    if name not in PULL_TABLES:
        raise ValueError(f"No pull-out table '{name}'; there are {', '.join(PULL_TABLES)}.")
    table = PULL_TABLES[name]
    rows = [(awg_area_mm2(label), lbf * _N_PER_LBF) for label, lbf in table.awg_lbf.items()]
    rows = sorted(rows + list(table.mm2_n.items()))
    return np.array([area for area, _ in rows]), np.array([force for _, force in rows])


def pull_out_min_n(area_mm2: Number, table: str = "ul486a") -> FloatArray:
    """Give the least pull-out force a crimp must hold.

    Parameters:
        area_mm2: float or array [mm2] of the wire, the smaller one in a double crimp.
        table: name [-], see `pull_table_names`.
    Returns:
        Array [N]; between two sizes log-log, NaN outside the table.
    Errors: ValueError for an unknown table.
    Validity: set-up samples; on a joint in service never pull above 80 % of the minimum.
    Source: UL 486A by default; MIL-T-7928 / AS7928, ABYC E-11 Table XVI, IEC 60352-2 (memory).

    >>> round(float(pull_out_min_n(awg_area_mm2("16"))), 1)
    133.4
    """
    areas, forces = _pull_rows(table)
    area = known(area_mm2, zero_ok=False)
    inside = (area >= areas[0] * 0.999) & (area <= areas[-1] * 1.001)
    log_area = np.log(np.where(inside, area, areas[0]))
    return np.where(inside, np.exp(np.interp(log_area, np.log(areas), np.log(forces))), np.nan)


def lowest_pull_n(pulls_n: FloatArray, *, least_pulls: int = LEAST_PULLS) -> FloatArray:
    """Give the reading that decides a pull test: the lowest, if there are enough.

    Parameters:
        pulls_n: array [N], pulls along the last axis; NaN pads short rows.
        least_pulls: int [count] of readings needed.
    Returns:
        Array [N], one per leading row; NaN with too few readings.
    Errors: none.
    Validity: at least 5 pulls for a set-up, 25 for a capability study.
    Source: UL 486A (Nov 2003) s. 12 as quoted in applicator manuals.

    >>> float(lowest_pull_n(np.array([182.0, 169.0, 147.0, 160.0, 129.0])))
    129.0
    """
    pulls = known(pulls_n)
    enough = np.sum(~np.isnan(pulls), axis=-1) >= least_pulls
    lowest = np.min(np.where(np.isnan(pulls), np.inf, pulls), axis=-1, initial=np.inf)
    return np.where(enough, lowest, np.nan)


def pull_test_check(pulls_n: FloatArray, minimum_n: Number, *, least_pulls: int = LEAST_PULLS) -> IntArray:
    """Judge a pull test by its lowest reading; the mean is not the criterion.

    Parameters:
        pulls_n: array [N], pulls along the last axis.
        minimum_n: float or array [N], `pull_out_min_n`.
        least_pulls: int [count] of readings needed.
    Returns:
        int8 array [Verdict]; UNKNOWN with too few readings.
    Errors: none.
    Validity: does not prove a gas-tight crimp: use it beside the visual check and the crimp height.
    Source: UL 486A (Nov 2003) s. 12 as quoted in applicator manuals.

    >>> int(pull_test_check(newton_from_lbf(np.array([41.0, 38.0, 33.0, 36.0, 29.0])), 133.4))
    0
    """
    return at_least(lowest_pull_n(pulls_n, least_pulls=least_pulls), known(minimum_n))
