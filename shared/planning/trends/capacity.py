"""The verdict from capacity tests, and from age and use."""

from enum import IntEnum
from typing import NamedTuple

import numpy as np
from numpy.typing import ArrayLike

from shared.planning.trends.judge import BatteryState
from shared.planning.trends.policy import DEFAULT_POLICY, BatteryPolicy
from shared.planning.trends.ragged import FloatArray, IntArray


class CapacityDoubt(IntEnum):
    """Why a capacity test cannot be judged; NONE when it can."""

    NONE = 0
    NO_RATED_RATE = 1
    OTHER_END_VOLTAGE = 2
    TOO_WARM_OR_COLD = 3


class CapacityVerdict(NamedTuple):
    """One row per test; state is FIT, WATCH, RETIRE, or NO_BASELINE when ``doubt`` is not NONE."""

    state: IntArray
    doubt: IntArray
    rated_hours: FloatArray
    rated_ah: FloatArray
    corrected_ah: FloatArray
    fraction: FloatArray


def judge_capacity(
    tested_ah: ArrayLike,
    current_a: ArrayLike,
    rated_hours: ArrayLike,
    rated_ah: ArrayLike,
    *,
    end_voltage_v: ArrayLike | None = None,
    rated_end_voltage_v: ArrayLike | None = None,
    temperature_c: ArrayLike | None = None,
    policy: BatteryPolicy = DEFAULT_POLICY,
) -> CapacityVerdict:
    """Compare each capacity test with the rated capacity at the same rate.

    Parameters
    ----------
    tested_ah : array_like [Ah], shape (t,)
    current_a : array_like [A], shape (t,), constant discharge current
    rated_hours, rated_ah : array_like [h], [Ah], shape (t, k) or (k,), the model's rated points; NaN pads
        short rows
    end_voltage_v : array_like [V], shape (t,), where the test stopped; NaN not recorded
    rated_end_voltage_v : array_like [V], like rated_ah; NaN not stated
    temperature_c : array_like [C], shape (t,); NaN not recorded (then no correction)
    policy : BatteryPolicy

    Returns
    -------
    CapacityVerdict of arrays, shape (t,): state; doubt; rated_hours [h] and rated_ah [Ah] of the rate
    matched; corrected_ah [Ah] at 25 C; fraction [1] of rated

    Errors
    ------
    ValueError : a test that is not positive.

    Validity: only where the test current is within ``rate_tolerance_frac`` of a rated current (rated Ah /
    hours), the end voltage agrees and the test was at 15-30 C; else "cannot judge". No conversion between
    rates: the Peukert exponent of one 20 Ah block runs from 1.19 to 1.58 over its own table.

    Source: 80 and 90 % limits as in IEEE 450/1188 (secondary). C25 = Ct/(1 + k(t - 25)), k = 0.006/C at 10 h
    and slower, 0.01/C at 3 h and faster (a maker's applications page; between them interpolated by us).

    >>> told = judge_capacity([15.5, 9.0], [1.94, 20.0], [20, 10, 5], [20.6, 19.4, 16.6])
    >>> [BatteryState(code).name for code in told.state], round(float(told.fraction[0]), 3)
    (['RETIRE', 'NO_BASELINE'], 0.799)
    """
    tested, current = (np.atleast_1d(np.asarray(v, dtype=np.float64)) for v in (tested_ah, current_a))
    if not ((tested > 0) & (current > 0)).all():
        raise ValueError("tested capacity and current must be greater than 0")
    shape = (tested.size, np.shape(rated_ah)[-1])
    hours, ah, end = (_table(v, shape) for v in (rated_hours, rated_ah, rated_end_voltage_v))
    stopped, temperature = (_table(v, (tested.size,)) for v in (end_voltage_v, temperature_c))
    off = np.abs(current[:, None] / (ah / hours) - 1)
    best = np.argmin(np.where(np.isnan(off), np.inf, off), axis=1)
    at = (np.arange(tested.size), best)
    corrected = tested / (1 + _per_degree(hours[at]) * np.nan_to_num(temperature - 25))
    doubt = np.select(
        [
            ~(off[at] <= policy.rate_tolerance_frac + 1e-9),
            np.abs(stopped - end[at]) > policy.end_voltage_tolerance_v + 1e-9,
            (temperature < policy.low_temperature_c) | (temperature > policy.high_temperature_c),
        ],
        list(CapacityDoubt)[1:],
        default=CapacityDoubt.NONE,
    ).astype(np.int64)
    fraction = np.where(doubt == CapacityDoubt.NONE, corrected / ah[at], np.nan)
    state = np.select(
        [
            np.isnan(fraction),
            fraction < policy.retire_capacity_frac - 1e-9,
            fraction < policy.watch_capacity_frac - 1e-9,
        ],
        [BatteryState.NO_BASELINE, BatteryState.RETIRE, BatteryState.WATCH],
        default=BatteryState.FIT,
    ).astype(np.int64)
    return CapacityVerdict(state, doubt, hours[at], ah[at], corrected, fraction)


def judge_use(age_d: ArrayLike, cycles: ArrayLike, policy: BatteryPolicy = DEFAULT_POLICY) -> IntArray:
    """Say which batteries are old or much used; age and use alone never retire one.

    Parameters
    ----------
    age_d : array_like [d], NaN not known
    cycles : array_like [1], NaN not known
    policy : BatteryPolicy

    Returns
    -------
    array of int: WATCH past either limit, NO_BASELINE when neither is known, else FIT

    Errors
    ------
    none

    Validity: a hint to test sooner, not a measurement.

    Source: limits as named in ``BatteryPolicy``.

    >>> [BatteryState(code).name for code in judge_use([1200, 100, float("nan")], [10, 20, float("nan")])]
    ['WATCH', 'FIT', 'NO_BASELINE']
    """
    age, used = np.broadcast_arrays(np.asarray(age_d, dtype=np.float64), np.asarray(cycles, dtype=np.float64))
    watch = (age >= policy.watch_age_d) | (used >= policy.watch_cycles)
    unknown = np.isnan(age) & np.isnan(used)
    return np.select(
        [watch, unknown], [BatteryState.WATCH, BatteryState.NO_BASELINE], BatteryState.FIT
    ).astype(np.int64)


def _table(values: ArrayLike | None, shape: tuple[int, ...]) -> FloatArray:
    return np.broadcast_to(np.asarray(np.nan if values is None else values, dtype=np.float64), shape)


def _per_degree(hours: FloatArray) -> FloatArray:
    """Capacity change per degree [1/C] at a discharge of that many hours."""
    return np.asarray(np.interp(hours, [3.0, 10.0], [0.01, 0.006]), dtype=np.float64)
