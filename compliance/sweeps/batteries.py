"""The battery sweep: whole columns are judged at once, words are made only for what is found."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from datetime import datetime

import numpy as np

from compliance.models import SubjectKind
from compliance.rules.base import Finding, Rule
from compliance.rules.batteries import (
    BatteryCapacity,
    BatteryIncidentOpen,
    BatteryRise,
    BatterySag,
    BatterySudden,
    BatteryTopUp,
    BatteryUnjudged,
    BatteryUse,
)
from compliance.rules.battery_care import topup_suspects
from compliance.rules.battery_judge import Verdict
from compliance.rules.battery_judges import JUDGES
from compliance.selectors.battery_book import BatteryBook, BatteryCase, Group, load_book
from compliance.selectors.battery_columns import kept_batteries
from shared.planning.trends import BatteryState


def findings(team_ids: Sequence[int], *, now: datetime) -> tuple[list[Finding], dict[str, int]]:
    """What the battery rules find in these teams, and how much was looked at."""
    book = load_book(kept_batteries(team_ids), team_ids=team_ids, now=now, lines_of_all=False)
    enabled = {rule: book.table.enabled(rule) for rule in JUDGES}
    found = [
        _finding(case, verdict)
        for rule, case in _suspects(book)
        if enabled[rule][case.pack] and (verdict := JUDGES[rule](case)).found
    ]
    columns = book.columns
    return found, {
        "batteries": int(columns.facts.judged.sum()),
        "readings": int(columns.readings.battery.size),
        "capacity_tests": int(columns.tests.battery.size),
    }


def _suspects(book: BatteryBook) -> Iterator[tuple[type[Rule], BatteryCase]]:
    """Which rule may have something to say of which battery, in the order of the batteries."""
    marks: dict[int, list[tuple[type[Rule], BatteryCase]]] = {}
    for group in book.groups:
        for rule, mask in _masks(book, group).items():
            for at in np.flatnonzero(mask):
                row = int(group.members[at])
                marks.setdefault(row, []).append((rule, BatteryCase(book, row, group, int(at))))
    facts = book.columns.facts
    for row, pack in enumerate(book.pack_of):
        if pack in book.problems and facts.judged[row]:
            marks.setdefault(row, []).append((BatteryUnjudged, BatteryCase(book, row, None, -1)))
    for row in sorted(marks):
        yield from marks[row]


def _masks(book: BatteryBook, group: Group) -> dict[type[Rule], np.ndarray]:
    """Per rule, the members it does not simply pass; the verdict has the last word."""
    told = group.told
    lithium = book.columns.facts.lithium[group.members]
    stale = book.today - group.newest_day > group.stale_after_d
    tested = group.test >= 0
    fit_test = np.zeros(group.members.size, dtype=bool)
    fit_test[tested] = group.capacity.state[group.test[tested]] == BatteryState.FIT
    masks: dict[type[Rule], np.ndarray] = {
        BatteryRise: told.state >= BatteryState.WATCH,
        BatterySudden: told.sudden,
        BatteryCapacity: tested & ~fit_test,
        BatteryUse: group.use == BatteryState.WATCH,
        BatteryUnjudged: (told.state < BatteryState.FIT) | stale | lithium,
        BatterySag: group.sag.sags,
        BatteryTopUp: topup_suspects(book)[group.members],
    }
    judged = book.columns.facts.judged[group.members]
    # What happened to a battery in quarantine has to be looked at all the same.
    waiting = np.zeros(len(book.columns.facts), dtype=bool)
    waiting[list(book.care.incidents)] = True
    incidents = waiting & ~book.columns.facts.retired
    return {rule: mask & judged for rule, mask in masks.items()} | {
        BatteryIncidentOpen: incidents[group.members]
    }


def _finding(case: BatteryCase, verdict: Verdict) -> Finding:
    table = case.book.table
    return Finding(
        team_id=case.facts.team_id,
        rule_code=verdict.rule.code,
        subject_kind=SubjectKind.BATTERY,
        subject_id=case.facts.pk,
        subject_label=case.facts.code,
        severity=table.severity(verdict.rule, case.pack, verdict.state),
        message=verdict.message[:400],
        value=verdict.value,
        limit=verdict.limit,
        unit=verdict.unit,
        working=verdict.working,
    )
