"""Interval of a median and sign test, against printed tables and scipy."""

from typing import cast

import numpy as np
import pytest
from scipy import stats

from shared.planning.trends import chance_of_signs, median_interval


@pytest.mark.parametrize(
    ("n", "rank", "coverage"),
    [(6, 1, 0.9688), (7, 1, 0.9844), (8, 1, 0.9922), (9, 2, 0.9609), (10, 2, 0.9785), (15, 4, 0.9648),
     (20, 6, 0.9586), (25, 8, 0.9567)],
)  # fmt: skip
def test_ranks_and_coverage_of_the_printed_table(n, rank, coverage):
    """Interval of the median at 95 %: the ranks and exact coverages of the usual table (Hahn and Meeker, Statistical
    Intervals, distribution-free intervals; from memory, and recomputed from the binomial distribution)."""
    told = median_interval(np.arange(1.0, n + 1), 0.95)
    assert (told.low, told.high) == (rank, n + 1 - rank)
    assert told.coverage_frac == pytest.approx(coverage, abs=5e-5)


@pytest.mark.parametrize("n", [6, 9, 12, 17, 30, 41])
@pytest.mark.parametrize("confidence", [0.8, 0.9, 0.95, 0.99])
def test_never_less_than_scipy_s_one_sided_ends(n, confidence):
    """scipy.stats.quantile_test: each end at (1 + confidence)/2 one-sided is one end of ours."""
    x = np.random.default_rng(n).normal(size=n)
    told = median_interval(x, confidence)
    if told.coverage_frac < confidence:
        return
    one_sided = (1 + confidence) / 2
    # The stubs take the interval for a number.
    (low, _), (_, high) = (
        cast(
            "tuple[float, float]",
            stats.quantile_test(x, p=0.5, alternative=side).confidence_interval(one_sided),
        )
        for side in ("greater", "less")
    )
    assert (told.low, told.high) == (low, high)


def test_sign_test_equals_scipy_binomtest():
    for n in range(25):
        for above in range(n + 1):
            theirs = stats.binomtest(above, n, 0.5, alternative="greater").pvalue if n else 1.0
            assert chance_of_signs(above, n - above) == pytest.approx(theirs, rel=1e-12)


def test_an_interval_holds_the_median_as_often_as_it_says():
    """4000 samples of eight from a skewed distribution whose median is known."""
    chance = np.random.default_rng(8)
    told = [median_interval(row) for row in chance.exponential(size=(4000, 8))]
    held = np.mean([one.low <= np.log(2) <= one.high for one in told])
    assert held == pytest.approx(told[0].coverage_frac, abs=0.006)
