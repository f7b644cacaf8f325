"""Which resistance readings may stand in one trend, and which may not and why."""

from dataclasses import dataclass
from enum import IntEnum

import numpy as np
from numpy.typing import ArrayLike

from shared.planning.trends.policy import DEFAULT_POLICY, BatteryPolicy
from shared.planning.trends.ragged import BoolArray, FloatArray, IntArray, medians_of_runs


class LeftOut(IntEnum):
    """Why a reading cannot join a trend; USED when it can."""

    USED = 0
    IMPLAUSIBLE = 1
    CHARGE_UNKNOWN = 2
    NOT_FULL = 3
    TOO_WARM_OR_COLD = 4
    NOT_RESTED = 5
    BREAK_IN = 6


@dataclass(frozen=True, kw_only=True)
class Readings:
    """Resistance readings as flat columns of one length; NaN (or None for a whole column) = not recorded.

    battery, method_group, instrument : int codes, 0 or more; day [d] : any common origin;
    resistance_mohm [mOhm]; rest_voltage_v [V]; full_rest_voltage_v [V] = the battery model's "full" rest
    voltage, per reading; soc_frac [1]; temperature_c [C]; rest_h [h] since the charge; cycles [1] so far.
    """

    battery: ArrayLike
    day: ArrayLike
    resistance_mohm: ArrayLike
    method_group: ArrayLike | None = None
    instrument: ArrayLike | None = None
    rest_voltage_v: ArrayLike | None = None
    full_rest_voltage_v: ArrayLike | None = None
    soc_frac: ArrayLike | None = None
    temperature_c: ArrayLike | None = None
    rest_h: ArrayLike | None = None
    cycles: ArrayLike | None = None

    def column(self, name: str) -> FloatArray:
        """One measured column as floats, NaN where not recorded."""
        given = getattr(self, name)
        if given is None:
            return np.full(self.size, np.nan)
        column = np.asarray(given, dtype=np.float64).ravel()
        if column.size != self.size:
            raise ValueError(f"{name} must have one entry per reading")
        return column

    def codes(self, name: str) -> IntArray:
        """One column of codes as integers, 0 where not given."""
        given = getattr(self, name)
        column = np.asarray(np.zeros(self.size) if given is None else given, dtype=np.int64).ravel()
        if column.size != self.size or (column < 0).any():
            raise ValueError(f"{name} must have one code of 0 or more per reading")
        return column

    @property
    def size(self) -> int:
        """Number of readings."""
        return int(np.size(np.asarray(self.battery)))


@dataclass(frozen=True)
class Series:
    """Comparable readings in groups: one battery, one method group, one instrument; one value per day.

    battery, method_group, instrument : int, shape (s,); offsets : shape (s + 1,) into ``day`` [d] and
    ``resistance_mohm`` [mOhm]; of_reading : shape (n,), the series each reading went into, -1 for none.
    """

    battery: IntArray
    method_group: IntArray
    instrument: IntArray
    offsets: IntArray
    day: FloatArray
    resistance_mohm: FloatArray
    of_reading: IntArray


def left_out(readings: Readings, policy: BatteryPolicy = DEFAULT_POLICY) -> IntArray:
    """Say for each reading whether it may join a trend, and if not why.

    Parameters
    ----------
    readings : Readings, n rows
    policy : BatteryPolicy

    Returns
    -------
    array of int, shape (n,), ``LeftOut`` codes; the first reason that applies, in the order of the codes

    Errors
    ------
    ValueError : columns of different length.

    Validity: lead-acid blocks by rest voltage; without a rest voltage, or without a limit for the model
    (lithium, whose voltage is flat), the recorded state of charge decides. A measured voltage beats a stated
    charge: a green charger light is not "full". Temperature, rest and cycles gate only where they were
    recorded.

    Source: resistance rises by 30 % at half charge when tested with small pulses (Sulzer 2019 model, 17 Ah);
    limits as named in the policy.

    >>> rows = Readings(battery=[0, 0, 0], day=[0, 1, 2], resistance_mohm=[12, 12, 0.012],
    ...                 rest_voltage_v=[12.9, 12.5, 12.9], full_rest_voltage_v=[12.8] * 3)
    >>> [LeftOut(code).name for code in left_out(rows)]
    ['USED', 'NOT_FULL', 'IMPLAUSIBLE']
    """
    r, soc, temperature = (readings.column(c) for c in ("resistance_mohm", "soc_frac", "temperature_c"))
    spare_v = readings.column("rest_voltage_v") - readings.column("full_rest_voltage_v")
    by_voltage = ~np.isnan(spare_v)
    # Comparisons with NaN are False, so what was not recorded trips no gate. A millivolt of slack.
    tests = [
        ~((r >= policy.lowest_mohm) & (r <= policy.highest_mohm)),
        ~by_voltage & np.isnan(soc),
        np.where(by_voltage, spare_v < -0.001, soc < policy.full_soc_frac - 1e-9),
        (temperature < policy.low_temperature_c) | (temperature > policy.high_temperature_c),
        readings.column("rest_h") < policy.min_rest_h,
        readings.column("cycles") < policy.break_in_cycles,
    ]
    return np.select(tests, list(LeftOut)[1:], default=LeftOut.USED).astype(np.int64)


