"""Worked examples of the battery and stock rules, computed by the functions that judge."""

from __future__ import annotations

from datetime import date, timedelta
from typing import Any, Final

import numpy as np

from compliance.rules.base import step, working
from shared.electrical.sources import Source
from shared.planning.reorder import JEFFREYS, latest_order_day, order_quantity, repairs_target
from shared.planning.trends import (
    DEFAULT_POLICY,
    CrossingKind,
    crossing_many,
    judge_capacity,
    judge_use,
    mann_kendall,
    theil_sen,
)
from shared.web.charts import Threshold, TrendChart, TrendPoint

#: Seven readings of one battery with one meter: day since the first, milliohm.
DAYS: Final = (0, 14, 30, 61, 92, 120, 150)
MOHM: Final = (12.0, 12.3, 12.1, 12.9, 13.2, 13.1, 13.9)
FIRST: Final = date(2026, 1, 10)
EDGE: Final = int(DEFAULT_POLICY.baseline_readings)

SEN: Final = Source("Sen, J. Am. Stat. Assoc. 63 (1968)", "1379-1389", "seen")
MANN: Final = Source("Mann, Econometrica 13 (1945) 245-259", "exact table Kendall (1975)", "seen")
RISE: Final = Source("IEEE 1188-2005", "Annex C.4, quoted second-hand", "seen")
CAPACITY: Final = Source("IEEE 450 and IEEE 1188", "below 80 % of rated, quoted second-hand", "seen")
PRACTICE: Final = Source("Workshop practice", "", "common practice")
GAMMA: Final = Source("Gamma-Poisson model", "predictive negative binomial", "memory")
SUBTRACT: Final = Source("Order up to the target in whole packs", "", "common practice")


def _limit(label: str, value: float | str, unit: str) -> dict[str, Any]:
    return {"label": label, "name": label, "value": value, "unit": unit}


def _mohms(values: tuple[float, ...]) -> str:
    return ", ".join(f"{value:g}" for value in values)


def rise() -> dict[str, Any]:
    """The seven readings: slope, significance, size, and when the next limit is met."""
    fit, test = theil_sen(DAYS, MOHM, DEFAULT_POLICY.confidence_frac), mann_kendall(MOHM)
    base, level = float(np.median(MOHM[:EDGE])), float(np.median(MOHM[-EDGE:]))
    risen = level / base - 1
    limit = base * (1 + DEFAULT_POLICY.watch_rise_frac)
    told = crossing_many(fit, limit, DAYS[0], DAYS[-1])
    large, sure = risen >= DEFAULT_POLICY.watch_rise_frac, float(test.p_rise[0]) <= DEFAULT_POLICY.alpha
    return working(
        [
            step("Baseline", f"median of the first {EDGE}", _mohms(MOHM[:EDGE]), base, "mΩ"),
            step("Level", f"median of the newest {EDGE}", _mohms(MOHM[-EDGE:]), level, "mΩ"),
            step("Rise", "level / baseline - 1", f"{level:g} / {base:g} - 1", 100 * risen, "%"),
            step("Slope", "median of the slopes of all pairs", f"{len(DAYS)} readings", 30 * float(fit.slope[0]),
                 "mΩ in 30 days"),
            step("Interval of the slope", f"{DEFAULT_POLICY.confidence_frac:.0%}, from the ranks of the slopes", "",
                 f"{30 * float(fit.low[0]):.2f} to {30 * float(fit.high[0]):.2f}", "mΩ in 30 days"),
            step("Score", "pairs that rose less pairs that fell", "", int(test.s[0])),
            step("Chance", "exact, one-sided", "", float(test.p_rise[0])),
            step(f"Reaches {limit:.1f} mΩ", "line through the medians, at most half the span ahead", "", _when(told)),
        ],
        limit=_limit("rise that asks for watching", 100 * DEFAULT_POLICY.watch_rise_frac, "%"),
        conclusion=f"Rises beyond chance: {'yes' if sure else 'no'}. "
        f"By enough to be flagged: {'yes' if large else 'no'}.",
        sources=(SEN, MANN, RISE),
    )  # fmt: skip


def _when(told: Any) -> str:
    if told.kind[0] == CrossingKind.DATED:
        latest = f"and {told.latest[0]:.0f}" if np.isfinite(told.latest[0]) else "and no end that can be told"
        return f"about day {told.day[0]:.0f}, between {told.earliest[0]:.0f} {latest}"
    if told.kind[0] == CrossingKind.NOT_BEFORE:
        return f"not before day {told.not_before[0]:.0f}"
    return "not approaching"


def trend() -> TrendChart:
    """The same readings as a picture."""
    fit = theil_sen(DAYS, MOHM)
    base = float(np.median(MOHM[:EDGE]))
    middle, height, slope = (float(part[0]) for part in (fit.median_time, fit.median_value, fit.slope))
    points = [
        TrendPoint(FIRST + timedelta(days=day), value, "example meter")
        for day, value in zip(DAYS, MOHM, strict=True)
    ]
    line = [(FIRST + timedelta(days=day), height + slope * (day - middle)) for day in (DAYS[0], DAYS[-1])]
    limit = base * (1 + DEFAULT_POLICY.watch_rise_frac)
    return TrendChart(
        "Example battery",
        "mΩ",
        points,
        summary=f"Seven readings rise by {30 * slope:.2f} mΩ in 30 days.",
        baseline=base,
        fit=line,
        thresholds=[Threshold(limit, "watch", "watch")],
        chart_id="example",
    )


