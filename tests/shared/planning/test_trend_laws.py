"""Laws that the trend arithmetic obeys whatever the numbers are."""

import itertools
import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from shared.planning.trends import (
    Crossing,
    CrossingKind,
    TrendFit,
    crossing_many,
    exact_p_rise,
    individuals_limits,
    mann_kendall,
    mann_kendall_many,
    null_counts,
    theil_sen,
    theil_sen_many,
)
from shared.planning.trends.ragged import offsets_of

# Whole numbers as floats: sums and differences are exact, so equality can be asked for where the law says so.
VALUES = st.lists(st.integers(-1000, 1000).map(float), min_size=2, max_size=14)
SERIES = VALUES.flatmap(
    lambda y: st.tuples(
        st.lists(st.integers(0, 500).map(float), min_size=len(y), max_size=len(y), unique=True).map(sorted),
        st.just(y),
    )
)


@given(st.lists(SERIES, min_size=1, max_size=8))
@settings(max_examples=60, deadline=None)
def test_many_groups_equal_one_by_one(groups):
    times, values = (np.concatenate(part) for part in zip(*groups, strict=True))
    offsets = offsets_of([len(y) for _, y in groups])
    fits, tests = theil_sen_many(times, values, offsets), mann_kendall_many(values, offsets)
    for g, (t, y) in enumerate(groups):
        alone, lone_test = theil_sen(t, y), mann_kendall(y)
        for ours, theirs in zip((*fits, *tests), (*alone, *lone_test), strict=True):
            np.testing.assert_array_equal(ours[g], theirs[0])


@given(SERIES, st.integers(-50, 50).map(float), st.sampled_from([0.25, 0.5, 2.0, 8.0]))
@settings(max_examples=80, deadline=None)
def test_shifting_and_scaling_the_readings_shifts_and_scales_the_fit(series, shift, scale):
    t, y = np.array(series[0]), np.array(series[1])
    before, after = theil_sen(t, y), theil_sen(t, y * scale + shift)
    for name in ("slope", "low", "high"):
        assert getattr(after, name)[0] == pytest.approx(
            getattr(before, name)[0] * scale, rel=1e-12, nan_ok=True
        )
    assert after.median_value[0] == pytest.approx(before.median_value[0] * scale + shift)
    assert mann_kendall(y * scale + shift).p_rise[0] == mann_kendall(y).p_rise[0]


@given(SERIES, st.sampled_from([0.5, 2.0, 16.0]), st.integers(-1000, 1000).map(float))
@settings(max_examples=60, deadline=None)
def test_the_clock_does_not_matter(series, stretch, start):
    t, y = np.array(series[0]), np.array(series[1])
    before, after = theil_sen(t, y), theil_sen(t * stretch + start, y)
    assert after.slope[0] == before.slope[0] / stretch
    assert after.median_time[0] == before.median_time[0] * stretch + start


@given(SERIES)
@settings(max_examples=60, deadline=None)
def test_turning_the_readings_over_turns_slope_and_interval_over(series):
    t, y = np.array(series[0]), np.array(series[1])
    up, down = theil_sen(t, y), theil_sen(t, -y)
    assert down.slope[0] == pytest.approx(-up.slope[0])
    assert mann_kendall(-y).s[0] == -mann_kendall(y).s[0]
    assert up.low[0] <= up.slope[0] <= up.high[0] or np.isnan(up.low[0])


@given(SERIES, st.randoms())
@settings(max_examples=40, deadline=None)
def test_the_order_in_which_readings_are_handed_in_does_not_matter_to_the_fit(series, random):
    pairs = list(zip(*series, strict=True))
    random.shuffle(pairs)
    shuffled = theil_sen([t for t, _ in pairs], [y for _, y in pairs])
    for ours, theirs in zip(shuffled, theil_sen(*series), strict=True):
        np.testing.assert_array_equal(ours, theirs)


@given(st.integers(2, 30), st.floats(-3, 3), st.floats(-3, 3))
@settings(max_examples=60, deadline=None)
def test_a_straight_line_gives_itself_back(n, slope, start):
    t = np.arange(n) * 7.0
    fit = theil_sen(t, start + slope * t)
    assert fit.slope[0] == pytest.approx(slope, abs=1e-9)
    assert fit.intercept[0] == pytest.approx(start, abs=1e-7)


