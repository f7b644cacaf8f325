"""The array conventions every kernel function shares: number types and the three-valued verdict.

Inputs are floats or numpy arrays and broadcast against each other; results have the broadcast shape (a numpy
scalar for scalar inputs, so `float(...)` is always safe on them). NaN means "not known": a NaN input, or one
that makes no physical sense (a negative length), gives NaN out instead of stopping all other circuits.
"""

from enum import IntEnum
from typing import TypeAlias

import numpy as np
import numpy.typing as npt

__all__ = ["BoolArray", "FloatArray", "IntArray", "Number", "Verdict", "at_least", "at_most", "known"]

FloatArray: TypeAlias = npt.NDArray[np.float64]
IntArray: TypeAlias = npt.NDArray[np.int8]
BoolArray: TypeAlias = npt.NDArray[np.bool_]
Number: TypeAlias = float | FloatArray


class Verdict(IntEnum):
    """What a check found, as stored in the int8 arrays that the checks return."""

    UNKNOWN = -1
    FAILS = 0
    HOLDS = 1


def known(value: Number, *, zero_ok: bool = True) -> FloatArray:
    """Turn a physical quantity into a float array with impossible entries replaced by NaN.

    Parameters:
        value: float or array [any unit], a quantity that cannot be negative.
        zero_ok: bool [-], whether zero is a possible value.
    Returns:
        Array [same unit] with NaN where the input was negative, NaN or (unless `zero_ok`) zero.
    Errors: none.
    Validity: any real input.
    Source: common practice, no source.

    >>> known(np.array([2.0, 0.0, -1.0])).tolist()
    [2.0, 0.0, nan]
    >>> known(np.array([2.0, 0.0]), zero_ok=False).tolist()
    [2.0, nan]
    """
    array = np.asarray(value, dtype=np.float64)
    return np.where(array >= 0.0 if zero_ok else array > 0.0, array, np.nan)


# A limit computed from logarithms may miss the value it equals by a few last bits.
_SLACK = 1e-9


def at_most(value: Number, limit: Number) -> IntArray:
    """Judge value <= limit in three values, so that a missing figure is never read as a pass.

    Parameters:
        value: float or array [any unit].
        limit: float or array [same unit as value].
    Returns:
        int8 array [-] of `Verdict`: HOLDS (1), FAILS (0), UNKNOWN (-1) where either input is NaN.
    Errors: none.
    Validity: equality holds, within one part in 1e9 of the limit.
    Source: common practice, no source.

    >>> at_most(np.array([40.0, 50.0, np.nan]), 45.0).tolist()
    [1, 0, -1]
    """
    left, right = np.asarray(value, dtype=np.float64), np.asarray(limit, dtype=np.float64)
    holds = left <= np.where(np.isinf(right), right, right + np.abs(right) * _SLACK)
    unknown = np.isnan(left) | np.isnan(right)
    return np.where(unknown, np.int8(Verdict.UNKNOWN), holds.astype(np.int8))


def at_least(value: Number, limit: Number) -> IntArray:
    """Judge value >= limit in three values.

    Parameters:
        value: float or array [any unit].
        limit: float or array [same unit as value].
    Returns:
        int8 array [-] of `Verdict`, as `at_most`.
    Errors: none.
    Validity: equality holds, within one part in 1e9.
    Source: common practice, no source.

    >>> at_least(np.array([1500.0, 500.0]), 900.0).tolist()
    [1, 0]
    """
    return at_most(limit, value)
