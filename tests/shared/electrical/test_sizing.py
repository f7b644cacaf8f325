"""The suggested wire meets both criteria and is the smallest that does."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from shared.electrical.ampacity import corrected_ampacity_a
from shared.electrical.conductors import resistance_20c_ohm_per_m, resistance_at_c, voltage_drop_v
from shared.electrical.gauges import awg_area_mm2, format_size, parse_size
from shared.electrical.sizing import (
    TRADE_GAUGES,
    smallest_area_for_current_mm2,
    smallest_area_for_drop_mm2,
    smallest_area_mm2,
    trade_area_mm2,
)

AREAS = [awg_area_mm2(label) for label in TRADE_GAUGES]


@given(st.floats(0.5, 400.0), st.sampled_from([60.0, 80.0, 105.0, 125.0]), st.integers(1, 30))
def test_the_gauge_for_a_current_carries_it_and_the_next_thinner_does_not(current, class_c, count):
    chosen = float(smallest_area_for_current_mm2(current, class_c, 35.0, count))
    if np.isnan(chosen):
        assert corrected_ampacity_a(AREAS[-1], class_c, 35.0, count) < current
        return
    place = int(np.argmin(np.abs(np.array(AREAS) - chosen)))
    assert corrected_ampacity_a(chosen, class_c, 35.0, count) >= current * (1 - 1e-9)
    assert place == 0 or corrected_ampacity_a(AREAS[place - 1], class_c, 35.0, count) < current


@given(st.floats(0.5, 120.0), st.floats(0.1, 5.0), st.floats(0.1, 1.2))
def test_the_gauge_for_a_drop_keeps_it(current, length, drop):
    chosen = smallest_area_for_drop_mm2(current, length, drop, 60.0)
    ohm_per_m = resistance_at_c(resistance_20c_ohm_per_m(chosen), 60.0)
    assert np.isnan(chosen) or voltage_drop_v(current, ohm_per_m, length) <= drop * 1.002


@given(st.floats(0.01, 107.0))
def test_rounding_up_goes_to_the_next_size_on_sale(needed):
    chosen = float(trade_area_mm2(needed))
    assert chosen * 1.0011 >= needed
    assert parse_size(format_size(chosen)).area_mm2 == chosen


def test_nothing_thick_enough():
    assert np.isnan(trade_area_mm2(np.array([120.0, np.nan]))).all()
    assert np.isnan(smallest_area_for_current_mm2(900.0, 105.0))
    assert np.isnan(smallest_area_for_current_mm2(np.nan, 105.0))


@pytest.mark.parametrize(
    ("by_current", "by_drop", "area", "drop_decides"),
    [(13.3, 8.4, 13.3, False), (3.3, 8.4, 8.4, True), (3.3, 3.3, 3.3, False)],
)
def test_the_larger_of_both(by_current, by_drop, area, drop_decides):
    choice = smallest_area_mm2(by_current, by_drop)
    assert float(choice.area_mm2) == area
    assert bool(choice.governed_by_drop) is drop_decides


@pytest.mark.parametrize(("by_current", "by_drop"), [(np.nan, 8.4), (3.3, np.nan)])
def test_one_criterion_missing_is_no_answer(by_current, by_drop):
    assert np.isnan(smallest_area_mm2(by_current, by_drop).area_mm2)


def test_many_at_once():
    areas = smallest_area_for_current_mm2(np.array([10.0, 45.0, 46.0]), 105.0, np.array([30.0, 30.0, 30.0]))
    assert [format_size(float(area)) for area in areas] == ["18 AWG", "12 AWG", "10 AWG"]
