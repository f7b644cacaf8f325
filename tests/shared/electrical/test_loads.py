"""Intermittent loads: RMS inside its window, the pulse beyond, and never silence about an unknown."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from shared.electrical.loads import (
    LOAD_BASIS_TEXT,
    RMS_WINDOW_FRAC,
    LoadBasis,
    duty_rms_a,
    effective_load,
    pulse_equivalent_a,
    rms_current_a,
)
from shared.electrical.thermal import overload_time_s

amps = st.floats(min_value=0.0, max_value=200.0)
duties = st.floats(min_value=0.0, max_value=1.0)
seconds = st.floats(min_value=0.01, max_value=2000.0)
taus = st.floats(min_value=20.0, max_value=320.0)


def at_12_awg(continuous_a, peak_a, duty_frac, cycle_s):
    return effective_load(continuous_a, peak_a, duty_frac, cycle_s, 74.0)


@given(amps, amps, duties)
def test_rms_lies_between_the_two_currents(one, other, duty):
    low, high = sorted((one, other))
    rms = float(duty_rms_a(low, high, duty))
    assert low - 1e-9 <= rms <= high + 1e-9


@given(amps, duties, seconds)
def test_rms_of_steps_equals_rms_of_duty(peak, duty, cycle):
    steps = rms_current_a(np.array([peak, 5.0]), np.array([duty * cycle, (1 - duty) * cycle]))
    assert float(steps) == pytest.approx(float(duty_rms_a(5.0, peak, duty)))


@given(amps, amps, duties, seconds, taus)
def test_the_pulse_lies_between_rms_and_peak(one, other, duty, cycle, tau):
    low, high = sorted((one, other))
    pulse = float(pulse_equivalent_a(low, high, duty, cycle, tau))
    assert float(duty_rms_a(low, high, duty)) - 1e-6 <= pulse <= high + 1e-6


def test_the_pulse_against_a_step_by_step_simulation():
    """Oracle: first-order heating integrated over 200 cycles with scipy."""
    from scipy.integrate import solve_ivp

    low, high, duty, cycle, tau = 10.0, 60.0, 0.3, 50.0, 74.0

    def warming(_: float, theta: np.ndarray, current: float) -> np.ndarray:
        return (current**2 - theta) / tau

    theta = hottest = np.array([0.0])
    for _ in range(40):
        for current, length in ((high, duty * cycle), (low, (1 - duty) * cycle)):
            run = solve_ivp(warming, (0.0, length), theta, args=(current,), rtol=1e-9, atol=1e-9)
            theta = run.y[:, -1]
            hottest = np.maximum(theta, hottest)
    assert float(pulse_equivalent_a(low, high, duty, cycle, tau)) == pytest.approx(
        np.sqrt(hottest[0]), rel=1e-5
    )


def test_within_the_window_the_rms_misses_at_most_eight_percent():
    duty = np.linspace(0.001, 1.0, 400)
    tau = 74.0
    exact = pulse_equivalent_a(0.0, 40.0, duty, RMS_WINDOW_FRAC * tau, tau)
    assert float(np.max(exact / duty_rms_a(0.0, 40.0, duty))) < 1.085


def test_a_single_long_pulse_is_the_overload_line():
    """A pulse from cold that just reaches the rating takes the overload time: the two reasonings are one."""
    tau, ampacity, peak = 74.0, 45.0, 90.0
    pulse_s = float(overload_time_s(peak / ampacity, tau))
    cycle = 100 * tau
    assert float(pulse_equivalent_a(0.0, peak, pulse_s / cycle, cycle, tau)) == pytest.approx(ampacity)


@pytest.mark.parametrize(
    ("load", "current", "basis"),
    [
        ((12.0, np.nan, np.nan, np.nan), 12.0, LoadBasis.CONTINUOUS),
        ((12.0, 12.0, 0.5, 4.0), 12.0, LoadBasis.CONTINUOUS),
        ((12.0, 40.0, 0.0, 4.0), 12.0, LoadBasis.CONTINUOUS),
        ((10.0, 40.0, 0.25, 4.0), np.sqrt(475.0), LoadBasis.RMS),
        ((10.0, 40.0, 0.25, np.nan), 40.0, LoadBasis.PEAK),
        ((10.0, 40.0, np.nan, 4.0), 40.0, LoadBasis.PEAK),
        ((np.nan, 40.0, 0.25, 4.0), 40.0, LoadBasis.PEAK),
        ((10.0, 40.0, 1.7, 4.0), 40.0, LoadBasis.PEAK),
        ((np.nan, np.nan, 0.25, 4.0), np.nan, LoadBasis.UNKNOWN),
    ],
)
def test_which_reasoning_applies(load, current, basis):
    found = at_12_awg(*load)
    assert int(found.basis) == basis
    assert float(found.current_a) == pytest.approx(current, nan_ok=True)
    assert LOAD_BASIS_TEXT[LoadBasis(int(found.basis))]


def test_rms_is_not_used_for_a_cycle_the_wire_can_follow():
    """A trap: a 90 s window is too long for 20 AWG (32 s); RMS would hide that the wire follows the pulse."""
    load = effective_load(0.0, 30.0, 1 / 9, 90.0, np.array([32.0, 312.0]))
    assert load.basis.tolist() == [LoadBasis.PULSE, LoadBasis.RMS]
    assert float(load.rms_a[0]) == pytest.approx(10.0)
    assert load.current_a[0] > 15.0


def test_an_unknown_time_constant_takes_the_peak():
    load = effective_load(10.0, 40.0, 0.25, 4.0, np.nan)
    assert int(load.basis) == LoadBasis.PEAK


@given(amps, amps, duties, seconds, taus)
def test_effective_current_never_leaves_the_two_currents(one, other, duty, cycle, tau):
    low, high = sorted((one, other))
    current = float(effective_load(low, high, duty, cycle, tau).current_a)
    assert low - 1e-6 <= current <= high + 1e-6


def test_window_can_be_set():
    assert int(effective_load(0.0, 40.0, 0.25, 60.0, 74.0, window_frac=1.0).basis) == LoadBasis.RMS


def test_arrays_equal_one_by_one():
    rng = np.random.default_rng(5)
    rows = np.stack(
        [rng.uniform(0, 20, 60), rng.uniform(0, 80, 60), rng.uniform(0, 1, 60), rng.uniform(1, 200, 60)]
    )
    rows[rng.random(rows.shape) < 0.15] = np.nan
    together = at_12_awg(*rows)
    alone = [at_12_awg(*(float(part) for part in column)) for column in rows.T]
    np.testing.assert_array_equal(together.current_a, [float(load.current_a) for load in alone])
    np.testing.assert_array_equal(together.basis, [int(load.basis) for load in alone])


def test_no_time_no_rms():
    assert np.isnan(rms_current_a(np.array([5.0, 6.0]), np.array([0.0, 0.0])))
    assert np.isnan(rms_current_a(np.array([5.0, 6.0]), np.array([1.0, -1.0])))
