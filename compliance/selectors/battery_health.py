"""How batteries are, for tables, charts and pages: the same judgement as the sweep's, for any battery."""

from __future__ import annotations

from collections.abc import Collection, Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import date, datetime
from typing import Any

import numpy as np
from django.db.models import Q
from django.utils import timezone

from compliance.models import Severity, SubjectKind
from compliance.rules.base import SEVERITY_ORDER, Rule
from compliance.rules.battery_judge import OFF, PASSED, Verdict
from compliance.rules.battery_judges import JUDGES
from compliance.rules.battery_steps import crossing_words, series_name
from compliance.rules.battery_verdict import HealthVerdict, combined
from compliance.rules.battery_words import STATE_WORDS, left_out_words
from compliance.selectors.battery_book import BatteryBook, BatteryCase, Group, load_book
from compliance.selectors.battery_columns import day_to_date
from compliance.selectors.flags import flags_open
from inventory.models import Battery
from shared.access import Scope
from shared.planning.trends import BatteryState, CapacityDoubt, CrossingKind, LeftOut
from shared.web.charts import BandPoint, Crossing, Threshold, TrendChart, TrendPoint

MONTH_D = 30


@dataclass(frozen=True)
class BatteryHealth:
    """What the judgement says of one battery; None where it says nothing.

    ``word`` is the state of its resistance in words and ``severity`` the worst of its battery rules ("" when all
    pass), with the sentence of that rule. Only ``points`` that are ``counted`` belong to the trend shown.
    """

    battery_id: int
    code: str
    state: int
    word: str
    severity: str
    sentence: str
    series: str
    points: tuple[TrendPoint, ...]
    n_comparable_days: int
    baseline_mohm: float | None
    level_mohm: float | None
    latest_mohm: float | None
    rise_frac: float | None
    slope_mohm_per_30d: float | None
    slope_low_mohm_per_30d: float | None
    slope_high_mohm_per_30d: float | None
    p_value: float | None
    fit: tuple[tuple[date, float], ...]
    band: tuple[BandPoint, ...]
    thresholds: tuple[Threshold, ...]
    crossing: Crossing | None
    crossing_sentence: str
    newest_comparable_on: date | None
    cycles: int | None
    age_d: int | None
    capacity_frac: float | None

    @property
    def judged(self) -> bool:
        """False: too little is known of its resistance to say how it is."""
        return self.state >= BatteryState.FIT

    @property
    def trend_mohm(self) -> tuple[float, ...]:
        """The readings of the trend, oldest first, for a sparkline."""
        return tuple(p.value for p in self.points if p.counted)

    def chart(self, today: date, outings: Sequence[date] = ()) -> TrendChart:
        """The trend chart of this battery, with the days of its outings on the axis."""
        return TrendChart(
            title=f"Resistance of {self.code}",
            unit="mΩ",
            points=self.points,
            summary=self.sentence,
            baseline=self.baseline_mohm,
            fit=self.fit,
            band=self.band,
            thresholds=self.thresholds,
            crossing=self.crossing,
            today=today,
            marks=outings,
            chart_id=f"trend-{self.battery_id}",
        )


def battery_health(
    scope: Scope, battery_ids: Collection[int] | None = None, *, now: datetime | None = None
) -> dict[int, BatteryHealth]:
    """Battery id -> its health; all of the team's that are not archived, or the ones named, in nine queries."""
    book = book_of(scope, battery_ids, now)
    return {case.facts.pk: health_of(case) for case in wanted(book, battery_ids)}


def verdicts(
    scope: Scope, battery_ids: Collection[int] | None = None, *, now: datetime | None = None
) -> dict[int, HealthVerdict]:
    """Battery id -> may it go out, and why; all of the team's that are not archived, or the ones named.

    A fixed number of queries however many batteries there are.
    """
    book, waived = book_of(scope, battery_ids, now), waived_rules(scope)
    return {
        case.facts.pk: verdict_on(case, waived.get(case.facts.pk, frozenset()))
        for case in wanted(book, battery_ids)
    }


def verdict_on(case: BatteryCase, waived: Collection[str] = ()) -> HealthVerdict:
    """The verdict on one battery; ``waived`` are the codes of rules that somebody waived for it."""
    told = (judge(case) for judge in JUDGES.values())
    return combined(case, [(state_of(case, verdict), verdict) for verdict in told], waived)


