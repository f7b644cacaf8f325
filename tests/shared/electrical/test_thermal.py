"""Laws of heating in time: limits, monotonicity, and the two ends meeting."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from shared.electrical.conductors import conductor_temperature_c
from shared.electrical.gauges import awg_area_mm2
from shared.electrical.thermal import (
    adiabatic_k,
    fusing_current_a,
    overload_time_s,
    time_constant_s,
    transient_temperature_c,
    withstand_current_a,
    withstand_time_s,
)

areas = st.floats(min_value=0.206, max_value=107.0)
ratios = st.floats(min_value=1.01, max_value=8.0)


@given(areas, areas)
def test_a_thicker_wire_is_never_faster(one, other):
    thin, thick = sorted((one, other))
    assert time_constant_s(thin) <= time_constant_s(thick)


def test_time_constant_ends():
    """Thinner than 24 AWG nothing is known; thicker than 2 AWG the last figure is a lower bound."""
    assert np.isnan(time_constant_s(awg_area_mm2("26")))
    assert float(time_constant_s(awg_area_mm2("24"))) == pytest.approx(24.0)
    assert float(time_constant_s(awg_area_mm2("4/0"))) == pytest.approx(312.0)
    assert np.isnan(time_constant_s(np.nan))
    assert np.isnan(time_constant_s(0.0))


@given(ratios, ratios)
def test_more_overload_less_time(one, other):
    mild, hard = sorted((one, other))
    assert overload_time_s(hard, 74.0) <= overload_time_s(mild, 74.0)


@given(ratios, st.floats(0.0, 1.0), st.floats(0.0, 1.0))
def test_a_warm_start_leaves_less_time(ratio, one, other):
    cold, warm = sorted((one, other))
    assert overload_time_s(ratio, 74.0, warm) <= overload_time_s(ratio, 74.0, cold)


def test_overload_ends():
    assert overload_time_s(np.array([0.0, 0.5, 1.0]), 74.0).tolist() == [np.inf] * 3
    assert float(overload_time_s(2.0, 74.0, 1.0)) == 0.0
    assert np.isnan(overload_time_s(np.nan, 74.0))
    assert np.isnan(overload_time_s(2.0, np.nan))
    assert np.isnan(overload_time_s(0.5, np.nan))


@given(ratios, st.floats(10.0, 300.0), st.floats(0.0, 0.9))
def test_after_the_overload_time_the_wire_is_at_its_limit(ratio, tau, start_frac):
    """The line and the temperature curve are one model: 105 C exactly when the time is up."""
    start_c = 30.0 + 75.0 * start_frac
    final_c = conductor_temperature_c(ratio * 45.0, 45.0, 30.0, 105.0)
    seconds = overload_time_s(ratio, tau, start_frac)
    assert float(transient_temperature_c(seconds, tau, final_c, start_c)) == pytest.approx(105.0, abs=1e-6)


def test_temperature_step_ends():
    assert float(transient_temperature_c(0.0, 74.0, 105.0, 30.0)) == 30.0
    assert float(transient_temperature_c(1e6, 74.0, 105.0, 30.0)) == pytest.approx(105.0)


def test_a_short_overload_is_nearly_adiabatic():
    """Far above the rating the first-order line tends to tau / r^2: the energy is what counts."""
    assert float(overload_time_s(50.0, 74.0)) == pytest.approx(74.0 / 50**2, rel=1e-3)


@given(areas, st.floats(0.01, 5.0))
def test_withstand_time_and_current_are_inverse(area, seconds):
    assert float(withstand_time_s(withstand_current_a(seconds, area), area)) == pytest.approx(seconds)


@given(areas, st.floats(0.01, 5.0))
def test_what_a_wire_withstands_does_not_melt_it(area, seconds):
    assert withstand_current_a(seconds, area) < fusing_current_a(area, seconds)


def test_no_headroom_no_withstand():
    assert float(adiabatic_k(160.0, 160.0)) == 0.0
    assert float(adiabatic_k(200.0, 160.0)) == 0.0
    assert np.isnan(withstand_time_s(0.0, 2.0))
