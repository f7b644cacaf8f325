"""Terminal fit, stud sizes as typed, and pull tests with too few readings."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from shared.electrical.arrays import Verdict
from shared.electrical.gauges import awg_area_mm2
from shared.electrical.tables.terminations import PULL_TABLES, SLEEVE_COLOURS, STUDS
from shared.electrical.terminations import (
    barrel_check,
    hole_check,
    lowest_pull_n,
    newton_from_lbf,
    pull_out_min_n,
    pull_table_names,
    pull_test_check,
    stud_mm,
)


@pytest.mark.parametrize(
    ("gauge", "colour", "fits"),
    [
        ("18", "red", 1),
        ("16", "red", 1),
        ("16", "blue", 1),
        ("14", "red", 0),
        ("12", "blue", 0),
        ("12", "yellow", 1),
    ],
)
def test_sleeve_colours_as_ranges(gauge, colour, fits):
    thinnest, thickest = (awg_area_mm2(label) for label in SLEEVE_COLOURS[colour])
    assert int(barrel_check(awg_area_mm2(gauge), thinnest, thickest)) == fits


def test_double_crimp_counts_all_the_copper():
    """Two 18 AWG wires (1.65 mm2) do not fit the red barrel that takes one."""
    red = awg_area_mm2("22"), awg_area_mm2("16")
    assert int(barrel_check(awg_area_mm2("18"), *red)) == Verdict.HOLDS
    assert int(barrel_check(2 * awg_area_mm2("18"), *red)) == Verdict.FAILS


def test_barrel_unknowns():
    assert int(barrel_check(np.nan, 0.3, 1.3)) == Verdict.UNKNOWN
    assert int(barrel_check(1.0, np.nan, 1.3)) == Verdict.UNKNOWN
    # Too thick for the known end: it fails, whatever the other end is.
    assert int(barrel_check(2.0, np.nan, 1.3)) == Verdict.FAILS


@given(st.floats(2.0, 12.0), st.floats(0.0, 0.5))
def test_hole_band(stud, slack):
    assert int(hole_check(stud, stud + slack)) == Verdict.HOLDS
    assert int(hole_check(stud, stud + 0.51 + slack)) == Verdict.FAILS
    assert int(hole_check(stud + 0.01, stud)) == Verdict.FAILS


def test_hole_unknowns():
    assert hole_check(np.array([6.0, np.nan, 0.0]), np.array([np.nan, 6.4, 6.4])).tolist() == [-1, -1, -1]


@pytest.mark.parametrize(
    ("typed", "diameter"),
    [
        ("M6", 6.0),
        ("m6", 6.0),
        ("#10", 4.83),
        ("No. 10", 4.83),
        ("1/4", 6.35),
        ('5/16"', 7.94),
        ("3/8 in", 9.53),
    ],
)
def test_studs_as_typed(typed, diameter):
    assert stud_mm(typed) == diameter


@pytest.mark.parametrize("typed", ["", "6", "M7", "1/3", "60 mm", "#5"])
def test_unknown_studs_are_refused(typed):
    with pytest.raises(ValueError, match="M6"):
        stud_mm(typed)


def test_stud_diameters_rise_with_their_labels():
    inch = [STUDS[label].diameter_mm for label in ("#4", "#6", "#8", "#10", "1/4", "5/16", "3/8")]
    metric = [STUDS[label].diameter_mm for label in ("M3", "M3.5", "M4", "M5", "M6", "M8", "M10")]
    assert inch == sorted(inch)
    assert metric == sorted(metric)
    assert all(stud.usual_hole_mm > stud.diameter_mm for stud in STUDS.values())


@given(st.sampled_from(pull_table_names()), st.floats(0.05, 70.0), st.floats(0.05, 70.0))
def test_a_thicker_wire_must_hold_more(table, one, other):
    thin, thick = sorted((one, other))
    assert not pull_out_min_n(thin, table) > pull_out_min_n(thick, table)


def test_pull_tables_end():
    assert np.isnan(pull_out_min_n(np.array([0.01, 100.0, np.nan, -1.0]))).all()
    with pytest.raises(ValueError, match="ul486a"):
        pull_out_min_n(1.0, "nowhere")


def test_tables_serve_different_purposes():
    """At 18 AWG: marine 10 lbf held a minute, commercial 20, military 38: the name belongs to the limit."""
    eighteen = awg_area_mm2("18")
    marine, commercial, military = (
        float(pull_out_min_n(eighteen, name)) for name in ("abyc_e11", "ul486a", "mil_t_7928")
    )
    assert marine < commercial < military
    assert set(pull_table_names()) == set(PULL_TABLES)


def test_four_pulls_are_too_few():
    pulls = newton_from_lbf(np.array([41.0, 38.0, 33.0, 36.0]))
    assert np.isnan(lowest_pull_n(pulls))
    assert int(pull_test_check(pulls, 133.0)) == Verdict.UNKNOWN
    assert int(pull_test_check(pulls, 133.0, least_pulls=4)) == Verdict.HOLDS


def test_many_joints_at_once_with_short_rows():
    pulls = np.array(
        [[200.0, 190.0, 180.0, 170.0, 160.0, np.nan], [200.0, 190.0, 180.0, 170.0, np.nan, np.nan]]
    )
    assert pull_test_check(pulls, np.array([150.0, 150.0])).tolist() == [Verdict.HOLDS, Verdict.UNKNOWN]
    assert int(pull_test_check(np.empty(0), 150.0)) == Verdict.UNKNOWN
