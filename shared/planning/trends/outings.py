"""What the outings of a battery say of it: how far its voltage sags against others in the same robot, and its charge.

A robot's log gives the lowest voltage of a match; nobody logs the current beside it. So one battery is compared with
the others that went out in the same robot: the same drivers, the same leads, the same loads. Where a simulated match
tells the current at the lowest moment, the sag is also told as a resistance.
"""

from collections.abc import Iterator
from dataclasses import dataclass
from enum import IntEnum
from typing import NamedTuple

import numpy as np
from numpy.typing import ArrayLike

from shared.planning.trends.policy import DEFAULT_POLICY, BatteryPolicy
from shared.planning.trends.ragged import BoolArray, FloatArray, IntArray
from shared.planning.trends.signs import chance_of_signs, median_interval


class OutingLeftOut(IntEnum):
    """Why an outing says nothing of the sag; USED when it does."""

    USED = 0
    NO_LOWEST = 1
    NO_REST = 2
    NOT_BELOW = 3
    NO_ROBOT = 4


class OutingDoubt(IntEnum):
    """Why the outings of a battery cannot be judged; NONE when they can."""

    NONE = 0
    NO_OUTINGS = 1
    NONE_USABLE = 2
    TOO_FEW = 3
    NO_OTHERS = 4


@dataclass(frozen=True, kw_only=True)
class Outings:
    """Outings as flat columns of one length; NaN = not noted.

    battery : int codes, 0 or more; place : int codes of what can be compared (one robot, match or practice), -1
    for none; start_rest_v, lowest_v [V]; full_rest_v [V] = a full battery's rest voltage; peak_a [A] = current at
    the lowest moment of a simulated match; source_mohm [mOhm] = the battery's resistance as measured;
    source_kind : int codes, how it was measured; only resistances of one kind are compared.
    """

    battery: ArrayLike
    place: ArrayLike
    start_rest_v: ArrayLike
    lowest_v: ArrayLike
    full_rest_v: ArrayLike
    peak_a: ArrayLike
    source_mohm: ArrayLike
    source_kind: ArrayLike

    def floats(self, name: str) -> FloatArray:
        """One measured column."""
        return np.asarray(getattr(self, name), dtype=np.float64).ravel()

    def codes(self, name: str) -> IntArray:
        """One column of codes."""
        return np.asarray(getattr(self, name), dtype=np.int64).ravel()


@dataclass(frozen=True)
class OutingJudgement:
    """One row per battery, shape (b,), unless said otherwise; NaN where there is nothing to state.

    doubt : OutingDoubt codes; n_logged, n_usable, n_compared : outings; ratio [1] = median of its sags, each over
    the median sag of the other batteries in the same place, with ratio_low, ratio_high and ratio_coverage [1];
    explained [1] = its measured resistance over theirs, 1 where that is less or not known; excess_frac [1] =
    ratio over explained, less 1; p_value [1], one-sided; significant; large; sags = both;
    apparent_mohm, apparent_low, apparent_high [mOhm], apparent_coverage [1] = sag over the simulated current, with
    all leads and joints up to where the voltage was logged.
    left_out : OutingLeftOut codes; sag_v [V]; ratio_of [1] : shape (n,), per outing.
    """

    doubt: IntArray
    n_logged: IntArray
    n_usable: IntArray
    n_compared: IntArray
    ratio: FloatArray
    ratio_low: FloatArray
    ratio_high: FloatArray
    ratio_coverage: FloatArray
    explained: FloatArray
    excess_frac: FloatArray
    p_value: FloatArray
    significant: BoolArray
    large: BoolArray
    sags: BoolArray
    apparent_mohm: FloatArray
    apparent_low: FloatArray
    apparent_high: FloatArray
    apparent_coverage: FloatArray
    left_out: IntArray
    sag_v: FloatArray
    ratio_of: FloatArray


class ChargeUse(NamedTuple):
    """Charge used against what the rest voltages say, one row per outing; NaN where not known."""

    from_voltage_frac: FloatArray
    gap_frac: FloatArray
    agrees: BoolArray
    usable_ah: FloatArray
    usable_low_ah: FloatArray
    usable_high_ah: FloatArray