def sudden() -> dict[str, Any]:
    """The newest reading 5 milliohm over the one before, nine days apart."""
    before, newest, gap = MOHM[-1], MOHM[-1] + 5.0, 9
    jump = newest / before - 1
    found = jump > DEFAULT_POLICY.sudden_rise_frac and gap <= DEFAULT_POLICY.sudden_within_d
    return working(
        [
            step("Jump", "newest / reading before - 1", f"{newest:g} / {before:g} - 1", 100 * jump, "%"),
            step("Days between", "at most", f"{DEFAULT_POLICY.sudden_within_d:g} d", gap, "d"),
        ],
        limit=_limit("jump", 100 * DEFAULT_POLICY.sudden_rise_frac, "%"),
        conclusion="No battery ages that fast: look at the lugs." if found else "Within what readings do.",
        sources=(PRACTICE,),
    )


def capacity() -> dict[str, Any]:
    """A test of a battery rated 18 Ah in 20 hours that gave 15.3 Ah."""
    rated, hours, tested = 18.0, 20.0, 15.3
    told = judge_capacity([tested], [rated / hours], [hours], [rated], temperature_c=[25.0])
    share = float(told.fraction[0])
    retire, watch = DEFAULT_POLICY.retire_capacity_frac, DEFAULT_POLICY.watch_capacity_frac
    return working(
        [
            step("Rate", "rated Ah / rated hours", f"{rated:g} Ah / {hours:g} h", rated / hours, "A"),
            step(
                "Capacity",
                "Ah taken out / rated Ah at the same rate",
                f"{tested:g} / {rated:g}",
                100 * share,
                "%",
            ),
        ],
        limit=_limit("watch below", 100 * watch, "%"),
        conclusion=f"{share:.0%}: "
        + ("end of life." if share < retire else "test again this season." if share < watch else "in order."),
        sources=(CAPACITY,),
    )


def use() -> dict[str, Any]:
    """A battery of 900 days and 210 cycles."""
    age, cycles = 900.0, 210.0
    watched = int(judge_use([age], [cycles])[0]) > 0
    return working(
        [
            step("Age", "days since first use", "", age, "d"),
            step("Cycles", "at intake and since", "", cycles),
        ],
        limit=_limit(
            "age or cycles", f"{DEFAULT_POLICY.watch_age_d:g} d or {DEFAULT_POLICY.watch_cycles:g}", ""
        ),
        conclusion="Test its capacity." if watched else "Neither limit is reached.",
        sources=(PRACTICE,),
    )


def too_few() -> dict[str, Any]:
    """Three readings, rising each time."""
    values = (MOHM[0], MOHM[3], MOHM[6])
    test = mann_kendall(values)
    return working(
        [
            step("Readings", "on different days, comparable", _mohms(values), len(values)),
            step("Chance", "exact, one-sided: the least that so few can show", "", float(test.p_rise[0])),
        ],
        limit=_limit("readings for a verdict", DEFAULT_POLICY.min_readings, "readings"),
        conclusion=f"Even rising each time {len(values)} readings stay above {DEFAULT_POLICY.alpha:g}: cannot judge.",
        sources=(MANN,),
    )


def reorder() -> dict[str, Any]:
    """A fuse needed five times in 94 robot-matches, before an event of 20."""
    seen, exposure, ahead, service, on_hand, pack, lead = 5, 94.0, 20.0, 0.95, 1.0, 5.0, 4.0
    goods_by = date(2026, 3, 20)
    target = int(repairs_target(JEFFREYS, seen, exposure, ahead, service)[0])
    order = float(order_quantity(target, on_hand, pack))
    last = date.fromordinal(int(latest_order_day(goods_by.toordinal(), lead)))
    return working(
        [
            step("Repairs", "predictive count that covers the wanted chance",
                 f"{seen} in {exposure:g} robot-matches, {ahead:g} ahead, {service:.0%}", target, "pieces"),
            step("Short", "wanted - on hand", f"{target} - {on_hand:g}", max(0.0, target - on_hand), "pieces"),
            step("Order", "short, rounded up to whole packs", f"pack of {pack:g}", order, "pieces"),
            step("Last day to order", "day goods are due - lead time", f"{goods_by} - {lead:g} d", str(last)),
        ],
        limit=_limit("wanted", target, "pieces"),
        conclusion=f"Order {order:g} by {last}." if order else "Nothing to order.",
        sources=(GAMMA, SUBTRACT),
    )  # fmt: skip


def no_offer() -> dict[str, Any]:
    """The same part, and nobody known to sell it."""
    last = float(latest_order_day(100.0, float("nan")))
    known = np.isfinite(last)
    return working(
        [step("Last day to order", "day goods are due - lead time", "lead time not known",
              "known" if known else "unknown")],
        limit=None,
        conclusion="It comes in time." if known else "Without a lead time nobody can say whether it comes in time.",
        sources=(SUBTRACT,),
    )  # fmt: skip


def floor() -> dict[str, Any]:
    """12 ties in stock where the team wants never less than 20."""
    on_hand, least, pack = 12.0, 20.0, 100.0
    order = float(order_quantity(least, on_hand, pack))
    return working(
        [
            step("On hand", "", "", on_hand, "pieces"),
            step("Order", "minimum - on hand, in whole packs", f"{least:g} - {on_hand:g}, pack of {pack:g}",
                 order, "pieces"),
        ],
        limit=_limit("minimum stock", least, "pieces"),
        conclusion=f"Below the minimum: order {order:g}." if order else "At or above the minimum.",
        sources=(SUBTRACT,),
    )  # fmt: skip
