"""Terminals against published sizes and pull-out forces."""

from __future__ import annotations

import numpy as np
import pytest

from shared.electrical.gauges import awg_area_mm2
from shared.electrical.tables.terminations import STUDS
from shared.electrical.terminations import (
    hole_check,
    newton_from_lbf,
    pull_out_min_n,
    pull_test_check,
    stud_mm,
)

# UL 486A, least pull-out force in lbf, and in newtons (1 lbf = 4.448 N).
UL_486A = {
    "26": (3, 13.3),
    "22": (8, 35.6),
    "18": (20, 89.0),
    "16": (30, 133.4),
    "12": (70, 311.4),
    "10": (80, 355.9),
    "6": (100, 444.8),
    "1/0": (250, 1112.1),
    "2/0": (300, 1334.5),
}


@pytest.mark.parametrize(("label", "pair"), UL_486A.items())
def test_ul_486a(label, pair):
    pounds, newtons = pair
    assert float(pull_out_min_n(awg_area_mm2(label))) == pytest.approx(newtons, abs=0.06)
    assert float(newton_from_lbf(pounds)) == pytest.approx(newtons, abs=0.06)


@pytest.mark.parametrize(
    ("table", "label", "pounds"),
    [
        ("mil_t_7928", "18", 38),  # MIL-T-7928 / AS7928
        ("mil_t_7928", "12", 110),
        ("mil_t_7928", "6", 300),  # from memory
        ("abyc_e11", "18", 10),  # ABYC E-11 Table XVI, 1 min
        ("abyc_e11", "14", 30),
        ("abyc_e11", "8", 45),  # from memory
    ],
)
def test_other_pull_tables(table, label, pounds):
    expected = float(newton_from_lbf(pounds))
    assert float(pull_out_min_n(awg_area_mm2(label), table)) == pytest.approx(expected)


@pytest.mark.parametrize(("area_mm2", "newtons"), [(0.5, 60), (1.0, 108), (2.5, 230), (6.0, 360)])
def test_iec_60352_2_from_memory(area_mm2, newtons):
    assert float(pull_out_min_n(area_mm2, "iec60352_2")) == pytest.approx(newtons)


def test_the_lowest_pull_decides():
    """UL 486A s. 12: 16 AWG, 30 lbf; pulls 41, 38, 33, 36, 29: the mean 35.4 would pass, the lowest fails."""
    pulls = newton_from_lbf(np.array([41.0, 38.0, 33.0, 36.0, 29.0]))
    minimum = pull_out_min_n(awg_area_mm2("16"))
    assert float(np.mean(pulls)) > float(minimum)
    assert int(pull_test_check(pulls, minimum)) == 0


def test_number_sizes_follow_the_inch_rule():
    """Machine screw diameters: 0.060 + 0.013 n inches."""
    for number in (4, 6, 8, 10):
        assert stud_mm(f"#{number}") == pytest.approx((0.060 + 0.013 * number) * 25.4, abs=0.01)
    for fraction, inches in (("1/4", 0.25), ("5/16", 0.3125), ("3/8", 0.375)):
        assert stud_mm(fraction) == pytest.approx(inches * 25.4, abs=0.006)


def test_metric_and_inch_neighbours_do_not_swap_freely():
    """Ring terminal size charts: M8 (8.0 mm) is thicker than 5/16 in (7.94), M10 than 3/8 (9.53)."""
    assert int(hole_check(stud_mm("M8"), 7.95)) == 0
    assert int(hole_check(stud_mm("5/16"), 7.95)) == 1
    assert stud_mm("M10") > stud_mm("3/8")


@pytest.mark.parametrize("label", [label for label in STUDS if label not in {"3/8"}])
def test_every_stud_fits_the_ring_sold_for_it(label):
    """The 3/8 ring row is from memory: its 10.5 mm hole is that of M10 and too wide for 3/8."""
    assert int(hole_check(STUDS[label].diameter_mm, STUDS[label].usual_hole_mm)) == 1
