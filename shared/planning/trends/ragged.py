"""Groups of unequal size held as flat arrays: row ``g`` is ``flat[offsets[g]:offsets[g + 1]]``."""

from collections.abc import Iterator

import numpy as np
from numpy.typing import ArrayLike, NDArray

FloatArray = NDArray[np.float64]
IntArray = NDArray[np.int64]
BoolArray = NDArray[np.bool_]

# 64 groups of 60 readings make 64 x 1,770 pairs = 0.9 MB of doubles, which stays in a second-level cache.
BATCH_GROUPS = 64


def as_float(values: ArrayLike) -> FloatArray:
    """Return the values as a flat float64 array, refusing anything that is not finite.

    Parameters
    ----------
    values : array_like [any unit], any shape

    Returns
    -------
    array of float64 [same unit], shape (n,)

    Errors
    ------
    ValueError : a value is NaN or infinite.

    Validity: every finite number.

    Source: our own convention; a NaN would silently sort to one end and become evidence.

    >>> as_float([1, 2]).tolist()
    [1.0, 2.0]
    """
    flat = np.asarray(values, dtype=np.float64).ravel()
    if not np.isfinite(flat).all():
        raise ValueError("every value must be a finite number")
    return flat


def offsets_of(counts: ArrayLike) -> IntArray:
    """Return the offsets of groups with these sizes.

    Parameters
    ----------
    counts : array_like of int [readings], shape (g,)

    Returns
    -------
    array of int [index], shape (g + 1,), first 0 and last the total

    Errors
    ------
    ValueError : a count is negative.

    Validity: any number of groups, empty groups included.

    Source: compressed-row storage, common practice.

    >>> offsets_of([2, 0, 3]).tolist()
    [0, 2, 2, 5]
    """
    sizes = np.asarray(counts, dtype=np.int64).ravel()
    if (sizes < 0).any():
        raise ValueError("a group cannot have fewer than 0 members")
    return np.concatenate([np.zeros(1, dtype=np.int64), np.cumsum(sizes)])


def checked_offsets(offsets: ArrayLike, total: int) -> IntArray:
    """Return the offsets as integers after checking that they cut ``total`` values into groups.

    Parameters
    ----------
    offsets : array_like of int [index], shape (g + 1,)
    total : int, number of values to be cut

    Returns
    -------
    array of int [index], shape (g + 1,)

    Errors
    ------
    ValueError : they do not run from 0 to ``total`` without falling.

    Validity: any number of groups.

    Source: our own convention.

    >>> checked_offsets([0, 2, 5], 5).tolist()
    [0, 2, 5]
    """
    cuts = np.asarray(offsets, dtype=np.int64).ravel()
    if cuts.size == 0 or cuts[0] != 0 or cuts[-1] != total or (np.diff(cuts) < 0).any():
        raise ValueError(f"group offsets must run from 0 to {total} without falling")
    return cuts


def members_of(offsets: IntArray, groups: IntArray) -> tuple[IntArray, IntArray]:
    """Return where the members of some groups stand, and the offsets that cut those into the groups.

    Parameters
    ----------
    offsets : array of int [index], shape (g + 1,)
    groups : array of int [index], shape (k,), the groups wanted

    Returns
    -------
    (indices into the flat arrays, shape (n,); offsets into these, shape (k + 1,))

    Errors
    ------
    none

    Validity: any offsets that ``checked_offsets`` accepts, empty groups included.

    Source: compressed-row storage, common practice.

    >>> [a.tolist() for a in members_of(offsets_of([2, 1, 3]), np.array([0, 2]))]
    [[0, 1, 3, 4, 5], [0, 2, 5]]
    """
    first = offsets[:-1][groups]
    cuts = offsets_of(offsets[1:][groups] - first)
    rows = np.arange(cuts[-1]) + np.repeat(first - cuts[:-1], np.diff(cuts))
    return rows.astype(np.int64), cuts


