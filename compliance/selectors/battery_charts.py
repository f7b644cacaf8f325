"""What pages of batteries draw: the newest reading against its history, capacity over time, all on one scale."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date

import numpy as np
from django.urls import reverse

from compliance.rules.battery_judge import newest_series
from compliance.rules.battery_steps import series_name, series_values
from compliance.rules.battery_verdict import GRAVEST, HealthVerdict, Standing
from compliance.rules.battery_words import DOUBT_WORDS, days
from compliance.selectors.battery_book import BatteryCase, Group
from compliance.selectors.battery_columns import day_to_date
from shared.planning.trends import CapacityDoubt, newest_against_fit
from shared.web.charts import (
    ControlChart,
    FleetLimit,
    FleetRow,
    FleetStrip,
    Threshold,
    TrendChart,
    TrendPoint,
    TrendWords,
)

#: Readings before the newest that a control chart asks for.
IN_CONTROL = 8
#: With which shape and colour a verdict is drawn.
SHAPES: dict[Standing, str] = {
    Standing.QUARANTINE: "stop",
    Standing.RETIRE: "stop",
    Standing.PRACTICE: "fix",
    Standing.UNKNOWN: "unknown",
    Standing.WATCH: "watch",
    Standing.FIT: "ok",
}
#: Readings a line of the fleet shows.
SHOWN = 12


@dataclass(frozen=True)
class BaselineState:
    """How far one method and instrument has come with a battery: its baseline, and enough days for a verdict."""

    name: str
    days: int
    baseline: str
    verdict: str
    baseline_mohm: float | None
    newest_on: date
    shown: bool


def baselines(case: BatteryCase, group: Group) -> tuple[BaselineState, ...]:
    """Every method and instrument the battery was read with, the one read last first."""
    made, policy = group.told.readings, group.policy
    base, need = int(policy.baseline_readings), int(policy.min_readings)
    found = []
    for series in np.flatnonzero(made.battery == case.at).tolist():
        taken, values = series_values(group, series)
        n = taken.size
        found.append(
            BaselineState(
                name=series_name(case, group, series),
                days=n,
                baseline=f"made of the first {base}" if n >= base else f"{n} of {base} readings",
                verdict="enough" if n >= need else f"{n} of {need} days",
                baseline_mohm=float(np.median(values[:base])) if n >= base else None,
                newest_on=day_to_date(taken[-1]),
                shown=series == int(group.told.series[case.at]),
            )
        )
    return tuple(sorted(found, key=lambda state: state.newest_on, reverse=True))


def control(case: BatteryCase, group: Group) -> ControlChart:
    """The newest reading of the series read last against the line through all before it."""
    title = f"Newest reading of {case.facts.code} against its own history"
    made = group.told.readings
    n, taken, values = 0, np.empty(0), np.empty(0)
    if (made.battery == case.at).any():
        taken, values = series_values(group, newest_series(group, case.at))
        n = taken.size
    told = newest_against_fit(taken, values, IN_CONTROL)
    if told is None:
        return ControlChart(
            title,
            "mΩ",
            summary=f"A control chart needs {IN_CONTROL} comparable readings before the newest one; there "
            f"{'is' if n == 2 else 'are'} {max(n - 1, 0)}.",
        )
    off = [*told.before.tolist(), told.residual]
    said = "inside" if told.in_control else "outside"
    more = "" if told.in_control else ": check the lugs, then measure again before anything else"
    return ControlChart(
        title=title,
        unit="mΩ",
        points=tuple((day_to_date(day), value) for day, value in zip(taken, off, strict=True)),
        lower=told.lower - told.expected,
        upper=told.upper - told.expected,
        summary=f"{values[-1]:.2f} mΩ where its own line foretold {told.expected:.2f}: {told.residual:+.2f} mΩ, {said} "
        f"{told.lower - told.expected:+.2f} to {told.upper - told.expected:+.2f}{more}. Limits: three sigma from the "
        "mean moving range of what lies before (NIST/SEMATECH e-Handbook 6.3.2.2).",
        chart_id=f"control-{case.facts.pk}",
    )


def capacity_history(case: BatteryCase, group: Group, today: date) -> TrendChart:
    """Every capacity test as part of what is rated at its rate; those that cannot be judged hollow, with the reason."""
    columns, told, facts = case.book.columns.tests, group.capacity, case.facts
    points = []
    for test in np.flatnonzero(columns.battery[group.tests] == case.row).tolist():
        row, doubt = int(group.tests[test]), int(told.doubt[test])
        judged = doubt == CapacityDoubt.NONE
        part = told.fraction[test] if judged else columns.capacity_ah[row] / facts.capacity_ah
        points.append(
            TrendPoint(
                day=day_to_date(columns.day[row]),
                value=100 * float(part),
                instrument="capacity test",
                counted=judged,
                note=f"{columns.capacity_ah[row]:g} Ah at {columns.current_a[row]:g} A to {columns.end_v[row]:g} V"
                + ("" if judged else f"; left out: {DOUBT_WORDS[doubt]}"),
            )
        )
    policy = group.policy
    return TrendChart(
        title=f"Capacity of {facts.code}",
        unit="% of rated",
        points=tuple(points),
        summary=_capacity_words(points, case),
        thresholds=(
            Threshold(100.0, "rated", "baseline"),
            Threshold(100 * policy.watch_capacity_frac, "watch below", "watch"),
            Threshold(100 * policy.retire_capacity_frac, "retire below", "stop"),
        ),
        today=today,
        decimals=0,
        chart_id=f"capacity-{facts.pk}",
        words=TrendWords("capacity tests", "What", "the verdict"),
    )


def _capacity_words(points: list[TrendPoint], case: BatteryCase) -> str:
    facts = case.facts
    amps = facts.capacity_ah / facts.capacity_hours_h
    end = f" to {facts.end_v:g} V" if facts.end_v else ""
    rate = f"{facts.capacity_ah:g} Ah in {facts.capacity_hours_h:g} h, that is {amps:.3g} A{end}"
    judged = [point for point in points if point.counted]
    if not judged:
        return f"No test at the rated rate: {rate}."
    newest = judged[-1]
    return f"{newest.value:.0f} % of rated on {newest.day}, at 25 °C. Rated: {rate}."


def fleet(cases: Iterable[tuple[BatteryCase, HealthVerdict]], team_slug: str) -> FleetStrip:
    """All batteries by how far each has risen over its own baseline, the gravest first."""
    cases = sorted(cases, key=lambda one: (GRAVEST[one[1].standing], one[1].code))
    rows = tuple(_fleet_row(case, verdict, team_slug) for case, verdict in cases)
    policy = next((case.group.policy for case, _ in cases if case.group is not None), None)
    limits = () if policy is None else (
        FleetLimit(100 * policy.watch_rise_frac, "watch", "watch"),
        FleetLimit(100 * policy.practice_rise_frac, "practice only", "fix"),
        FleetLimit(100 * policy.retire_rise_frac, "retire", "stop"),
    )  # fmt: skip
    out = sum(not verdict.may_match for _, verdict in cases)
    return FleetStrip(
        title="Resistance of all batteries over their own baselines",
        rows=rows,
        limits=limits,
        summary=f"Per cent over each battery's own first readings. {len(rows) - out} of {len(rows)} may go into a "
        "match.",
    )


def _fleet_row(case: BatteryCase, verdict: HealthVerdict, team_slug: str) -> FleetRow:
    url = reverse("battery-detail", kwargs={"team": team_slug, "pk": case.facts.pk})
    shape = SHAPES[verdict.standing]
    group, at = case.group, case.at
    if group is None:
        return FleetRow(case.facts.code, url, verdict.word, shape, note="rule pack unusable")
    if case.facts.lithium:
        return FleetRow(case.facts.code, url, verdict.word, shape, note="lithium: judged by capacity")
    told, series = group.told, int(group.told.series[at])
    if series < 0:
        return FleetRow(case.facts.code, url, verdict.word, shape, note="no comparable reading")
    _, values = series_values(group, series)
    base = int(group.policy.baseline_readings)
    if values.size < base:
        return FleetRow(
            case.facts.code, url, verdict.word, shape, note=f"no baseline: {values.size} of {base} readings"
        )
    baseline = float(np.median(values[:base]))
    rises = tuple(100 * (value / baseline - 1) for value in values[-SHOWN:].tolist())
    level = float(told.level_mohm[at])
    if np.isnan(level):
        need = int(group.policy.min_readings)
        return FleetRow(
            case.facts.code,
            url,
            verdict.word,
            shape,
            rises,
            note=f"{days(values.size)} of {need} for a verdict",
        )
    return FleetRow(case.facts.code, url, verdict.word, shape, rises, 100 * (level / baseline - 1))
