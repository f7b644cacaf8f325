"""The stock sweep: what each team is short of before its next event, or below its own floor."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from datetime import datetime

from django.utils import timezone

from compliance.models import SubjectKind
from compliance.rules.base import Finding, Rule
from compliance.rules.stock import StockFloor, StockNoOffer, StockShort, number_or_default, stock_working
from compliance.rules.stock_judge import Verdict, floor_verdict, no_offer_verdict, short_verdict
from compliance.selectors.packs import PackTable
from compliance.selectors.stock_cases import StockCase, stock_cases


def findings(team_ids: Sequence[int], *, now: datetime) -> tuple[list[Finding], dict[str, int]]:
    """What the stock rules find in these teams, and how many parts were looked at."""
    table = PackTable.load(team_ids)
    # Stock outlives a season, so the team's general pack judges it, never one of a season.
    packs = {team_id: table.pack_of(team_id, None) for team_id in team_ids}
    horizons = {team_id: number_or_default(table, "horizon_days", pack) for team_id, pack in packs.items()}
    soon = {pack: number_or_default(table, "soon_days", pack) for pack in set(packs.values())}
    rules: tuple[type[Rule], ...] = (StockShort, StockNoOffer, StockFloor)
    enabled = {rule: table.enabled(rule) for rule in rules}
    found, parts = [], 0
    for case in stock_cases(team_ids, today=timezone.localdate(now), horizon_days=horizons):
        parts += 1
        pack = packs[case.part.team_id]
        for rule, verdict in _verdicts(case, soon[pack]):
            if enabled[rule][pack]:
                found.append(_finding(case, rule, verdict, table, pack))
    return found, {"parts": parts, "teams": len(packs)}


def _verdicts(case: StockCase, soon_days: float) -> Iterator[tuple[type[Rule], Verdict]]:
    judged: tuple[tuple[type[Rule], Verdict | None], ...] = (
        (StockShort, short_verdict(case, soon_days=soon_days)),
        (StockNoOffer, no_offer_verdict(case)),
        (StockFloor, floor_verdict(case)),
    )
    for rule, verdict in judged:
        if verdict is not None:
            yield rule, verdict


def _finding(case: StockCase, rule: type[Rule], verdict: Verdict, table: PackTable, pack: int) -> Finding:
    return Finding(
        team_id=case.part.team_id,
        rule_code=rule.code,
        subject_kind=SubjectKind.PART,
        subject_id=case.part.pk,
        subject_label=case.part.code,
        severity=table.severity(rule, pack, verdict.severity),
        message=verdict.message[:400],
        value=verdict.value,
        limit=verdict.limit,
        unit=verdict.unit,
        working=stock_working(rule, verdict, table, pack),
    )
