"""What a few values say of their median without asking how they scatter: its interval, and a sign test."""

import math
from typing import NamedTuple

import numpy as np
from numpy.typing import ArrayLike

from shared.planning.trends.ragged import as_float


class MedianInterval(NamedTuple):
    """Median with an interval, in the unit of the values, and how often such an interval holds the true one."""

    median: float
    low: float
    high: float
    coverage_frac: float


def median_interval(values: ArrayLike, confidence_frac: float = 0.95) -> MedianInterval:
    """Give the median and the narrowest interval between two values that holds it with this confidence.

    Parameters
    ----------
    values : array_like [any unit], shape (n,), in any order
    confidence_frac : float [1]

    Returns
    -------
    MedianInterval [same unit]; NaN throughout without a value. With so few values that even the smallest and
    the largest do not reach the confidence, these two, and ``coverage_frac`` [1] says what they do reach.

    Errors
    ------
    ValueError : a value is not finite, confidence is outside (0, 1).

    Validity: values independent of each other, of whatever distribution.

    Source: order statistics of the median, P(X(r) < m < X(n+1-r)) = 1 - 2 P(B < r), B binomial (n, 1/2);
    Conover, Practical Nonparametric Statistics, 3rd ed., section 3.2.

    >>> median_interval([9.0, 8.0, 10.0, 11.0, 12.0, 13.0]).low, median_interval([1.0, 2.0, 4.0]).coverage_frac
    (8.0, 0.75)
    """
    x = np.sort(as_float(values))
    if not 0 < confidence_frac < 1:
        raise ValueError("confidence must lie between 0 and 1")
    n = x.size
    if not n:
        return MedianInterval(math.nan, math.nan, math.nan, 0.0)
    rank, coverage = 1, 1 - 2 * 0.5**n
    # The r-th smallest and the r-th largest, r as large as the confidence allows.
    while rank + 1 <= n // 2 and (inner := coverage - 2 * math.comb(n, rank) * 0.5**n) >= confidence_frac:
        rank, coverage = rank + 1, inner
    return MedianInterval(float(np.median(x)), float(x[rank - 1]), float(x[n - rank]), max(coverage, 0.0))


def chance_of_signs(above: int, below: int) -> float:
    """Give the chance that at least so many of the values lie above, if each side were as likely.

    Parameters
    ----------
    above, below : int [values]; values that lie on the line count for neither

    Returns
    -------
    float [1], one-sided

    Errors
    ------
    ValueError : a negative count.

    Validity: values independent of each other.

    Source: sign test; Conover, Practical Nonparametric Statistics, 3rd ed., section 3.4.

    >>> chance_of_signs(5, 0), chance_of_signs(0, 0)
    (0.03125, 1.0)
    """
    if above < 0 or below < 0:
        raise ValueError("counts cannot be negative")
    n = above + below
    return float(sum(math.comb(n, k) for k in range(above, n + 1)) / 2**n)
