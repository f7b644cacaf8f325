"""Mann-Kendall test for a rise: exact for ten readings or fewer, ties included; normal beyond."""

import math
from collections.abc import Sequence
from functools import lru_cache
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

EXACT_UP_TO = 10


class TrendTest(NamedTuple):
    """Mann-Kendall results, one row per group."""

    s: IntArray
    variance: FloatArray
    z: FloatArray
    p_rise: FloatArray


def mann_kendall_many(values: ArrayLike, group_offsets: ArrayLike) -> TrendTest:
    """Test every group of time-ordered values for a rise.

    Parameters
    ----------
    values : array_like [any unit], shape (n,), in time order inside each group, one value per time
    group_offsets : array_like of int, shape (g + 1,)

    Returns
    -------
    TrendTest of arrays, shape (g,): s [1] = later-higher minus later-lower pairs; variance [1] of s without
    trend, ties allowed for; z [1] with continuity correction; p_rise [1], one-sided chance of such an s or a
    larger one without any trend

    Errors
    ------
    ValueError : a value is not finite or the offsets are wrong.

    Validity: readings independent of each other. Up to ten readings ``p_rise`` is exact, counted over all
    orders of the values *with their ties*; from eleven on it is the normal approximation. A group of 0 or 1,
    or one with all values equal, has p_rise 1. For a fall test the negated values.

    Source: Mann, Econometrica 13 (1945) 245-259; Kendall, Rank Correlation Methods (1975).

    >>> test = mann_kendall_many([12.0, 12.3, 12.1, 12.9, 13.2, 13.1, 13.9], [0, 7])
    >>> test.s.tolist(), round(float(test.p_rise[0]), 6)
    ([17], 0.005357)
    """
    y = as_float(values)
    offsets = checked_offsets(group_offsets, y.size)
    groups = offsets.size - 1
    s, variance, p_rise = np.zeros(groups, dtype=np.int64), np.zeros(groups), np.ones(groups)
    for who, where in batches(offsets):
        rows = y[where]
        ordered = np.sort(rows, axis=1)
        n = rows.shape[1]
        s[who] = _rises_less_falls(rows)
        variance[who] = (n * (n - 1) * (2 * n + 5) - tie_correction(ordered)) / 18
        if n <= EXACT_UP_TO:
            p_rise[who] = _exact_rows(s[who], ordered)
    z = _continuity_z(s, variance)
    beyond = np.diff(offsets) > EXACT_UP_TO
    p_rise[beyond] = np.where(variance[beyond] > 0, _upper_tail(z[beyond]), 1.0)
    return TrendTest(s, variance, z, p_rise)


def mann_kendall(values: ArrayLike) -> TrendTest:
    """Test one time-ordered series for a rise; the many-group function with a single group.

    Parameters
    ----------
    values : array_like [any unit], shape (n,), in time order

    Returns
    -------
    TrendTest of arrays of shape (1,), as ``mann_kendall_many``

    Errors
    ------
    ValueError : as ``mann_kendall_many``.

    Validity: as ``mann_kendall_many``.

    Source: as ``mann_kendall_many``.

    >>> float(mann_kendall([1, 2, 3, 4]).p_rise[0]) == 1 / 24
    True
    """
    return mann_kendall_many(values, [0, np.size(values)])


@lru_cache(maxsize=512)
def null_counts(tie_sizes: tuple[int, ...]) -> tuple[int, ...]:
    """Count the orders of a set of values by their number of inversions.

    Parameters
    ----------
    tie_sizes : tuple of int, how often each different value occurs; (1, 1, 1) for three different values

    Returns
    -------
    tuple of int; entry k = number of distinct orders with k inversions (later-lower pairs)

    Errors
    ------
    none

    Validity: sizes of 1 or more. Python integers, so no overflow.

    Source: the counts are the coefficients of the Gaussian multinomial coefficient
    [n]! / ([t1]! [t2]! ...) with [k] = 1 + q + ... + q^(k-1) (MacMahon, Combinatory Analysis, 1915).

    >>> null_counts((1, 1, 1))
    (1, 2, 2, 1)
    >>> null_counts((2, 1))
    (1, 1, 1)
    """
    counts = [1]
    for k in range(2, sum(tie_sizes) + 1):
        counts = _times_bracket(counts, k)
    for size in tie_sizes:
        for k in range(2, size + 1):
            counts = _over_bracket(counts, k)
    return tuple(counts)


