"""Theil-Sen slope with the rank-based interval of Sen (1968), for many groups at once."""

from statistics import NormalDist
from typing import NamedTuple

import numpy as np
from numpy.typing import ArrayLike

from shared.planning.trends.ragged import (
    FloatArray,
    IntArray,
    as_float,
    batches,
    checked_offsets,
    pair_differences,
    tie_correction,
)


class TrendFit(NamedTuple):
    """Fitted lines, one row per group; NaN where a group has no two different times."""

    slope: FloatArray
    low: FloatArray
    high: FloatArray
    intercept: FloatArray
    median_time: FloatArray
    median_value: FloatArray


def theil_sen_many(
    times: ArrayLike, values: ArrayLike, group_offsets: ArrayLike, confidence_frac: float = 0.95
) -> TrendFit:
    """Fit a Theil-Sen line to every group: slope = median of the slopes of all pairs.

    Parameters
    ----------
    times : array_like [d] (or any unit of time), shape (n,), in any order
    values : array_like [any unit], shape (n,)
    group_offsets : array_like of int, shape (g + 1,); group k is ``times[offsets[k]:offsets[k + 1]]``
    confidence_frac : float [1], two-sided confidence of the slope interval

    Returns
    -------
    TrendFit of arrays, shape (g,): slope, low, high [value/time], intercept [value] at time 0,
    median_time [time], median_value [value]. The intercept is median(value) - slope x median(time).

    Errors
    ------
    ValueError : lengths differ, a number is not finite, offsets are wrong, confidence is outside (0, 1).

    Validity: two or more different times per group, else NaN; pairs at one time are dropped. About 29 % of
    the readings may be wild without moving the slope far. The interval is for the slope, not for a future
    reading.

    Source: Theil (1950); Sen, J. Am. Stat. Assoc. 63 (1968) 1379-1389, eq. 2.6; intercept as in Conover,
    Practical Nonparametric Statistics, 2nd ed., p. 493.

    >>> fit = theil_sen_many([0, 1, 2, 3], [5.0, 7.0, 9.0, 30.0], [0, 4])
    >>> fit.slope.round(4).tolist(), fit.intercept.round(4).tolist()
    ([5.1667], [0.25])
    """
    t, y = as_float(times), as_float(values)
    if t.size != y.size:
        raise ValueError("times and values must have the same length")
    if not 0 < confidence_frac < 1:
        raise ValueError("confidence must lie between 0 and 1")
    offsets = checked_offsets(group_offsets, t.size)
    result = np.full((6, offsets.size - 1), np.nan)
    z = -NormalDist().inv_cdf((1 - confidence_frac) / 2)
    for who, where in batches(offsets):
        result[:, who] = _fit_batch(t[where], y[where], z)
    return TrendFit(*result)


def theil_sen(times: ArrayLike, values: ArrayLike, confidence_frac: float = 0.95) -> TrendFit:
    """Fit one Theil-Sen line; the many-group function with a single group.

    Parameters
    ----------
    times : array_like [d] (or any unit of time), shape (n,)
    values : array_like [any unit], shape (n,)
    confidence_frac : float [1], two-sided confidence of the slope interval

    Returns
    -------
    TrendFit of arrays of shape (1,), units as in ``theil_sen_many``

    Errors
    ------
    ValueError : as ``theil_sen_many``.

    Validity: as ``theil_sen_many``.

    Source: as ``theil_sen_many``.

    >>> theil_sen([0, 10, 20], [12.0, 12.5, 13.0]).slope.tolist()
    [0.05]
    """
    return theil_sen_many(times, values, [0, np.size(times)], confidence_frac)


def _fit_batch(t: FloatArray, y: FloatArray, z: float) -> FloatArray:
    """Fit equal-sized groups, shape (b, n); returns the six TrendFit rows, shape (6, b)."""
    order = np.argsort(t, axis=1, kind="stable")
    t, y = np.take_along_axis(t, order, axis=1), np.take_along_axis(y, order, axis=1)
    slopes, pairs = _sorted_slopes(t, y)
    median_t, median_y = np.median(t, axis=1), np.median(y, axis=1)
    slope = (_pick(slopes, (pairs - 1) // 2, pairs) + _pick(slopes, pairs // 2, pairs)) / 2
    n = t.shape[1]
    ties = tie_correction(t) + tie_correction(np.sort(y, axis=1))
    variance = 1 / 18.0 * (n * (n - 1) * (2 * n + 5) - ties)
    # Ties in time and in value can push the variance below zero: then there is no interval to state.
    pairs_for_interval = np.where(variance < 0, 0, pairs)
    sigma = np.sqrt(np.maximum(variance, 0.0))
    upper = np.minimum(np.round((pairs + z * sigma) / 2).astype(np.int64), pairs - 1)
    lower = np.maximum(np.round((pairs - z * sigma) / 2).astype(np.int64) - 1, 0)
    low, high = (_pick(slopes, rank, pairs_for_interval) for rank in (lower, upper))
    return np.stack([slope, low, high, median_y - slope * median_t, median_t, median_y])


def _sorted_slopes(t: FloatArray, y: FloatArray) -> tuple[FloatArray, IntArray]:
    """Slopes of all pairs, ascending, and how many are real; pairs at one time become +inf at the end."""
    dt, slopes = pair_differences(t), pair_differences(y)
    apart = dt > 0
    if apart.all():
        np.divide(slopes, dt, out=slopes)
        pairs = np.full(t.shape[0], dt.shape[1], dtype=np.int64)
    else:
        slopes = np.where(apart, slopes / np.where(apart, dt, 1.0), np.inf)
        pairs = apart.sum(axis=1, dtype=np.int64)
    slopes.sort(axis=1)
    return slopes, pairs


def _pick(slopes: FloatArray, index: IntArray, pairs: IntArray) -> FloatArray:
    """The slope of that rank in each row, NaN where the row has no pair."""
    if slopes.shape[1] == 0:
        return np.full(slopes.shape[0], np.nan)
    safe = np.clip(index, 0, slopes.shape[1] - 1)
    picked = np.take_along_axis(slopes, safe[:, None], axis=1)[:, 0]
    return np.where(pairs > 0, picked, np.nan)