def batches(offsets: IntArray, size: int = BATCH_GROUPS) -> Iterator[tuple[IntArray, IntArray]]:
    """Yield groups of equal size together, as (group numbers, index matrix).

    Parameters
    ----------
    offsets : array of int [index], shape (g + 1,)
    size : int, most groups per batch

    Returns
    -------
    iterator of (group numbers, shape (b,); indices into the flat arrays, shape (b, n)); empty groups are
    left out

    Errors
    ------
    none

    Validity: any offsets that ``checked_offsets`` accepts.

    Source: the batch size was measured by ``tests/bench``; results do not depend on it.

    >>> [(who.tolist(), where.tolist()) for who, where in batches(offsets_of([2, 1, 2]))]
    [([1], [[2]]), ([0, 2], [[0, 1], [3, 4]])]
    """
    counts = np.diff(offsets)
    for n in np.unique(counts[counts > 0]):
        members = np.flatnonzero(counts == n)
        for start in range(0, members.size, size):
            who = members[start : start + size]
            yield who, offsets[who][:, None] + np.arange(n)


def pair_differences(rows: FloatArray) -> FloatArray:
    """Return later minus earlier for every pair of columns.

    Parameters
    ----------
    rows : array [any unit], shape (b, n)

    Returns
    -------
    array [same unit], shape (b, n (n - 1)/2), the same order of pairs in every row

    Errors
    ------
    none

    Validity: any rows. The sign is exact: two different floats never differ by 0.

    Source: definition. Filled slice by slice, which measured six times faster than two index arrays.

    >>> pair_differences(np.array([[1.0, 4.0, 2.0]])).tolist()
    [[3.0, 1.0, -2.0]]
    """
    b, n = rows.shape
    out = np.empty((b, n * (n - 1) // 2))
    start = 0
    for i in range(n - 1):
        stop = start + n - 1 - i
        np.subtract(rows[:, i + 1 :], rows[:, i : i + 1], out=out[:, start:stop])
        start = stop
    return out


def tie_correction(sorted_rows: FloatArray) -> IntArray:
    """Return the tie term sum t(t-1)(2t+5) over the runs of equal values in each sorted row.

    Parameters
    ----------
    sorted_rows : array [any unit], shape (b, n), each row ascending

    Returns
    -------
    array of int [1], shape (b,)

    Errors
    ------
    none

    Validity: rows in ascending order.

    Source: Kendall, Rank Correlation Methods (1975), variance of S with ties; Sen (1968) eq. 2.6.

    >>> tie_correction(np.array([[1.0, 1.0, 1.0, 2.0], [1.0, 2.0, 3.0, 4.0]])).tolist()
    [66, 0]
    """
    b, n = sorted_rows.shape
    same = np.zeros((b, n), dtype=bool)
    same[:, 1:] = sorted_rows[:, 1:] == sorted_rows[:, :-1]
    if not same.any():
        return np.zeros(b, dtype=np.int64)
    place = np.arange(n, dtype=np.int64)
    length = place - np.maximum.accumulate(np.where(same, 0, place), axis=1) + 1
    # t(t-1)(2t+5) telescopes over the places 1..t of a run, so no run has to be found and counted.
    step = length * (length - 1) * (2 * length + 5) - (length - 1) * (length - 2) * (2 * length + 3)
    return np.asarray(step.sum(axis=1), dtype=np.int64)


def medians_of_runs(values: FloatArray, offsets: IntArray) -> FloatArray:
    """Return the median of each group whose values are already ascending.

    Parameters
    ----------
    values : array [any unit], shape (n,), ascending inside each group
    offsets : array of int [index], shape (g + 1,), no group empty

    Returns
    -------
    array [same unit], shape (g,)

    Errors
    ------
    none

    Validity: groups of one or more.

    Source: definition of the median.

    >>> medians_of_runs(np.array([1.0, 3.0, 5.0, 7.0, 9.0]), offsets_of([2, 3])).tolist()
    [2.0, 7.0]
    """
    first, last = offsets[:-1], offsets[1:] - 1
    low, high = (first + last) // 2, (first + last + 1) // 2
    return np.asarray((values[low] + values[high]) / 2, dtype=np.float64)
