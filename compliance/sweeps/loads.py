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
from compliance.rules.load_bench import Case, Grade
from compliance.rules.load_judge import judge_all
from compliance.rules.load_words import message_of, working_of
from compliance.rules.network_facts import NetworkFacts
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


def load_facts(builds: QuerySet[Build], team_ids: Sequence[int]) -> NetworkFacts:
    """The circuits of these builds, each with the rule pack of its robot's season."""
    rows, table = load_circuits(builds), PackTable.load(team_ids)
    teams, seasons = (rows.builds.table.ids(name).tolist() for name in ("team_id", "robot__season_id"))
    packs = {pair: table.pack_of(*pair) for pair in set(zip(teams, seasons, strict=True))}
    build_pack = np.array([packs[pair] for pair in zip(teams, seasons, strict=True)], dtype=np.int64)
    return NetworkFacts(rows, table, build_pack)


def _finding(rule: type[Rule], case: Case) -> Finding:
    facts, i, message = case.f, case.i, message_of(rule, case)
    builds = facts.rows.builds
    of_build = rule.subject == SubjectKind.BUILD
    return Finding(
        team_id=int(builds.table.ids("team_id")[i] if of_build else facts.rows.team_ids[i]),
        rule_code=rule.code,
        subject_kind=rule.subject,
        subject_id=int(builds.table.ids("id")[i] if of_build else facts.rows.ids[i]),
        subject_label=facts.build_label(i) if of_build else facts.rows.label(i),
        severity=facts.table.severity(rule, int(facts.packs_of(rule)[i]), case.grade.word),
        message=message[:400],
        value=case.value if np.isfinite(case.value) else None,
        limit=case.limit if np.isfinite(case.limit) else None,
        unit=case.judged.unit,
        working=working_of(rule, case, message),
    )
