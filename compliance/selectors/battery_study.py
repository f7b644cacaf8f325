"""Everything the page of one battery tells, from one reading of the team's batteries."""

from __future__ import annotations

from collections.abc import Collection, Mapping
from dataclasses import dataclass, replace
from datetime import date, datetime
from typing import Any

import numpy as np
from django.utils import timezone

from compliance.rules.base import Rule
from compliance.rules.batteries import BatteryRise, BatteryUnjudged
from compliance.rules.battery_judge import NOT_JUDGED, Verdict
from compliance.rules.battery_judges import JUDGES
from compliance.rules.battery_verdict import HealthVerdict, Standing
from compliance.selectors.battery_book import BatteryCase, Group
from compliance.selectors.battery_charts import (
    SHAPES,
    BaselineState,
    baselines,
    capacity_history,
    control,
    fleet,
)
from compliance.selectors.battery_columns import day_to_date
from compliance.selectors.battery_health import (
    BatteryHealth,
    book_of,
    health_of,
    state_of,
    verdict_on,
    waived_rules,
    wanted,
)
from inventory.models import Battery, BatteryState
from inventory.selectors.battery_sources import rest_curve
from shared.access import Scope
from shared.electrical.battery import state_of_charge_frac
from shared.planning.trends import OutingLeftOut, charge_use
from shared.web.charts import ControlChart, FleetStrip, TrendChart

#: Why an outing says nothing of the sag.
LEFT_OUT = {
    OutingLeftOut.USED: "",
    OutingLeftOut.NO_LOWEST: "lowest voltage not noted",
    OutingLeftOut.NO_REST: "voltage before not noted",
    OutingLeftOut.NOT_BELOW: "lowest voltage not below the one before: a slip",
    OutingLeftOut.NO_ROBOT: "robot not noted",
}


@dataclass(frozen=True)
class OutingEvidence:
    """One outing: how far the voltage fell, against the others in that robot, and the charge by both ways."""

    day: date
    start_rest_v: float | None
    lowest_v: float | None
    sag_v: float | None
    ratio: float | None
    used_ah: float | None
    used_from: str
    by_voltage_ah: float | None
    agrees: bool | None
    note: str


@dataclass(frozen=True)
class RuleTold:
    """One rule with what it says of this battery; ``state`` as in ``battery_working``."""

    rule: type[Rule]
    state: str
    working: Mapping[str, Any]


@dataclass(frozen=True)
class BatteryStudy:
    """One battery: verdict, evidence and pictures. Charts are None where its rule pack is unusable."""

    health: BatteryHealth
    verdict: HealthVerdict
    rules: tuple[RuleTold, ...]
    trend: TrendChart
    control: ControlChart | None
    capacity: TrendChart | None
    baselines: tuple[BaselineState, ...]
    outings: tuple[OutingEvidence, ...]
    doubt_ah: float

    @property
    def shape(self) -> str:
        """Shape and colour of the verdict."""
        return SHAPES[self.verdict.standing]


def battery_study(scope: Scope, battery: Battery, *, now: datetime | None = None) -> BatteryStudy:
    """Everything told of one battery; as many queries as ``verdicts``."""
    now = now or timezone.now()
    book = book_of(scope, [battery.pk], now)
    case = next(case for case in book.cases() if case.facts.pk == battery.pk)
    group, health = case.group, health_of(case)
    told = [(rule, judge(case)) for rule, judge in JUDGES.items()]
    went = book.outings.day[book.outings.battery == case.row]
    today = timezone.localdate(now)
    return BatteryStudy(
        health=health,
        verdict=verdict_on(case, waived_rules(scope).get(battery.pk, frozenset())),
        rules=tuple(RuleTold(rule, state_of(case, verdict), verdict.working) for rule, verdict in told),
        trend=replace(health.chart(today, [day_to_date(day) for day in went]), summary=_of_resistance(told)),
        control=control(case, group) if group else None,
        capacity=capacity_history(case, group, today) if group else None,
        baselines=baselines(case, group) if group else (),
        outings=_outings(battery, case, group) if group else (),
        doubt_ah=(group.policy.charge_doubt_frac if group else 0.0) * battery.model.capacity_ah,
    )


