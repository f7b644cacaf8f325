"""The workings of the battery rules, line by line, so that a person can follow them by hand."""

from __future__ import annotations

from typing import Any

import numpy as np

from compliance.rules.base import step
from compliance.selectors.battery_book import BatteryCase, Group
from compliance.selectors.battery_columns import day_to_date
from inventory.models import Method
from shared.planning.trends import CrossingKind

Steps = list[dict[str, Any]]
#: The slope is told per month, as people speak of batteries.
MONTH_D = 30


def mohm(value: float) -> str:
    """A resistance as text, to a hundredth."""
    return f"{value:.2f} mΩ"


def percent(value_frac: float) -> str:
    """A fraction as per cent, to a tenth."""
    return f"{100 * value_frac:.1f} %"


def series_name(case: BatteryCase, group: Group, series: int) -> str:
    """Method and instrument of a series, as they were written."""
    readings, told = case.book.columns.readings, group.told.readings
    method = readings.methods[told.method_group[series]]
    label = Method(method).label if method in Method.values else method
    return f"{label}, {readings.instruments[told.instrument[series]]}"


def series_values(group: Group, series: int) -> tuple[np.ndarray, np.ndarray]:
    """Days and resistances of a series, one per day."""
    made = group.told.readings
    part = slice(made.offsets[series], made.offsets[series + 1])
    return made.day[part], made.resistance_mohm[part]


def rise_steps(case: BatteryCase, group: Group) -> Steps:
    """From the readings to the rise, both gates and the next limit."""
    told, at, policy = group.told, case.at, group.policy
    series = int(told.series[at])
    _, values = series_values(group, series)
    k = int(policy.baseline_readings)
    first, newest = values[:k], values[-k:]
    shown = [", ".join(f"{v:.2f}" for v in part) for part in (first, newest)]
    return [
        step(
            "Comparable readings",
            "one method and instrument, full, rested, neither cold nor warm; one value per day",
            f"{series_name(case, group, series)}: {told.n_comparable[at]} of {told.n_logged[at]} readings",
            int(told.n[at]),
            "days",
        ),
        step("Baseline", f"median of the first {k}", shown[0], float(told.baseline_mohm[at]), "mΩ"),
        step("Level", f"median of the newest {k}", shown[1], float(told.level_mohm[at]), "mΩ"),
        step(
            "Rise",
            "level / baseline - 1",
            f"{told.level_mohm[at]:.2f} / {told.baseline_mohm[at]:.2f} - 1",
            100 * float(told.rise_frac[at]),
            "%",
        ),
        _slope_step(group, at),
        *_gate_steps(group, at),
        crossing_step(group, at),
    ]


def _slope_step(group: Group, at: int) -> dict[str, Any]:
    told = group.told
    return step(
        f"Slope per {MONTH_D} days",
        "Theil-Sen: median of the slopes of all pairs of readings",
        f"{group.policy.confidence_frac:.0%} interval {MONTH_D * told.slope_low[at]:+.2f} to "
        f"{MONTH_D * told.slope_high[at]:+.2f} mΩ",
        float(MONTH_D * told.slope_mohm_per_d[at]),
        "mΩ",
    )


def _gate_steps(group: Group, at: int) -> Steps:
    told, policy = group.told, group.policy
    exact = "exact" if told.n[at] <= 10 else "normal approximation"
    return [
        step(
            "Gate 1, size",
            f"rise >= {policy.watch_rise_frac:.0%} watch, {policy.practice_rise_frac:.0%} practice only, "
            f"{policy.retire_rise_frac:.0%} retire",
            percent(told.rise_frac[at]),
            "passed" if told.large[at] else "not passed",
        ),
        step(
            "Gate 2, beyond chance",
            f"Mann-Kendall, one-sided, {exact}: p <= {policy.alpha:g}",
            f"p = {told.p_value[at]:.4g} with {told.n[at]} readings",
            "passed" if told.significant[at] else "not passed",
        ),
    ]


