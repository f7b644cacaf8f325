"""When a trend meets a limit: a date with an interval, or an honest 'not before'."""

from enum import IntEnum
from typing import NamedTuple

import numpy as np
from numpy.typing import ArrayLike, NDArray

from shared.planning.trends.ragged import FloatArray
from shared.planning.trends.theil_sen import TrendFit

HORIZON_SPANS = 0.5


class CrossingKind(IntEnum):
    """What can be said about the day a fitted line meets a limit."""

    NO_FIT = 0
    LINE_PAST = 1
    DATED = 2
    NOT_BEFORE = 3
    NOT_APPROACHING = 4


class Crossing(NamedTuple):
    """When each line meets its limit; NaN where nothing may be said."""

    kind: NDArray[np.int64]
    day: FloatArray
    earliest: FloatArray
    latest: FloatArray
    not_before: FloatArray
    horizon: FloatArray


def crossing_many(
    fit: TrendFit,
    limit: ArrayLike,
    first_day: ArrayLike,
    last_day: ArrayLike,
    *,
    falling: bool = False,
    horizon_spans: float = HORIZON_SPANS,
) -> Crossing:
    """Say when each fitted line meets its limit, never looking further ahead than the readings allow.

    Parameters
    ----------
    fit : TrendFit of arrays, shape (g,) [value, d]
    limit : array_like [value], shape (g,) or scalar
    first_day, last_day : array_like [d], shape (g,), first and last reading of each group
    falling : bool, True when the limit lies below (capacity) and not above (resistance)
    horizon_spans : float [1], how many observed spans past the last reading may be spoken of

    Returns
    -------
    Crossing of arrays, shape (g,): kind; day, earliest, latest, not_before, horizon [d]

    * LINE_PAST: the line (not the readings) is at the limit by the last reading; ``day`` is when. Readings
      that have flattened out may still lie on the near side: judge by them.
    * DATED: ``day`` within the horizon and the whole slope interval points at the limit. ``latest`` is NaN
      when it lies past the horizon ("or later").
    * NOT_BEFORE: no date, only ``not_before``: the slope interval allows no movement, or the line meets the
      limit past the horizon. It never exceeds the horizon.
    * NOT_APPROACHING: the whole slope interval is level or points away; ``not_before`` is the horizon.
    * NO_FIT: fewer than two different days.

    Errors
    ------
    none; NaN in the fit gives NO_FIT.

    Validity: a straight line. The interval leaves out the error of the model, and batteries fall off a knee
    near the end of life: refit at every reading and say "at the latest trend". For NASA cell B0005 intervals
    from 40, 60 and 80 cycles all missed the true day, hence the horizon of half the observed span.

    Source: t* = (limit - a)/b; interval through the medians with the slope limits of Sen (1968). The horizon
    is our own choice, from the public NASA cells.

    >>> import numpy as np
    >>> from shared.planning.trends.theil_sen import theil_sen
    >>> day = [0, 14, 30, 61, 92, 120, 150]
    >>> fit = theil_sen(day, [12.0, 12.3, 12.1, 12.9, 13.2, 13.1, 13.9])
    >>> told = crossing_many(fit, 14.4, 0, 150)
    >>> CrossingKind(told.kind[0]).name, round(float(told.day[0]), 1), round(float(told.earliest[0]), 1)
    ('DATED', 188.5, 150.0)
    >>> CrossingKind(crossing_many(fit, 15.0, 0, 150).kind[0]).name
    'NOT_BEFORE'
    """
    sign = -1.0 if falling else 1.0
    slope = sign * fit.slope
    slow, fast = (-fit.high, -fit.low) if falling else (fit.low, fit.high)
    last = np.broadcast_to(np.asarray(last_day, dtype=np.float64), slope.shape)
    horizon = last + horizon_spans * (last - np.asarray(first_day, dtype=np.float64))
    gap = sign * (np.asarray(limit, dtype=np.float64) - fit.median_value)
    on_line, soonest, slowest = (_meets(fit.median_time, gap, b) for b in (slope, fast, slow))
    kind = _kind(gap - slope * (last - fit.median_time), on_line, slow, fast, horizon)
    dated, past = kind == CrossingKind.DATED, kind == CrossingKind.LINE_PAST
    held_back = (kind == CrossingKind.NOT_BEFORE) | (kind == CrossingKind.NOT_APPROACHING)
    earliest = np.maximum(soonest, last)
    return Crossing(
        kind,
        np.where((dated | past) & np.isfinite(on_line), on_line, np.nan),
        np.where(dated, earliest, np.nan),
        np.where(dated & (slowest <= horizon), slowest, np.nan),
        np.where(held_back, np.minimum(earliest, horizon), np.nan),
        np.where(kind == CrossingKind.NO_FIT, np.nan, horizon),
    )


def line_crossing(
    median_time: ArrayLike, median_value: ArrayLike, slope: ArrayLike, limit: ArrayLike
) -> FloatArray:
    """Give the bare day on which a line through the medians meets a limit, however far off.

    Parameters
    ----------
    median_time : array_like [d]
    median_value, limit : array_like [value]
    slope : array_like [value/d]

    Returns
    -------
    array [d]; infinite where the line does not approach a higher limit

    Errors
    ------
    none

    Validity: arithmetic only; what may be told to a person is decided by ``crossing_many``.

    Source: t = t_m + (limit - y_m)/b.

    >>> round(float(line_crossing(61, 12.9, 0.0177419, 15.0)), 1)
    179.4
    """
    gap = np.asarray(limit, dtype=np.float64) - np.asarray(median_value, dtype=np.float64)
    return _meets(np.asarray(median_time, dtype=np.float64), gap, np.asarray(slope, dtype=np.float64))


def _meets(at: FloatArray, gap: FloatArray, slope: FloatArray) -> FloatArray:
    """Day on which a line has climbed by ``gap`` since day ``at``; infinite when it does not climb."""
    climbs = slope > 0
    # A slope so small that the division overflows climbs in no lifetime: infinite is right.
    with np.errstate(over="ignore"):
        day = at + gap / np.where(climbs, slope, 1.0)
    return np.asarray(np.where(climbs, day, np.inf), dtype=np.float64)


def _kind(
    left: FloatArray, on_line: FloatArray, slow: FloatArray, fast: FloatArray, horizon: FloatArray
) -> NDArray[np.int64]:
    """Sort each group into a CrossingKind; ``left`` is what the line still lacks at the last reading."""
    return np.select(
        [np.isnan(left) | np.isnan(slow), left <= 0, fast <= 0, (slow <= 0) | (on_line > horizon)],
        [CrossingKind.NO_FIT, CrossingKind.LINE_PAST, CrossingKind.NOT_APPROACHING, CrossingKind.NOT_BEFORE],
        default=CrossingKind.DATED,
    ).astype(np.int64)