@dataclass(frozen=True)
class Fleet:
    """Batteries on one scale, with verdict and figures of each by its id."""

    strip: FleetStrip
    verdicts: Mapping[int, HealthVerdict]
    health: Mapping[int, BatteryHealth]

    def shape(self, battery_id: int) -> str:
        """Shape and colour of a battery's verdict."""
        verdict = self.verdicts.get(battery_id)
        return SHAPES[verdict.standing] if verdict else "unknown"

    @property
    def words(self) -> str:
        """How many may go where: the answer of the list."""
        told = self.verdicts.values()
        match, practice = (sum(may) for may in ((v.may_match for v in told), (v.may_practice for v in told)))
        stay = len(told) - practice
        more = [f"{practice - match} for practice only"] if practice > match else []
        more += [f"{stay} stay{'s' if stay == 1 else ''} here"] if stay else []
        tail = f", {', '.join(more)}" if more else ""
        return f"{match} of {len(told)} batter{'y' if len(told) == 1 else 'ies'} may go into a match{tail}."


def battery_fleet(scope: Scope, battery_ids: Collection[int], *, now: datetime | None = None) -> Fleet:
    """The batteries named on one scale, with their verdicts and figures; retired ones are not drawn."""
    book, waived = book_of(scope, battery_ids, now), waived_rules(scope)
    cases = [
        (case, verdict_on(case, waived.get(case.facts.pk, frozenset()))) for case in wanted(book, battery_ids)
    ]
    drawn = [(case, verdict) for case, verdict in cases if case.facts.state != BatteryState.RETIRED]
    return Fleet(
        fleet(drawn, scope.team.slug),
        {verdict.battery_id: verdict for _, verdict in cases},
        {case.facts.pk: health_of(case) for case, _ in cases},
    )


def _of_resistance(told: list[tuple[type[Rule], Verdict]]) -> str:
    """What is said of the resistance alone: how it rose, or what is missing to say so."""
    said = dict(told)
    rise = said[BatteryRise]
    return said[BatteryUnjudged].message if rise.state == NOT_JUDGED else rise.message


def _outings(battery: Battery, case: BatteryCase, group: Group) -> tuple[OutingEvidence, ...]:
    """Its outings that count, the latest first."""
    out, sag = case.book.outings, group.sag
    mine = np.flatnonzero(group.member_of_outing == case.at)
    rows = group.outings[mine]
    curve = rest_curve(battery.model)
    start, end = out.start_rest_v[rows], out.end_rest_v[rows]
    noted = ~np.isnan(out.used_ah[rows])
    used = np.where(noted, out.used_ah[rows], out.expected_ah[rows])
    charge = [
        np.full(rows.size, np.nan) if curve is None else state_of_charge_frac(v, curve) for v in (start, end)
    ]
    told = charge_use(charge[0], charge[1], used, battery.model.capacity_ah, group.policy)
    found = [
        OutingEvidence(
            day=day_to_date(out.day[row]),
            start_rest_v=_known(out.start_rest_v[row]),
            lowest_v=_known(out.lowest_v[row]),
            sag_v=_known(sag.sag_v[one]),
            ratio=_known(sag.ratio_of[one]),
            used_ah=_known(used[i]),
            used_from="log" if noted[i] else "simulated match",
            by_voltage_ah=_known(told.from_voltage_frac[i] * battery.model.capacity_ah),
            agrees=None if np.isnan(told.gap_frac[i]) else bool(told.agrees[i]),
            note=LEFT_OUT[OutingLeftOut(int(sag.left_out[one]))],
        )
        for i, (one, row) in enumerate(zip(mine.tolist(), rows.tolist(), strict=True))
    ]
    return tuple(reversed(found))


def _known(value: float) -> float | None:
    return float(value) if np.isfinite(value) else None


def may_words(verdict: HealthVerdict) -> str:
    """What may be done with it, as a sentence."""
    if verdict.may_match:
        more = " Nobody can say yet how it is." if verdict.standing == Standing.UNKNOWN else ""
        return f"It may go into a match.{more}"
    return "Not in a match; for practice it may go out." if verdict.may_practice else "It stays here."
