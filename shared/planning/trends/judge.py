"""The verdict on each battery from its resistance readings."""

from dataclasses import dataclass
from enum import IntEnum

import numpy as np

from shared.planning.trends.comparable import LeftOut, Readings, Series, comparable_series, left_out
from shared.planning.trends.crossing import Crossing, crossing_many
from shared.planning.trends.mann_kendall import mann_kendall_many
from shared.planning.trends.policy import DEFAULT_POLICY, BatteryPolicy
from shared.planning.trends.ragged import BoolArray, FloatArray, IntArray, members_of
from shared.planning.trends.theil_sen import TrendFit, theil_sen_many


class BatteryState(IntEnum):
    """Verdict on a battery; below 0 = cannot judge, above 0 = worse the larger."""

    NO_READINGS = -4
    NONE_COMPARABLE = -3
    NO_BASELINE = -2
    TOO_FEW_READINGS = -1
    FIT = 0
    WATCH = 1
    PRACTICE_ONLY = 2
    RETIRE = 3


@dataclass(frozen=True)
class Judgement:
    """One row per battery (shape (b,)) unless said otherwise; NaN where there is nothing to state.

    state : BatteryState codes; series : the series that decided, -1 for none; n_logged, n_comparable :
        readings in
    all, and usable ones in any series; n : days with a reading in the deciding series; first_day, last_day
    [d]; baseline_mohm, latest_mohm (newest reading), level_mohm (median of the newest three) [mOhm];
    rise_frac [1] = level over baseline, less 1; slope_mohm_per_d, slope_low, slope_high [mOhm/d]; p_value
    [1], one-sided; significant; large (rise at or past the watch limit); sudden, sudden_rise_frac [1] =
    newest over the reading before, less 1; limit_frac [1], limit_mohm [mOhm] = next limit above the level;
    crossing = Crossing of that
    limit; fit = TrendFit. reading_left_out : LeftOut codes, shape (n,); readings : the Series of all
        batteries.
    """

    state: IntArray
    series: IntArray
    n_logged: IntArray
    n_comparable: IntArray
    n: IntArray
    first_day: FloatArray
    last_day: FloatArray
    baseline_mohm: FloatArray
    latest_mohm: FloatArray
    level_mohm: FloatArray
    rise_frac: FloatArray
    slope_mohm_per_d: FloatArray
    slope_low: FloatArray
    slope_high: FloatArray
    p_value: FloatArray
    significant: BoolArray
    large: BoolArray
    sudden: BoolArray
    sudden_rise_frac: FloatArray
    limit_frac: FloatArray
    limit_mohm: FloatArray
    crossing: Crossing
    fit: TrendFit
    reading_left_out: IntArray
    readings: Series


