"""Duty cycles against published worked examples."""

from __future__ import annotations

import numpy as np
import pytest

from shared.electrical.loads import duty_rms_a, rms_current_a


def test_rms_of_a_starting_duty():
    """Page 'Sizing breakers ... for intermittent loads': 840 A for 6 s, 200 A for 54 s: 326.4 A."""
    rms = rms_current_a(np.array([840.0, 200.0]), np.array([6.0, 54.0]))
    assert float(rms) == pytest.approx(326.4, rel=1e-3)
    assert float(duty_rms_a(200.0, 840.0, 0.1)) == pytest.approx(326.4, rel=1e-3)


def test_peak_duty_of_a_servo_drive():
    """Servo-drive page 'Load cycle': 3 x for 10 s in 90 s is the continuous RMS (ratio inferred)."""
    rms = rms_current_a(np.array([3.0, 0.0]), np.array([10.0, 80.0]))
    assert float(rms) == pytest.approx(1.0, rel=1e-12)


@pytest.mark.parametrize("steps", [2, 5, 17])
def test_rms_equals_numpys_of_the_sampled_current(steps):
    """Oracle: numpy's root of the mean of squares over equal samples."""
    rng = np.random.default_rng(20261125)
    currents = rng.uniform(0.0, 120.0, steps)
    whole_seconds = rng.integers(1, 9, steps)
    sampled = np.repeat(currents, whole_seconds)
    expected = np.sqrt(np.mean(np.square(sampled)))
    assert float(rms_current_a(currents, whole_seconds.astype(float))) == pytest.approx(expected, rel=1e-12)