@given(st.lists(st.integers(1, 4), min_size=1, max_size=5))
@settings(max_examples=60, deadline=None)
def test_null_distribution_is_whole_symmetric_and_falls(tie_sizes):
    counts = null_counts(tuple(sorted(tie_sizes)))
    assert list(counts) == list(reversed(counts))
    assert min(counts) >= 1
    untied = len(counts) - 1
    tail = [exact_p_rise(s, tie_sizes) for s in range(-untied, untied + 1, 2)]
    assert tail[0] == 1.0
    assert all(a > b for a, b in itertools.pairwise(tail))


def test_the_exact_test_hands_over_to_the_normal_one_without_a_jump():
    """At ten readings the two differ by less than 0.005 near the 5 % point (exact 0.0363 at S = 21)."""
    rising = [1, 2, 3, 4, 5, 6, 10, 9, 8, 7]
    exact = mann_kendall(rising)
    z = (exact.s[0] - 1) / np.sqrt(exact.variance[0])
    assert exact.p_rise[0] == pytest.approx(0.5 * math.erfc(z / np.sqrt(2)), abs=0.005)


SLOPES = st.tuples(*[st.floats(-0.05, 0.05)] * 3).map(sorted)


@given(SLOPES, st.floats(1, 400), st.floats(0.1, 10), st.booleans())
@settings(max_examples=200, deadline=None)
def test_no_day_is_ever_told_beyond_the_horizon_or_without_a_rising_lower_slope(slopes, span, gap, falling):
    low, slope, high = slopes
    sign = -1.0 if falling else 1.0
    fit = _fit_of(slope, low, high, span / 2, 12.0)
    told = crossing_many(fit, 12.0 + sign * gap, 0.0, span, falling=falling)
    kind, horizon = CrossingKind(told.kind[0]), 1.5 * span
    towards = (-high, -low) if falling else (low, high)
    if kind == CrossingKind.DATED:
        assert towards[0] > 0
        assert span <= told.day[0] <= horizon
        assert span <= told.earliest[0] <= told.day[0] + 1e-9
        assert np.isnan(told.latest[0]) or told.day[0] - 1e-9 <= told.latest[0] <= horizon
        assert np.isnan(told.not_before[0])
    elif kind == CrossingKind.LINE_PAST:
        assert told.day[0] <= span
    else:
        assert np.isnan([told.day[0], told.earliest[0], told.latest[0]]).all()
        assert span <= told.not_before[0] <= horizon
    assert (kind == CrossingKind.NOT_APPROACHING) == (towards[1] <= 0 and kind != CrossingKind.LINE_PAST)


def test_rising_and_falling_limits_mirror_each_other():
    fit = _fit_of(0.01, 0.006, 0.02, 75.0, 12.0)
    mirrored = _fit_of(-0.01, -0.02, -0.006, 75.0, -12.0)
    up, down = crossing_many(fit, 13.2, 0, 150), crossing_many(mirrored, -13.2, 0, 150, falling=True)
    assert up.kind[0] == CrossingKind.DATED
    for name, ours, theirs in zip(Crossing._fields, up, down, strict=True):
        np.testing.assert_allclose(ours, theirs, err_msg=name)


def test_no_fit_gives_no_crossing():
    told = crossing_many(theil_sen([5, 5], [12, 13]), 14.0, 5, 5)
    assert told.kind[0] == CrossingKind.NO_FIT
    assert np.isnan([v[0] for v in told[1:]]).all()


def _fit_of(slope, low, high, at, value) -> TrendFit:
    columns = (slope, low, high, value - slope * at, at, value)
    return TrendFit(*(np.array([float(c)]) for c in columns))


@pytest.mark.parametrize(
    "call",
    [
        lambda: theil_sen([0, 1], [1.0]),
        lambda: theil_sen([0, np.nan], [1.0, 2.0]),
        lambda: theil_sen([0, 1], [1.0, 2.0], confidence_frac=1.0),
        lambda: theil_sen_many([0, 1], [1.0, 2.0], [0, 1]),
        lambda: theil_sen_many([0, 1], [1.0, 2.0], [0, 2, 1, 2]),
        lambda: mann_kendall([1.0, np.inf]),
        lambda: individuals_limits([1.0]),
        lambda: offsets_of([2, -1]),
    ],
)
def test_nonsense_is_refused(call):
    with pytest.raises(ValueError, match=r"\w"):
        call()


def test_empty_and_single_groups_have_no_line_and_no_trend():
    fit, test = theil_sen_many([3.0], [1.0], [0, 0, 1]), mann_kendall_many([1.0], [0, 0, 1])
    assert np.isnan(fit.slope).all()
    assert test.p_rise.tolist() == [1.0, 1.0]