def waived_rules(scope: Scope) -> dict[int, frozenset[str]]:
    """Battery id -> codes of the rules waived for it today."""
    found: dict[int, set[str]] = {}
    flags = flags_open(scope).filter(subject_kind=SubjectKind.BATTERY, waived=True)
    for battery_id, code in flags.order_by().values_list("subject_id", "rule_code"):
        found.setdefault(battery_id, set()).add(code)
    return {battery_id: frozenset(codes) for battery_id, codes in found.items()}


def battery_working(
    scope: Scope, battery: Battery, *, now: datetime | None = None
) -> list[tuple[type[Rule], str, Mapping[str, Any]]]:
    """Every battery rule with its state for this battery and its working, passed or not.

    The state is a severity, or "pass", "not judged", or "off" where the team's pack switches the rule off.
    """
    book = book_of(scope, [battery.pk], now)
    return [
        (v.rule, state_of(case, v), v.working)
        for case in wanted(book, [battery.pk])
        for v in (judge(case) for judge in JUDGES.values())
    ]


def book_of(scope: Scope, battery_ids: Collection[int] | None, now: datetime | None) -> BatteryBook:
    """Everything read and judged of the team\'s batteries that are not archived, and of the ones named."""
    # The others of the team are read too: in a robot each is compared with them.
    rows = scope.rows(Battery).filter(Q(archived=False) | Q(pk__in=list(battery_ids or ())))
    return load_book(rows, team_ids=[scope.team.pk], now=now or timezone.now())


def wanted(book: BatteryBook, battery_ids: Collection[int] | None) -> Iterator[BatteryCase]:
    """All batteries of the book, or those named."""
    wanted = None if battery_ids is None else set(battery_ids)
    return (case for case in book.cases() if wanted is None or case.facts.pk in wanted)


def state_of(case: BatteryCase, verdict: Verdict) -> str:
    """What a rule\'s verdict is by the rule pack: a severity, or "pass", "not judged", "off"."""
    table = case.book.table
    if not table.enabled(verdict.rule)[case.pack]:
        return OFF
    return table.severity(verdict.rule, case.pack, verdict.state) if verdict.found else verdict.state


def _worst(case: BatteryCase) -> tuple[str, str]:
    """The worst severity that the battery rules find, and its sentence; the sentence of the rise if they all pass."""
    verdicts = [judge(case) for judge in JUDGES.values()]
    found = [(state, v.message) for v in verdicts if (state := state_of(case, v)) in SEVERITY_ORDER]
    if found:
        return min(found, key=lambda item: SEVERITY_ORDER[item[0]])
    return "", next((v.message for v in verdicts if v.state == PASSED), "")


def health_of(case: BatteryCase) -> BatteryHealth:
    """One battery as tables and charts show it."""
    group, at, facts = case.group, case.at, case.facts
    severity, sentence = _worst(case)
    if group is None:
        return _unusable(case, severity, sentence)
    told = group.told
    shown = int(told.series[at])
    judged = told.state[at] >= BatteryState.FIT
    cycles = case.book.columns.cycles[case.row]
    return BatteryHealth(
        battery_id=facts.pk,
        code=facts.code,
        state=int(told.state[at]),
        word=STATE_WORDS[int(told.state[at])],
        severity=severity,
        sentence=sentence,
        series=series_name(case, group, shown) if shown >= 0 else "",
        points=_points(case, group, shown),
        n_comparable_days=int(told.n[at]),
        baseline_mohm=_known(told.baseline_mohm[at]),
        level_mohm=_known(told.level_mohm[at]),
        latest_mohm=_known(told.latest_mohm[at]),
        rise_frac=_known(told.rise_frac[at]),
        slope_mohm_per_30d=_known(MONTH_D * told.slope_mohm_per_d[at]),
        slope_low_mohm_per_30d=_known(MONTH_D * told.slope_low[at]),
        slope_high_mohm_per_30d=_known(MONTH_D * told.slope_high[at]),
        p_value=_known(told.p_value[at]),
        fit=_fit(group, at) if judged else (),
        band=_band(group, at) if judged else (),
        thresholds=_thresholds(group, at),
        crossing=_crossing(group, at) if judged else None,
        crossing_sentence=crossing_words(group, at) if judged and _known(told.limit_mohm[at]) else "",
        newest_comparable_on=_day(group.newest_day[at]),
        cycles=None if np.isnan(cycles) else int(cycles),
        age_d=int(group.age_d[at]),
        capacity_frac=_capacity(group, at),
    )