def judge_outings(
    outings: Outings, n_batteries: int, policy: BatteryPolicy = DEFAULT_POLICY
) -> OutingJudgement:
    """Say of every battery whether it sags more in a robot than its measured resistance explains.

    Parameters
    ----------
    outings : Outings, n rows; ``battery`` codes run from 0 to n_batteries - 1
    n_batteries : int, batteries without an outing included
    policy : BatteryPolicy

    Returns
    -------
    OutingJudgement, one row per battery; sag_v [V]

    Errors
    ------
    ValueError : a battery code outside the range.

    Validity: sag = rest voltage before, but at most that of a full battery (what stands above it soon after a
    charge is gone with the first load), less the lowest voltage. It is compared with the median sag of at least
    ``min_outings`` outings of two or more other batteries in the same place. Both gates: the excess over what the
    resistances explain is at least ``sag_excess_frac``, and a sign test says that it is not chance. Not judged
    with fewer than ``min_outings`` compared outings. Motors draw less at a lower voltage and leads are part of
    every sag, so a battery is worse than the ratio says, never better.

    Source: Ohm's law; sign test and interval as in ``signs``; the limits as named in the policy.

    >>> rows = Outings(battery=[0] * 5 + [1] * 3 + [2] * 3, place=[0] * 11, start_rest_v=[12.8] * 11,
    ...                lowest_v=[7.8, 7.6, 7.7, 7.5, 7.9] + [9.0, 9.1, 9.2] * 2, full_rest_v=[12.8] * 11,
    ...                peak_a=[200.0] * 11, source_mohm=[12.0] * 11, source_kind=[0] * 11)
    >>> told = judge_outings(rows, 3)
    >>> told.sags.tolist(), round(float(told.ratio[0]), 2), round(float(told.apparent_mohm[0]), 1)
    ([True, False, False], 1.38, 25.5)
    """
    battery, place = outings.codes("battery"), outings.codes("place")
    if battery.size and (battery.min() < 0 or battery.max() >= n_batteries):
        raise ValueError(f"battery codes must lie from 0 to {n_batteries - 1}")
    sag = np.fmin(outings.floats("start_rest_v"), outings.floats("full_rest_v")) - outings.floats("lowest_v")
    left_out = _left_out(outings, sag)
    usable = left_out == OutingLeftOut.USED
    ratio, explained = _against_others(outings, battery, place, np.where(usable, sag, np.nan), policy)
    figures = {
        name: np.full(n_batteries, np.nan)
        for name in ("ratio", "ratio_low", "ratio_high", "ratio_coverage", "explained", "p_value",
                     "apparent_mohm", "apparent_low", "apparent_high", "apparent_coverage")
    }  # fmt: skip
    compared, peak_a = ~np.isnan(ratio), outings.floats("peak_a")
    for one, mine in _of_each(battery, usable):
        _fill(figures, ("ratio", "ratio_low", "ratio_high", "ratio_coverage"), one, ratio[mine], policy)
        apparent = 1e3 * sag[mine] / peak_a[mine]
        names = ("apparent_mohm", "apparent_low", "apparent_high", "apparent_coverage")
        _fill(figures, names, one, apparent, policy)
        known = mine[compared[mine]]
        if known.size:
            figures["explained"][one] = float(np.median(explained[known]))
            line = explained[known]
            signs = [int((ratio[known] > line).sum()), int((ratio[known] < line).sum())]
            figures["p_value"][one] = chance_of_signs(*signs)
    logged, used, against = (
        np.bincount(battery[rows], minlength=n_batteries) for rows in (slice(None), usable, compared)
    )
    doubt = _doubt(logged, used, against, policy)
    excess = figures["ratio"] / figures["explained"] - 1
    significant, large = figures["p_value"] <= policy.alpha, excess >= policy.sag_excess_frac - 1e-9
    return OutingJudgement(
        doubt=doubt,
        n_logged=logged,
        n_usable=used,
        n_compared=against,
        **figures,
        excess_frac=excess,
        significant=significant,
        large=large,
        sags=significant & large & (doubt == OutingDoubt.NONE),
        left_out=left_out,
        sag_v=np.where(usable, sag, np.nan),
        ratio_of=ratio,
    )