def comparable_series(readings: Readings, use: BoolArray) -> Series:
    """Group the usable readings into series and merge those of one day by their median.

    Parameters
    ----------
    readings : Readings, n rows, in any order
    use : array of bool, shape (n,), which readings may join (``left_out(...) == LeftOut.USED``)

    Returns
    -------
    Series, ordered by battery, method group, instrument; days ascending, whole, one value each

    Errors
    ------
    ValueError : columns of different length, negative codes, a used day or resistance that is not finite.

    Validity: repeats on one day are one piece of evidence, not several; a new instrument starts a new series.

    Source: order and repeats, Mann-Kendall assumes independent readings in time order; instruments and
    methods differ by a factor of 3 and more on one battery.

    >>> rows = Readings(battery=[0, 0, 0], day=[5, 1, 5], resistance_mohm=[13.0, 12.0, 14.0])
    >>> made = comparable_series(rows, np.array([True, True, True]))
    >>> made.day.tolist(), made.resistance_mohm.tolist()
    ([1.0, 5.0], [12.0, 13.5])
    """
    rows = np.flatnonzero(use)
    # Where every reading may join, as is usual, nothing is copied.
    used = slice(None) if rows.size == readings.size else rows
    day, mohm = np.floor(readings.column("day")[used]), readings.column("resistance_mohm")[used]
    if not (np.isfinite(day).all() and np.isfinite(mohm).all()):
        raise ValueError("a reading in a trend needs a finite day and resistance")
    names = ("battery", "method_group", "instrument")
    battery, method, instrument = (readings.codes(name)[used] for name in names)
    key = _one_key(battery, method, instrument)
    by_day = _one_key(key, day)
    if (by_day[1:] < by_day[:-1]).any():
        # One integer for series and day: sorting what is nearly sorted already costs next to nothing.
        order = np.argsort(by_day, kind="stable")
        rows, key, day, mohm = rows[order], key[order], day[order], mohm[order]
        battery, method, instrument = battery[order], method[order], instrument[order]
    new_series = _changes(key)
    new_day = new_series | _changes(day)
    day_starts = np.flatnonzero(new_day)
    starts = np.flatnonzero(new_series)
    of_reading = np.full(readings.size, -1, dtype=np.int64)
    of_reading[rows] = np.cumsum(new_series) - 1
    return Series(
        battery=battery[starts],
        method_group=method[starts],
        instrument=instrument[starts],
        offsets=np.append(np.searchsorted(day_starts, starts), day_starts.size).astype(np.int64),
        day=day[day_starts],
        resistance_mohm=medians_of_runs(_ascending_in_runs(mohm, new_day), np.append(day_starts, rows.size)),
        of_reading=of_reading,
    )


def _ascending_in_runs(values: FloatArray, starts: BoolArray) -> FloatArray:
    """Sort the values inside each run, touching only the few runs longer than one."""
    run = np.cumsum(starts) - 1
    repeated = np.flatnonzero(np.bincount(run, minlength=1)[run] > 1)
    out = values.copy()
    out[repeated] = values[repeated][np.lexsort((values[repeated], run[repeated]))]
    return out


def _one_key(*codes: IntArray | FloatArray) -> IntArray:
    """Fold several columns of whole numbers into one integer per row that sorts like the columns do."""
    key = np.zeros(codes[0].size, dtype=np.int64)
    if key.size == 0:
        return key
    largest = 0
    for column in codes:
        rank, ranks = column - column.min(), int(column.max() - column.min()) + 1
        if (largest + 1) * ranks > np.iinfo(np.int64).max:
            # Dense ranks keep the product small whatever the codes are (database ids, say).
            different, rank = np.unique(column, return_inverse=True)
            ranks = different.size
        key = key * ranks + rank.astype(np.int64)
        largest = (largest + 1) * ranks - 1
    return key


def _changes(sorted_keys: IntArray | FloatArray) -> BoolArray:
    """True where a row differs from the one before; the first row counts as a change."""
    changed = np.ones(sorted_keys.size, dtype=bool)
    changed[1:] = sorted_keys[1:] != sorted_keys[:-1]
    return changed
