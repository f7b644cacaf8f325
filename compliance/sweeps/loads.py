"""The load sweep: whole columns of circuits are judged at once, words are made only for what is found."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import datetime

import numpy as np
from django.db.models import QuerySet

from builds.electrical import judged_builds, load_circuits
from builds.models import Build
from compliance.models import SubjectKind
from compliance.rules.base import Finding, Rule
from compliance.rules.load_facts import LoadFacts
from compliance.rules.load_judge import Grade, Judged, judge_all
from compliance.rules.load_words import Case, message_of, working_of
from compliance.selectors.packs import PackTable


def findings(team_ids: Sequence[int], *, now: datetime) -> tuple[list[Finding], dict[str, int]]:
    """What the load rules find in the current builds of these teams, and how much was looked at."""
    facts = load_facts(judged_builds(team_ids), team_ids)
    found = [
        _finding(rule, Case(facts, int(i), judged))
        for rule, judged in judge_all(facts).items()
        for i in np.flatnonzero(judged.grade > Grade.PASS)
    ]
    return found, {"circuits": facts.rows.size, "builds": facts.rows.builds.table.size}


def load_facts(builds: QuerySet[Build], team_ids: Sequence[int]) -> LoadFacts:
    """The circuits of these builds, each with the rule pack of its robot's season."""
    rows, table = load_circuits(builds), PackTable.load(team_ids)
    packs: dict[tuple[int, int], int] = {}
    for team, season in set(zip(rows.team_ids.tolist(), rows.season_ids.tolist(), strict=True)):
        packs[team, season] = table.pack_of(team, season)
    pairs = zip(rows.team_ids.tolist(), rows.season_ids.tolist(), strict=True)
    return LoadFacts(rows, table, np.array([packs[pair] for pair in pairs], dtype=np.int64))


def _finding(rule: type[Rule], case: Case) -> Finding:
    facts, i = case.f, case.i
    judged: Judged = case.judged
    message = message_of(rule, case)
    return Finding(
        team_id=int(facts.rows.team_ids[i]),
        rule_code=rule.code,
        subject_kind=SubjectKind.CIRCUIT,
        subject_id=int(facts.rows.ids[i]),
        subject_label=facts.rows.label(i),
        severity=facts.table.severity(rule, int(facts.pack[i]), case.grade.word),
        message=message,
        value=case.value if np.isfinite(case.value) else None,
        limit=case.limit if np.isfinite(case.limit) else None,
        unit=judged.unit,
        working=working_of(rule, case, message),
    )