def exact_p_rise(s: int, tie_sizes: Sequence[int]) -> float:
    """Give the exact one-sided chance of this Mann-Kendall S or a larger one when there is no trend.

    Parameters
    ----------
    s : int [1], rises minus falls over all pairs
    tie_sizes : sequence of int, how often each different value occurs, in any order

    Returns
    -------
    float [1] in (0, 1]

    Errors
    ------
    none

    Validity: any n; the work grows as n cubed.

    Source: Kendall, Rank Correlation Methods (1975), distribution of S; ties through ``null_counts``.

    >>> round(exact_p_rise(13, [1] * 7), 4)
    0.0345
    """
    counts = null_counts(tuple(sorted(tie_sizes)))
    untied_pairs = len(counts) - 1
    # S = untied pairs - 2 x inversions, so a large S means few inversions.
    most_inversions = (untied_pairs - s) // 2
    return sum(counts[: max(0, most_inversions + 1)]) / sum(counts)


def _times_bracket(counts: list[int], k: int) -> list[int]:
    """Multiply a polynomial by 1 + q + ... + q^(k-1)."""
    out = [0] * (len(counts) + k - 1)
    for i, c in enumerate(counts):
        for j in range(i, i + k):
            out[j] += c
    return out


def _over_bracket(counts: list[int], k: int) -> list[int]:
    """Divide a polynomial by 1 + q + ... + q^(k-1); the division leaves no rest."""
    out: list[int] = []
    for i in range(len(counts) - k + 1):
        out.append(counts[i] - sum(out[max(0, i - k + 1) : i]))
    return out


def _rises_less_falls(rows: FloatArray) -> IntArray:
    """Sum of signs over all pairs of each row, shape (b, n) -> (b,)."""
    steps = pair_differences(rows)
    return np.asarray(
        np.count_nonzero(steps > 0, axis=1) - np.count_nonzero(steps < 0, axis=1), dtype=np.int64
    )


def _exact_rows(s: IntArray, ordered: FloatArray) -> list[float]:
    """Exact p of each row, looked up by its pattern of ties."""
    n = ordered.shape[1]
    new = np.ones(ordered.shape, dtype=bool)
    new[:, 1:] = ordered[:, 1:] != ordered[:, :-1]
    pattern_code = new @ (1 << np.arange(n))
    keys, back = np.unique(np.stack([s, pattern_code]), axis=1, return_inverse=True)
    table = [exact_p_rise(int(k), _sizes(int(code), n)) for k, code in keys.T]
    return [table[i] for i in back.ravel()]


def _sizes(pattern_code: int, n: int) -> list[int]:
    """Run lengths from the bits that mark where a new value starts."""
    starts = [i for i in range(n) if pattern_code >> i & 1]
    return [b - a for a, b in zip(starts, [*starts[1:], n], strict=True)]


def _continuity_z(s: IntArray, variance: FloatArray) -> FloatArray:
    """Z = (S -/+ 1) / sd, and 0 where S is 0."""
    return np.where(s == 0, 0.0, (s - np.sign(s)) / np.sqrt(np.where(variance > 0, variance, 1.0)))


def _upper_tail(z: FloatArray) -> FloatArray:
    """Standard normal chance above z."""
    return np.array([0.5 * math.erfc(v / math.sqrt(2)) for v in z], dtype=np.float64)
