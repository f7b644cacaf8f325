"""Rest voltage curves, resistance readings with their slips, and short-circuit current."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from shared.electrical.battery import (
    READING_ENTRY_TEXT,
    ReadingEntry,
    loaded_voltage_v,
    new_resistance_range_mohm,
    reading_entry,
    rest_voltage_v,
    short_circuit_a,
    state_of_charge_frac,
    two_point_short_circuit_a,
    two_pulse_resistance_mohm,
)
from shared.electrical.tables.battery import NEW_RESISTANCE_MOHM, REST_CURVE_SOURCES, REST_CURVES

curves = st.sampled_from(sorted(REST_CURVES))


@given(curves, st.floats(0.0, 1.0))
def test_charge_and_voltage_round_trip(curve, charge):
    assert float(state_of_charge_frac(rest_voltage_v(charge, curve), curve)) == pytest.approx(
        charge, abs=1e-9
    )


@given(curves, st.floats(6.0, 16.0), st.floats(6.0, 16.0))
def test_more_voltage_never_less_charge(curve, one, other):
    low, high = sorted((one, other))
    assert state_of_charge_frac(low, curve) <= state_of_charge_frac(high, curve)


def test_default_curve_points():
    """Our own choice for small AGM, inside the spread of published lists."""
    volts = np.array([12.85, 12.60, 12.30, 12.00, 11.80])
    assert state_of_charge_frac(volts).tolist() == [1.0, 0.75, 0.5, 0.25, 0.0]


@pytest.mark.parametrize(
    ("charge", "low", "high"),
    # Extremes of six lists: an open data set (two), a caravan list, a forum list, a vehicle manual, a model.
    [(1.0, 12.65, 13.2), (0.75, 12.45, 12.71), (0.5, 12.1, 12.42), (0.25, 11.7, 12.11), (0.0, 11.6, 12.0)],
)
def test_default_curve_lies_inside_the_published_spread(charge, low, high):
    assert low <= float(rest_voltage_v(charge)) <= high


def test_gel_and_flooded_curves_as_published():
    """Open data set of 12 V lead-acid rest voltages at 26.7 C."""
    assert rest_voltage_v(np.array([0.0, 0.5, 1.0]), "gel").tolist() == [11.80, 12.40, 12.80]
    assert rest_voltage_v(np.array([0.0, 0.5, 1.0]), "flooded").tolist() == [11.89, 12.24, 12.65]
    assert set(REST_CURVES) == set(REST_CURVE_SOURCES)


def test_what_is_no_12_v_battery_is_unknown():
    assert np.isnan(state_of_charge_frac(np.array([0.0, 5.9, 24.0, np.nan]))).all()
    assert state_of_charge_frac(np.array([13.6, 11.0])).tolist() == [1.0, 0.0]
    assert np.isnan(rest_voltage_v(np.array([-0.1, 1.1]))).all()


@pytest.mark.parametrize(
    "curve",
    [
        "lithium",
        [(0.5, 12.0)],
        [(0.0, 12.0), (1.0, 12.0)],
        [(0.0, 11.0), (2.0, 12.0)],
        [(0.0, 12.5), (1.0, 12.0)],
    ],
)
def test_senseless_curves_are_refused(curve):
    with pytest.raises(ValueError, match="curve"):
        state_of_charge_frac(12.5, curve)


def test_a_models_own_curve():
    assert float(state_of_charge_frac(12.9, [(1.0, 13.0), (0.0, 12.0)])) == pytest.approx(0.9)


@pytest.mark.parametrize(
    ("typed", "entry"),
    [
        (15.0, ReadingEntry.PLAUSIBLE),
        (8.0, ReadingEntry.PLAUSIBLE),
        (60.0, ReadingEntry.PLAUSIBLE),
        (7.9, ReadingEntry.UNUSUAL),
        (60.1, ReadingEntry.UNUSUAL),
        (2.0, ReadingEntry.UNUSUAL),
        (200.0, ReadingEntry.UNUSUAL),
        (0.015, ReadingEntry.OHM_SLIP),
        (0.2, ReadingEntry.OHM_SLIP),
        (1.0, ReadingEntry.REFUSED),
        (201.0, ReadingEntry.REFUSED),
        (0.0, ReadingEntry.REFUSED),
        (-15.0, ReadingEntry.REFUSED),
        (np.nan, ReadingEntry.REFUSED),
    ],
)
def test_reading_entry(typed, entry):
    assert int(reading_entry(typed)) == entry
    assert READING_ENTRY_TEXT[entry]


@given(st.floats(2.0, 200.0))
def test_an_ohm_slip_is_always_caught(reading_mohm):
    assert int(reading_entry(reading_mohm / 1000.0)) == ReadingEntry.OHM_SLIP


def test_new_range_holds_the_sheet_it_rests_on_and_nothing_else():
    """Data sheets: 20.6 Ah 15 mohm; 7 Ah 23 and 45 Ah 9 mohm show that resistance does not scale."""
    least, most = new_resistance_range_mohm(20.6)
    assert float(least) <= NEW_RESISTANCE_MOHM[20.6] <= float(most)
    assert np.isnan(new_resistance_range_mohm(np.array([7.0, 45.0, np.nan]))).all()


@given(st.floats(10.0, 14.0), st.floats(3.0, 60.0), st.floats(1.0, 60.0), st.floats(61.0, 120.0))
def test_two_pulses_give_back_the_battery(voc, mohm, low_a, high_a):
    low_v, high_v = (float(loaded_voltage_v(voc, mohm, current)) for current in (low_a, high_a))
    assert float(two_pulse_resistance_mohm(low_a, low_v, high_a, high_v)) == pytest.approx(mohm)
    isc = float(two_point_short_circuit_a(low_a, low_v, high_a, high_v))
    assert isc == pytest.approx(float(short_circuit_a(voc, mohm)))
    assert float(loaded_voltage_v(voc, mohm, isc * (1 - 1e-9))) == pytest.approx(0.0, abs=1e-6)


def test_a_logger_that_holds_the_last_voltage_gives_no_resistance():
    """No drop between the pulses is no battery of 0 mohm but no reading."""
    assert np.isnan(two_pulse_resistance_mohm(40.0, 12.2, 120.0, 12.2))
    assert np.isnan(two_pulse_resistance_mohm(120.0, 11.6, 40.0, 12.2))


def test_beyond_the_short_circuit_there_is_no_voltage():
    assert np.isnan(loaded_voltage_v(12.6, 15.0, 900.0))
    assert np.isnan(short_circuit_a(12.6, 0.0))