def judge_batteries(
    readings: Readings,
    n_batteries: int,
    policy: BatteryPolicy = DEFAULT_POLICY,
    *,
    lines_of_all: bool = True,
) -> Judgement:
    """Judge every battery from its resistance readings, in a few array operations for a whole league.

    Parameters
    ----------
    readings : Readings; ``battery`` codes run from 0 to n_batteries - 1
    n_batteries : int, batteries with no reading included
    policy : BatteryPolicy
    lines_of_all : bool; False = line, interval and test only of the series whose rise is at or past the watch
        limit, NaN for the others. No state depends on theirs, and they take most of the time.

    Returns
    -------
    Judgement, one row per battery

    Errors
    ------
    ValueError : a battery code outside the range, columns of different length, negative codes.

    Validity: what leads to which state, for one series (one battery, method group, instrument):

    * no reading logged: NO_READINGS; none that is full, rested, warm and plausible: NONE_COMPARABLE; fewer
      than ``baseline_readings`` days: NO_BASELINE; fewer than ``min_readings``: TOO_FEW_READINGS. A missing
      baseline or a new instrument means "cannot judge", never "good"; no datasheet and no other battery
      stands in for it.
    * The rise is the median of the newest three readings over the median of the first three. Not the fitted
      line: it under-reads a knee near the end of life. Not the newest reading: one loose lug would decide.
    * RETIRE and PRACTICE_ONLY need both gates: the rise is past the limit *and* the exact Mann-Kendall test
      over all readings is significant. One battery in ten of a healthy pool is "significant" by chance at 5
      % in 40 % of reviews, so significance alone stays FIT, however small p.
    * A rise past any limit without significance is WATCH, not more: real enough to measure again, too little
      to throw a battery away.
    * ``sudden``: the newest reading is more than ``sudden_rise_frac`` above the one before, at most
      ``sudden_within_d`` days apart. Ageing is slow: check the lugs first, then measure again. It does not
      change the state, since the median of three does not follow one reading; the next reading settles it.
      It is taken from the series read last, whichever decides the state.

    Over several series the worst of WATCH and beyond decides: a new instrument, whose baseline is the worn
    battery, cannot wipe out what the old one showed. Otherwise the series with the newest reading decides,
    be it FIT or "cannot judge". Low resistance is no all-clear: capacity can fall while resistance stays
    flat.

    Source: limits as named in ``BatteryPolicy``; two gates: public NASA cells that rise significantly by 1-2
    %.

    >>> rows = Readings(battery=[0] * 6, day=[0, 20, 40, 60, 80, 100], soc_frac=[1.0] * 6,
    ...                 resistance_mohm=[12.0, 12.1, 12.4, 15.0, 16.2, 17.0])
    >>> told = judge_batteries(rows, 2)
    >>> [BatteryState(code).name for code in told.state], round(float(told.rise_frac[0]), 3)
    (['PRACTICE_ONLY', 'NO_READINGS'], 0.339)
    """
    battery = readings.codes("battery")
    if battery.size and battery.max() >= n_batteries:
        raise ValueError(f"battery codes must lie below {n_batteries}")
    reasons = left_out(readings, policy)
    use = reasons == LeftOut.USED
    series = comparable_series(readings, use)
    logged = np.bincount(battery, minlength=n_batteries)
    comparable = np.bincount(battery[use], minlength=n_batteries)
    found = _judge_series(series, policy, lines_of_all)
    adverse = np.where(found["state"] >= BatteryState.WATCH, found["state"], 0)
    chosen = _pick_series(series, adverse, n_batteries)
    rows = _spread(found, chosen, n_batteries)
    # A loose lug shows in whatever series was read last, also when an older one decides the state.
    newest = _pick_series(series, np.zeros_like(adverse), n_batteries)
    rows |= _spread({name: found[name] for name in ("sudden", "sudden_rise_frac")}, newest, n_batteries)
    rows["state"][chosen < 0] = np.where(logged > 0, BatteryState.NONE_COMPARABLE, BatteryState.NO_READINGS)[
        chosen < 0
    ]
    return _assemble(rows, chosen, logged, comparable, policy, reasons, series)


def _judge_series(series: Series, policy: BatteryPolicy, lines_of_all: bool) -> dict[str, np.ndarray]:
    """All figures of every series, as columns of shape (s,)."""
    n = np.diff(series.offsets)
    first, last = series.offsets[:-1], series.offsets[1:] - 1
    r, k = series.resistance_mohm, int(policy.baseline_readings)
    baseline, level = _edge_median(r, series.offsets, k), _edge_median(r, series.offsets, -k)
    level = np.where(n >= 2 * k, level, np.nan)
    rise = level / baseline - 1
    large = rise >= policy.watch_rise_frac - 1e-9
    fit, p_value = _lines(series, large | lines_of_all, policy)
    before = np.maximum(last - 1, first)
    sudden_rise = np.where(n >= 2, r[last] / r[before] - 1, np.nan)
    near = series.day[last] - series.day[before] <= policy.sudden_within_d
    return {
        "n": n, "first_day": series.day[first], "last_day": series.day[last], "latest_mohm": r[last],
        "baseline_mohm": baseline, "level_mohm": level, "rise_frac": rise, "p_value": p_value,
        "significant": p_value <= policy.alpha, "large": large,
        "sudden_rise_frac": sudden_rise, "sudden": near & (sudden_rise > policy.sudden_rise_frac + 1e-9),
        "state": _state(n, rise, p_value <= policy.alpha, policy),
        **{f"fit_{name}": column for name, column in fit._asdict().items()},
    }  # fmt: skip


