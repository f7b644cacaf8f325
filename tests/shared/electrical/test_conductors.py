"""Laws and traps of conductors: one-way length, stranding, temperature, arrays."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from shared.electrical.conductors import (
    area_for_drop_mm2,
    conductor_temperature_c,
    drop_frac,
    drop_limit_frac,
    max_resistance_ohm_per_m,
    parallel_resistance,
    path_resistance_ohm,
    resistance_20c_ohm_per_m,
    resistance_at_c,
    voltage_drop_v,
)
from shared.electrical.gauges import awg_area_mm2

areas = st.floats(min_value=0.05, max_value=150.0)
currents = st.floats(min_value=0.0, max_value=600.0)
lengths = st.floats(min_value=0.0, max_value=20.0)
temps = st.floats(min_value=-40.0, max_value=200.0)


def test_the_return_conductor_is_counted():
    """2 m of 10 mohm/m one way carry 10 A: 0.4 V, not 0.2 V."""
    assert float(voltage_drop_v(10.0, 0.01, 2.0)) == pytest.approx(0.4)
    assert float(path_resistance_ohm(0.01, 2.0)) == pytest.approx(0.04)


def test_contacts_add_to_both_wires():
    """A 10 A blade fuse of 7.70 mohm drops 77 mV at 10 A, whatever the wire."""
    with_fuse = voltage_drop_v(10.0, 0.005, 1.0, 7.70)
    assert float(with_fuse - voltage_drop_v(10.0, 0.005, 1.0)) == pytest.approx(0.077)


def test_stranding_adds_two_percent_to_computed_but_not_to_given_figures():
    solid = resistance_20c_ohm_per_m(2.5, stranded=False)
    assert float(resistance_20c_ohm_per_m(2.5) / solid) == pytest.approx(1.02)
    assert float(resistance_20c_ohm_per_m(2.5, 7.98)) == pytest.approx(0.00798)
    mixed = resistance_20c_ohm_per_m(2.5, stranded=np.array([True, False]))
    assert mixed[0] > mixed[1]


def test_a_given_figure_wins_row_by_row():
    area = np.array([2.5, 2.5, np.nan])
    given_ohm_per_km = np.array([np.nan, 7.98, 7.98])
    result = resistance_20c_ohm_per_m(area, given_ohm_per_km)
    assert result[0] == resistance_20c_ohm_per_m(2.5)
    assert result[1:] == pytest.approx([0.00798, 0.00798])


@pytest.mark.parametrize("area", [0.0, -1.0, np.nan])
def test_no_area_no_answer(area):
    assert np.isnan(resistance_20c_ohm_per_m(area))


def test_a_negative_length_is_not_a_credit():
    assert np.isnan(voltage_drop_v(10.0, 0.01, -2.0))
    assert np.isnan(voltage_drop_v(-10.0, 0.01, 2.0))


def test_twenty_degrees_changes_nothing():
    assert float(resistance_at_c(0.005, 20.0)) == pytest.approx(0.005, rel=1e-15)


def test_below_the_line_there_is_no_resistance():
    assert np.isnan(resistance_at_c(0.005, -234.5))


@given(temps, temps)
def test_resistance_rises_with_temperature(one, other):
    low, high = sorted((one, other))
    assert resistance_at_c(1.0, low) <= resistance_at_c(1.0, high)


@given(areas, areas)
def test_resistance_falls_with_area(one, other):
    thin, thick = sorted((one, other))
    assert resistance_20c_ohm_per_m(thin) >= resistance_20c_ohm_per_m(thick)


@given(currents, lengths, areas)
def test_drop_is_proportional_to_current_and_length(current, length, area):
    ohm_per_m = resistance_20c_ohm_per_m(area)
    drop = float(voltage_drop_v(current, ohm_per_m, length))
    assert float(voltage_drop_v(2 * current, ohm_per_m, length)) == pytest.approx(2 * drop)
    assert float(voltage_drop_v(current, ohm_per_m, 2 * length)) == pytest.approx(2 * drop)


@given(
    st.floats(min_value=0.1, max_value=600.0),
    st.floats(min_value=0.1, max_value=20.0),
    st.floats(min_value=0.05, max_value=3.0),
    temps,
)
def test_the_area_for_a_drop_gives_that_drop_back(current, length, drop, temp):
    area = area_for_drop_mm2(current, length, drop, temp)
    ohm_per_m = resistance_at_c(resistance_20c_ohm_per_m(area), temp)
    assert float(voltage_drop_v(current, ohm_per_m, length)) == pytest.approx(drop)


def test_no_allowed_drop_no_area():
    assert np.isnan(area_for_drop_mm2(10.0, 1.0, 0.0))


@given(st.integers(min_value=1, max_value=8))
def test_parallel_conductors_share(count):
    assert float(parallel_resistance(0.01, count)) * count == pytest.approx(0.01)


def test_less_than_one_conductor_is_none():
    assert np.isnan(parallel_resistance(0.01, 0))


def test_temperature_ends():
    """No current: ambient. Rated current: rated temperature. Double: four times the rise."""
    hot = conductor_temperature_c(np.array([0.0, 45.0, 90.0]), 45.0, 30.0, 105.0)
    assert hot.tolist() == [30.0, 105.0, 330.0]
    assert np.isnan(conductor_temperature_c(10.0, 0.0))


def test_drop_limits():
    assert drop_limit_frac(np.array([True, False])).tolist() == [0.03, 0.10]
    assert float(drop_frac(0.36, 12.0)) == pytest.approx(0.03)
    assert np.isnan(drop_frac(0.36, 0.0))


def test_a_standard_answers_only_for_its_nominal_areas():
    listed = max_resistance_ohm_per_m(np.array([2.5, 2.501, 2.6, awg_area_mm2("12"), np.nan]))
    assert np.isnan(listed).tolist() == [False, False, True, True, True]
    with pytest.raises(ValueError, match="iec60228_class5"):
        max_resistance_ohm_per_m(2.5, "iec60228")


def test_arrays_equal_one_by_one_and_broadcast():
    rng = np.random.default_rng(7)
    current, length, area = rng.uniform(1, 100, 40), rng.uniform(0.1, 5, 40), rng.uniform(0.3, 40, 40)
    together = voltage_drop_v(current, resistance_20c_ohm_per_m(area), length)
    alone = [
        float(voltage_drop_v(float(i), resistance_20c_ohm_per_m(float(a)), float(m)))
        for i, a, m in zip(current, area, length, strict=True)
    ]
    assert together.tolist() == alone
    assert voltage_drop_v(current[:, None], resistance_20c_ohm_per_m(area), 1.0).shape == (40, 40)