def _unusable(case: BatteryCase, severity: str, sentence: str) -> BatteryHealth:
    """A battery whose rule pack contradicts itself: nothing is said of it but that."""
    return BatteryHealth(
        case.facts.pk, case.facts.code, BatteryState.NONE_COMPARABLE, "Cannot judge", severity or Severity.UNKNOWN,
        sentence, "", (), 0, None, None, None, None, None, None, None, None, (), (), (), None, "", None, None, None,
        None,
    )  # fmt: skip


def _points(case: BatteryCase, group: Group, shown: int) -> tuple[TrendPoint, ...]:
    """Every reading, oldest first; those outside the trend with the reason."""
    readings, told = case.book.columns.readings, group.told
    mine = group.readings_of(case.at)
    mine = mine[np.argsort(readings.day[group.rows[mine]], kind="stable")]
    points = []
    for i in mine:
        row, why = int(group.rows[i]), int(told.reading_left_out[i])
        counted = why == LeftOut.USED and int(told.readings.of_reading[i]) == shown
        note = "" if counted else left_out_words(why, group.policy) or "another method or instrument"
        points.append(
            TrendPoint(
                day=day_to_date(readings.day[row]),
                value=float(readings.mohm[row]),
                instrument=readings.instruments[readings.instrument[row]],
                counted=counted,
                note=note,
            )
        )
    return tuple(points)


def _fit(group: Group, at: int) -> tuple[tuple[date, float], ...]:
    """Both ends of the fitted line: first and last reading of the trend."""
    told = group.told
    if np.isnan(told.fit.slope[at]):
        return ()
    ends = (float(told.first_day[at]), float(told.last_day[at]))
    return tuple((day_to_date(d), float(told.fit.intercept[at] + told.fit.slope[at] * d)) for d in ends)


def _band(group: Group, at: int) -> tuple[BandPoint, ...]:
    """The slope's interval through the medians of day and resistance."""
    told = group.told
    low, high = float(told.slope_low[at]), float(told.slope_high[at])
    if np.isnan(low):
        return ()
    middle, value = float(told.fit.median_time[at]), float(told.fit.median_value[at])
    days = (float(told.first_day[at]), middle, float(told.last_day[at]))
    swings = [((day - middle) * low, (day - middle) * high) for day in days]
    return tuple(
        BandPoint(day_to_date(day), value + min(swing), value + max(swing))
        for day, swing in zip(days, swings, strict=True)
    )


def _thresholds(group: Group, at: int) -> tuple[Threshold, ...]:
    baseline = _known(group.told.baseline_mohm[at])
    if baseline is None:
        return ()
    p = group.policy
    rows = (
        (p.watch_rise_frac, "watch", Severity.WATCH),
        (p.practice_rise_frac, "practice only", Severity.FIX),
        (p.retire_rise_frac, "retire", Severity.STOP),
    )
    return tuple(
        Threshold(baseline * (1 + f), f"{word} +{f:.0%}", str(severity)) for f, word, severity in rows
    )


def _crossing(group: Group, at: int) -> Crossing | None:
    told, limit = group.told.crossing, _known(group.told.limit_mohm[at])
    kind = int(told.kind[at])
    if limit is None or kind in (CrossingKind.NO_FIT, CrossingKind.LINE_PAST):
        return None
    if kind == CrossingKind.DATED:
        return Crossing(limit, day_to_date(told.earliest[at]), _day(told.day[at]), _day(told.latest[at]))
    return Crossing(limit, day_to_date(told.not_before[at]))


def _capacity(group: Group, at: int) -> float | None:
    test = int(group.test[at])
    if test < 0 or group.capacity.doubt[test] != CapacityDoubt.NONE:
        return None
    return float(group.capacity.fraction[test])


def _known(value: float) -> float | None:
    return float(value) if np.isfinite(value) else None


def _day(value: float) -> date | None:
    return day_to_date(value) if np.isfinite(value) else None