def _lines(series: Series, wanted: BoolArray, policy: BatteryPolicy) -> tuple[TrendFit, FloatArray]:
    """Line and p value of the series wanted, NaN for the others."""
    which = np.flatnonzero(wanted)
    rows, offsets = members_of(series.offsets, which)
    day, mohm = series.day[rows], series.resistance_mohm[rows]
    lines = np.full((len(TrendFit._fields), wanted.size), np.nan)
    lines[:, which] = theil_sen_many(day, mohm, offsets, policy.confidence_frac)
    p_value = np.full(wanted.size, np.nan)
    p_value[which] = np.where(np.diff(offsets) >= 2, mann_kendall_many(mohm, offsets).p_rise, np.nan)
    return TrendFit(*lines), p_value


def _state(n: IntArray, rise: FloatArray, significant: BoolArray, policy: BatteryPolicy) -> IntArray:
    """The state of each series; 1e-9 of slack so that 13.0 over 10.0 is 30 %."""
    past = [rise >= limit - 1e-9 for limit in _limits(policy)]
    tests = [
        n < policy.baseline_readings,
        n < policy.min_readings,
        past[2] & significant,
        past[1] & significant,
        past[0],
    ]
    states = [
        BatteryState.NO_BASELINE,
        BatteryState.TOO_FEW_READINGS,
        BatteryState.RETIRE,
        BatteryState.PRACTICE_ONLY,
        BatteryState.WATCH,
    ]
    return np.select(tests, states, default=BatteryState.FIT).astype(np.int64)


def _limits(policy: BatteryPolicy) -> tuple[float, float, float]:
    return policy.watch_rise_frac, policy.practice_rise_frac, policy.retire_rise_frac


def _edge_median(values: FloatArray, offsets: IntArray, k: int) -> FloatArray:
    """Median of the first k (k > 0) or last -k (k < 0) values of each group, NaN where there are fewer."""
    enough = np.diff(offsets) >= abs(k)
    start = offsets[:-1][enough] if k > 0 else offsets[1:][enough] + k
    out = np.full(offsets.size - 1, np.nan)
    out[enough] = np.median(values[start[:, None] + np.arange(abs(k))], axis=1)
    return out


def _pick_series(series: Series, rank: IntArray, n_batteries: int) -> IntArray:
    """Each battery's series of the highest rank, among equals the one read last; -1 for none."""
    last_day = series.day[series.offsets[1:] - 1]
    # Later entries overwrite earlier ones, so the one wanted must come last.
    order = np.lexsort((last_day, rank))
    chosen = np.full(n_batteries, -1, dtype=np.int64)
    chosen[series.battery[order]] = order
    return chosen


def _spread(found: dict[str, np.ndarray], chosen: IntArray, n_batteries: int) -> dict[str, np.ndarray]:
    """Columns per series -> columns per battery, blank (NaN, 0, False) where no series decides."""
    rows: dict[str, np.ndarray] = {}
    has = chosen >= 0
    for name, column in found.items():
        blank = np.nan if column.dtype.kind == "f" else 0
        rows[name] = np.full(n_batteries, blank, dtype=column.dtype)
        rows[name][has] = column[chosen[has]]
    return rows


def _assemble(
    rows: dict[str, np.ndarray],
    chosen: IntArray,
    logged: IntArray,
    comparable: IntArray,
    policy: BatteryPolicy,
    reasons: IntArray,
    series: Series,
) -> Judgement:
    """Add the next limit and its crossing, and hand everything over."""
    fit = TrendFit(*(rows.pop(f"fit_{name}") for name in TrendFit._fields))
    judged = rows["state"] >= BatteryState.FIT
    limit_frac = np.full(judged.size, np.nan)
    for limit in reversed(_limits(policy)):
        limit_frac = np.where(judged & (rows["rise_frac"] < limit - 1e-9), limit, limit_frac)
    limit_mohm = rows["baseline_mohm"] * (1 + limit_frac)
    crossing = crossing_many(fit, limit_mohm, rows["first_day"], rows["last_day"])
    return Judgement(
        **rows,
        series=chosen,
        n_logged=logged,
        n_comparable=comparable,
        slope_mohm_per_d=fit.slope,
        slope_low=fit.low,
        slope_high=fit.high,
        limit_frac=limit_frac,
        limit_mohm=limit_mohm,
        crossing=crossing,
        fit=fit,
        reading_left_out=reasons,
        readings=series,
    )
