"""Trend arithmetic against general-purpose libraries: scipy and pymannkendall."""

import itertools

import numpy as np
import pymannkendall
import pytest
from scipy import stats

from shared.planning.trends import exact_p_rise, mann_kendall_many, null_counts, theil_sen_many
from shared.planning.trends.ragged import offsets_of


def ragged_world(seed: int, decimals: int | None):
    """Groups of 2 to 40 readings; rounding to ``decimals`` makes ties in value, whole days ties in time."""
    rng = np.random.default_rng(seed)
    counts = rng.integers(2, 41, 200)
    times = np.concatenate([np.sort(rng.uniform(0, 700, n)) for n in counts])
    values = 14 + times * 0.004 + rng.normal(0, 0.6, times.size)
    if decimals is not None:
        times, values = np.round(times / 20), np.round(values, decimals)
    return times, values, offsets_of(counts)


@pytest.mark.parametrize(("seed", "decimals"), [(1, None), (2, 1), (3, 0)])
@pytest.mark.parametrize("confidence", [0.95, 0.8])
def test_slopes_and_intervals_are_bit_equal_to_scipy(seed, decimals, confidence):
    """scipy.stats.theilslopes, one group at a time: not one bit may differ, ties or none."""
    times, values, offsets = ragged_world(seed, decimals)
    fit = theil_sen_many(times, values, offsets, confidence)
    compared = 0
    for g, (a, b) in enumerate(itertools.pairwise(offsets)):
        if np.unique(times[a:b]).size < 2:
            assert np.isnan(fit.slope[g])
            continue
        theirs = stats.theilslopes(values[a:b], times[a:b], confidence)
        ours = (fit.slope[g], fit.intercept[g], fit.low[g], fit.high[g])
        np.testing.assert_array_equal(ours, tuple(theirs))
        compared += 1
    assert compared > 150


@pytest.mark.parametrize(("seed", "decimals"), [(4, None), (5, 1), (6, 0)])
def test_mann_kendall_equals_pymannkendall(seed, decimals):
    """pymannkendall.original_test: S, variance, Z; beyond ten readings also p (theirs is two-sided)."""
    _, values, offsets = ragged_world(seed, decimals)
    told = mann_kendall_many(values, offsets)
    for g, (a, b) in enumerate(itertools.pairwise(offsets)):
        if np.unique(values[a:b]).size < 2:
            assert told.p_rise[g] == 1.0
            continue
        theirs = pymannkendall.original_test(values[a:b])
        assert told.s[g] == theirs.s
        assert told.variance[g] == pytest.approx(theirs.var_s)
        assert told.z[g] == pytest.approx(theirs.z)
        if b - a > 10:
            smaller_tail = min(told.p_rise[g], 1 - told.p_rise[g])
            assert 2 * smaller_tail == pytest.approx(theirs.p, abs=1e-9)


@pytest.mark.parametrize("n", range(2, 9))
def test_exact_chances_equal_scipy_kendalltau(n):
    """scipy.stats.kendalltau(method='exact', alternative='greater') against rank order, no ties."""
    rng = np.random.default_rng(n)
    for _ in range(20):
        y = rng.permutation(n)
        theirs = stats.kendalltau(np.arange(n), y, method="exact", alternative="greater").pvalue
        assert mann_kendall_many(y, [0, n]).p_rise[0] == pytest.approx(theirs, abs=1e-12)


@pytest.mark.parametrize(
    "values", [(1, 1, 2, 3, 4), (1, 1, 2, 2, 3, 3), (1, 1, 1, 2, 2, 5, 7), (4, 4, 4, 4, 1, 9)]
)
def test_exact_chances_with_ties_equal_full_enumeration(values):
    """Every order of the tied values counted one by one."""

    def s_of(order):
        return sum(np.sign(b - a) for a, b in itertools.combinations(order, 2))

    sizes = [values.count(v) for v in set(values)]
    all_s = np.array([s_of(order) for order in itertools.permutations(values)])
    for s in np.unique(all_s):
        assert exact_p_rise(int(s), sizes) == pytest.approx((all_s >= s).mean(), abs=1e-12)
    assert sum(null_counts(tuple(sorted(sizes)))) == len(set(itertools.permutations(values)))
