"""Device checks in three values, opening-time bands, and the refusal to guess a curve."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from shared.electrical.arrays import Verdict, at_least, at_most, known
from shared.electrical.protection import (
    ac4313_protector_a,
    clears_in_time,
    continuous_load_check,
    interrupt_check,
    least_interrupt_a,
    opening_time_s,
    prospective_fault_a,
    rating_check,
    small_conductor_limit_a,
)
from shared.electrical.sources import MEMORY, Source
from shared.electrical.tables.protection import CURVES, CurvePoint, TimeCurrentCurve

families = st.sampled_from(sorted(CURVES))
multiples = st.floats(min_value=0.0, max_value=12.0)


@given(st.floats(0.1, 500.0))
def test_equality_is_within_the_limit(value):
    assert int(at_most(value, value)) == int(at_least(value, value)) == Verdict.HOLDS
    assert int(at_most(value * 1.001, value)) == int(at_least(value * 0.999, value)) == Verdict.FAILS


@pytest.mark.parametrize(("value", "limit"), [(np.nan, 1.0), (1.0, np.nan), (np.nan, np.nan)])
def test_missing_is_never_a_pass(value, limit):
    assert int(at_most(value, limit)) == int(at_least(value, limit)) == Verdict.UNKNOWN


def test_infinite_limits():
    assert at_most(np.array([1.0, np.inf]), np.inf).tolist() == [1, 1]
    assert int(at_most(np.inf, 5.0)) == Verdict.FAILS


def test_known_drops_what_cannot_be():
    assert np.isnan(known(np.array([-0.1, np.nan]))).all()
    assert known(np.array([0.0, np.inf])).tolist() == [0.0, np.inf]


def test_rating_against_ampacity():
    assert rating_check(np.array([40.0, 45.0, 46.0, 0.0, np.nan]), 45.0).tolist() == [1, 1, 0, -1, -1]
    assert int(rating_check(40.0, np.nan)) == Verdict.UNKNOWN
    # A wire in a room as hot as its insulation bears nothing, and that is a finding, not a gap.
    assert int(rating_check(5.0, 0.0)) == Verdict.FAILS


def test_continuous_load_share_can_be_set():
    assert int(continuous_load_check(38.0, 40.0)) == Verdict.FAILS
    assert int(continuous_load_check(38.0, 40.0, load_frac=1.0)) == Verdict.HOLDS
    # Decimal shares are not exact in binary: 0.8 x 5 A must still carry 4 A.
    assert int(continuous_load_check(4.0, 5.0)) == Verdict.HOLDS
    assert int(continuous_load_check(5.6, 7.0)) == Verdict.HOLDS


def test_fault_current_falls_along_the_wire():
    faults = prospective_fault_a(12.6, 15.0, np.array([0.0, 10.0, 100.0]))
    assert np.all(np.diff(faults) < 0)
    assert np.isnan(prospective_fault_a(12.6, 0.0))
    assert int(interrupt_check(np.nan, faults[0])) == Verdict.UNKNOWN


@given(families, multiples, multiples)
def test_more_current_never_opens_later(family, one, other):
    low, high = sorted((one, other))
    slow, fast = opening_time_s(low, family), opening_time_s(high, family)
    assert fast.min_s <= slow.min_s
    assert fast.max_s <= slow.max_s


@given(families, multiples)
def test_shortest_never_exceeds_longest(family, multiple):
    band = opening_time_s(multiple, family)
    assert band.min_s <= band.max_s


def test_band_between_holding_and_the_first_point():
    """At 1.2 x a blade fuse may open, not before its shortest time at 1.35, and may also never open."""
    band = opening_time_s(1.2, "blade")
    assert float(band.min_s) == 0.75
    assert float(band.max_s) == np.inf


def test_band_beyond_the_last_point():
    band = opening_time_s(10.0, "blade")
    assert float(band.min_s) == 0.0
    assert float(band.max_s) == 0.1


def test_band_between_points_is_log_log():
    band = opening_time_s(np.sqrt(2.0 * 3.5), "blade")
    assert float(band.max_s) == pytest.approx(np.sqrt(5.0 * 0.5))


def test_without_points_it_cannot_be_judged():
    """Seen breakers take 5 s to 30 s at 200 %: no curve is 'typical', none stands in for a missing one."""
    band = opening_time_s(np.array([1.0, 2.0, 6.0]), None)
    assert np.isnan(band.min_s).all()
    assert np.isnan(band.max_s).all()
    assert clears_in_time(band.max_s, 10.0).tolist() == [Verdict.UNKNOWN] * 3
    with pytest.raises(ValueError, match="thermal_main_120"):
        opening_time_s(2.0, "breaker")


def test_unknown_current_unknown_time():
    assert np.isnan(opening_time_s(np.nan, "blade").min_s)
    assert np.isnan(opening_time_s(-1.0, "blade").max_s)


def test_a_devices_own_points():
    own = TimeCurrentCurve(
        "sheet",
        "30 A automatic",
        Source("data sheet", "nominal", MEMORY),
        1.25,
        (CurvePoint(2.0, 30.0, 30.0),),
    )
    band = opening_time_s(np.array([1.25, 1.5, 2.0, 3.0]), own)
    assert band.min_s.tolist() == [np.inf, 30.0, 30.0, 0.0]
    assert band.max_s.tolist() == [np.inf, np.inf, 30.0, 30.0]


@pytest.mark.parametrize(
    "points",
    [
        (),
        (CurvePoint(1.0, 1.0, 2.0),),
        (CurvePoint(2.0, 5.0, 1.0),),
        (CurvePoint(3.0, 1, 2), CurvePoint(2.0, 3, 4)),
    ],
)
def test_senseless_points_are_refused(points):
    with pytest.raises(ValueError, match="sheet"):
        TimeCurrentCurve("sheet", "", Source("data sheet", "", MEMORY), 1.1, points)


def test_small_conductor_steps():
    limits = small_conductor_limit_a(np.array([0.5, 0.823, 3.0, 8.366, 100.0, np.nan]))
    np.testing.assert_array_equal(limits, [np.nan, 7.0, 15.0, np.inf, np.inf, np.nan])


def test_protector_table_gaps():
    np.testing.assert_array_equal(
        ac4313_protector_a(np.array([0.2, 42.41, np.nan])), [np.nan, np.nan, np.nan]
    )
    assert float(ac4313_protector_a(42.41, "fuse")) == 150.0


def test_unknown_words_are_refused():
    with pytest.raises(ValueError, match="breaker and fuse"):
        ac4313_protector_a(2.0, "relay")  # type: ignore[arg-type]
    with pytest.raises(ValueError, match="main and branch"):
        least_interrupt_a(500.0, "feeder")  # type: ignore[arg-type]
    assert np.isnan(least_interrupt_a(np.nan))