def charge_use(
    start_frac: ArrayLike,
    end_frac: ArrayLike,
    used_ah: ArrayLike,
    capacity_ah: ArrayLike,
    policy: BatteryPolicy = DEFAULT_POLICY,
) -> ChargeUse:
    """Compare the charge taken out with what the rest voltages before and after say.

    Parameters
    ----------
    start_frac, end_frac : array_like [1], state of charge by rest voltage before and after
    used_ah : array_like [Ah], by the robot's log or a simulated match
    capacity_ah : array_like [Ah], rated or tested
    policy : BatteryPolicy

    Returns
    -------
    ChargeUse: from_voltage_frac [1] = start - end; gap_frac [1] = used / capacity - that; agrees where the gap is
    within ``charge_doubt_frac``; usable_ah [Ah] = used / from_voltage_frac with its ends, infinite where the
    voltages might as well not have fallen

    Errors
    ------
    none

    Validity: a percentage read from a voltage is worth about 15 points, and several outings of one battery share
    that error: it does not shrink with their number. Minutes after a match the voltage has not come back yet, so
    the rest voltages tell more used than was; a battery is never condemned by this alone.

    Source: SoC = SoC0 - Ah / C; the 15 points are the spread of six published lists of rest voltages.

    >>> told = charge_use([1.0], [0.7], [4.0], [18.0])
    >>> round(float(told.gap_frac[0]), 3), bool(told.agrees[0])
    (-0.078, True)
    >>> [round(float(end[0]), 1) for end in (told.usable_ah, told.usable_low_ah, told.usable_high_ah)]
    [13.3, 8.9, 26.7]
    """
    start, end, used, capacity = (
        np.atleast_1d(np.asarray(v, dtype=np.float64)) for v in (start_frac, end_frac, used_ah, capacity_ah)
    )
    fell, doubt = start - end, policy.charge_doubt_frac
    gap = used / capacity - fell

    def usable(part: FloatArray) -> FloatArray:
        ah = np.where(part > 0, used / np.where(part > 0, part, 1.0), np.inf)
        return np.where(np.isnan(gap), np.nan, ah)

    agrees = np.abs(gap) <= doubt + 1e-9
    return ChargeUse(fell, gap, agrees, usable(fell), usable(fell + doubt), usable(fell - doubt))


def _left_out(outings: Outings, sag: FloatArray) -> IntArray:
    tests = [
        np.isnan(outings.floats("lowest_v")),
        np.isnan(outings.floats("start_rest_v")),
        ~(sag > 0),
        outings.codes("place") < 0,
    ]
    return np.select(tests, list(OutingLeftOut)[1:], default=OutingLeftOut.USED).astype(np.int64)


def _against_others(
    outings: Outings, battery: IntArray, place: IntArray, sag: FloatArray, policy: BatteryPolicy
) -> tuple[FloatArray, FloatArray]:
    """Each outing's sag over the others' median in the same place, and what the resistances explain of it."""
    ratio, explained = np.full(sag.size, np.nan), np.full(sag.size, np.nan)
    mohm, kind = outings.floats("source_mohm"), outings.codes("source_kind")
    for _, here in _of_each(place, ~np.isnan(sag)):
        for one in np.unique(battery[here]):
            mine, others = here[battery[here] == one], here[battery[here] != one]
            if others.size < policy.min_outings or np.unique(battery[others]).size < 2:
                continue
            ratio[mine] = sag[mine] / np.median(sag[others])
            for one_kind in np.unique(kind[mine]):
                alike = mohm[others[kind[others] == one_kind]]
                alike = alike[~np.isnan(alike)]
                theirs = np.median(alike) if alike.size else np.nan
                same = mine[kind[mine] == one_kind]
                # fmax: what is not known explains nothing.
                explained[same] = np.fmax(mohm[same] / theirs, 1.0)
    return ratio, explained


def _of_each(codes: IntArray, use: BoolArray) -> Iterator[tuple[int, IntArray]]:
    """Each code of 0 or more with the places of its rows that are used."""
    rows = np.flatnonzero(use & (codes >= 0))
    rows = rows[np.argsort(codes[rows], kind="stable")]
    cuts = np.flatnonzero(np.diff(codes[rows])) + 1
    return ((int(codes[part[0]]), part) for part in np.split(rows, cuts) if part.size)


def _fill(
    figures: dict[str, FloatArray],
    names: tuple[str, ...],
    one: int,
    values: FloatArray,
    policy: BatteryPolicy,
) -> None:
    """Median, interval and coverage of the known ones of some values, into a battery's row."""
    known = values[np.isfinite(values)]
    if known.size:
        for name, figure in zip(names, median_interval(known, policy.confidence_frac), strict=True):
            figures[name][one] = figure


def _doubt(logged: IntArray, usable: IntArray, compared: IntArray, policy: BatteryPolicy) -> IntArray:
    tests = [logged == 0, usable == 0, usable < policy.min_outings, compared < policy.min_outings]
    return np.select(tests, list(OutingDoubt)[1:], default=OutingDoubt.NONE).astype(np.int64)