def crossing_step(group: Group, at: int) -> dict[str, Any]:
    """When the trend meets the next limit above the level."""
    told = group.told
    if np.isnan(told.limit_mohm[at]):
        return step("Next limit", "the level is past every limit", "", "none")
    return step(
        "Next limit",
        "(limit - median) / slope after the median day; told no further ahead than half the span observed",
        f"{mohm(told.limit_mohm[at])} = baseline x {1 + told.limit_frac[at]:.2f}",
        crossing_words(group, at),
    )


def crossing_words(group: Group, at: int) -> str:
    """The day of crossing with its interval, or what else can honestly be said."""
    told = group.told.crossing
    kind = int(told.kind[at])
    if kind == CrossingKind.DATED:
        latest = f"to {day_to_date(told.latest[at])}" if np.isfinite(told.latest[at]) else "or later"
        return f"{day_to_date(told.day[at])}, interval {day_to_date(told.earliest[at])} {latest}, at the latest trend"
    if kind == CrossingKind.LINE_PAST:
        return "the fitted line is past it already"
    if kind == CrossingKind.NO_FIT:
        return "no line can be fitted"
    return f"not before {day_to_date(told.not_before[at])}"


def sudden_steps(group: Group, at: int, days: np.ndarray, values: np.ndarray) -> Steps:
    """The two newest readings of the series read last, and what lies between."""
    return [
        step(
            "Jump",
            "newest / reading before - 1",
            f"{values[-1]:.2f} / {values[-2]:.2f} - 1",
            100 * float(group.told.sudden_rise_frac[at]),
            "%",
        ),
        step(
            "Days between",
            f"at most {group.policy.sudden_within_d:g}",
            f"{day_to_date(days[-2])} to {day_to_date(days[-1])}",
            float(days[-1] - days[-2]),
            "days",
        ),
    ]


def capacity_steps(case: BatteryCase, group: Group, test: int) -> Steps:
    """From the test to the part of the rated capacity."""
    columns, told = case.book.columns.tests, group.capacity
    row = int(group.tests[test])
    facts = case.facts
    temperature = columns.temperature_c[row]
    warm = "temperature not noted: not corrected" if np.isnan(temperature) else f"{temperature:g} °C"
    end = "not stated" if facts.end_v is None else f"{facts.end_v:g} V"
    return [
        step(
            "Rate",
            f"test current within {group.policy.rate_tolerance_frac:.0%} of rated capacity / rated hours",
            f"{columns.current_a[row]:g} A against {facts.capacity_ah:g} Ah / {facts.capacity_hours_h:g} h",
            facts.capacity_ah / facts.capacity_hours_h,
            "A",
        ),
        step(
            "End voltage",
            f"rated: {end}",
            f"stopped at {columns.end_v[row]:g} V",
            float(columns.end_v[row]),
            "V",
        ),
        step(
            "Capacity at 25 °C",
            "C25 = Ct / (1 + k (t - 25)), k = 0.006 at 10 h and slower to 0.01 at 3 h",
            f"{columns.capacity_ah[row]:g} Ah, {warm}",
            float(told.corrected_ah[test]),
            "Ah",
        ),
        step(
            "Part of rated",
            "capacity at 25 °C / rated",
            f"{told.corrected_ah[test]:.2f} / {facts.capacity_ah:g}",
            "cannot be said" if np.isnan(told.fraction[test]) else 100 * float(told.fraction[test]),
            "" if np.isnan(told.fraction[test]) else "%",
        ),
    ]


def use_steps(case: BatteryCase, group: Group) -> Steps:
    """Age and cycles."""
    cycles = float(case.book.columns.cycles[case.row])
    return [
        step(
            "Age",
            "today - first use, or purchase",
            f"since {case.facts.first_use}",
            float(group.age_d[case.at]),
            "days",
        ),
        step(
            "Cycles",
            "at intake + charges ended since",
            "" if not np.isnan(cycles) else "none noted",
            "not known" if np.isnan(cycles) else cycles,
            "" if np.isnan(cycles) else "cycles",
        ),
    ]
