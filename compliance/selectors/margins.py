"""How near its limits each circuit of a build is, and the whole working of one circuit.

Both come from the very columns and verdicts of the sweep, so a page cannot say something else than a flag.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

import numpy as np

from builds.models import Build, Circuit
from compliance.models import Severity
from compliance.rules.base import SEVERITY_ORDER, Rule
from compliance.rules.load_bench import Case, Grade, Judged
from compliance.rules.load_judge import judge_all
from compliance.rules.load_words import message_of, working_of
from compliance.rules.loads import RULES as LOAD_RULES
from compliance.rules.loads import DeviceLoad, DeviceRating, FeedSum, WireAmpacity, WireDrop
from compliance.rules.network import BUILD_RULES, CIRCUIT_RULES
from compliance.rules.network_facts import NetworkFacts
from compliance.sweeps.loads import load_facts
from shared.access import Scope

OK, SILENT, OFF = "ok", "silent", "off"
#: The rules that have a circuit as their subject, in the order of the pages.
RULES: tuple[type[Rule], ...] = (*LOAD_RULES, *CIRCUIT_RULES)
#: The rules that compare an amount with a limit of the same unit: of these a share can be told.
SHARED: dict[type[Rule], str] = {
    WireAmpacity: "of what the wire may carry",
    WireDrop: "of the allowed voltage drop",
    DeviceRating: "of the largest device the wire allows",
    DeviceLoad: "of what the device carries steadily",
    FeedSum: "of what the feed may carry",
}


@dataclass(frozen=True, slots=True)
class CircuitMargin:
    """One circuit against its limits; None where a figure is missing. A share of 1 stands at the limit."""

    circuit: Circuit
    effective_a: float | None
    ampacity_a: float | None
    ampacity_frac: float | None
    drop_v: float | None
    drop_limit_v: float | None
    drop_frac: float | None
    device_frac: float | None
    worst_frac: float | None
    worst_rule: type[Rule] | None
    state: str
    verdict: str


@dataclass(frozen=True, slots=True)
class RuleCheck:
    """One rule on one circuit or build. State: ok, a severity, ``silent`` (does not apply, lacks a figure), ``off``."""

    rule: type[Rule]
    state: str
    working: Mapping[str, Any]

    @property
    def state_label(self) -> str:
        words = {OK: "Within limits", SILENT: "Not judged", OFF: "Switched off"}
        return words.get(self.state) or Severity(self.state).label


@dataclass(frozen=True)
class _Judgement:
    """The circuits of one build, judged."""

    facts: NetworkFacts
    judged: dict[type[Rule], Judged]

    def case(self, rule: type[Rule], i: int) -> Case:
        return Case(self.facts, i, self.judged[rule])

    def state(self, rule: type[Rule], i: int) -> str:
        table, pack = self.facts.table, int(self.facts.packs_of(rule)[i])
        grade = self.case(rule, i).grade
        if not table.enabled(rule)[pack]:
            return OFF
        if grade == Grade.SILENT:
            return SILENT
        return OK if grade == Grade.PASS else table.severity(rule, pack, grade.word)

    def checks(self, rules: tuple[type[Rule], ...], i: int) -> list[RuleCheck]:
        """These rules on their ``i``-th subject with their workings."""
        return [RuleCheck(rule, self.state(rule, i), working_of(rule, self.case(rule, i))) for rule in rules]

    def shares(self, i: int) -> dict[type[Rule], float]:
        """Per rule that compares two amounts, how much of the limit is used."""
        found = {}
        for rule in SHARED:
            case = self.case(rule, i)
            applies = case.grade != Grade.SILENT and np.isfinite(case.value) and case.limit > 0
            if applies and np.isfinite(case.limit):
                found[rule] = case.value / case.limit
        return found

    def flagged(self, i: int) -> list[tuple[type[Rule], str]]:
        """The rules that flag the circuit with their severity, the most serious first."""
        states = [(rule, self.state(rule, i)) for rule in RULES]
        return sorted(
            ((rule, state) for rule, state in states if state in SEVERITY_ORDER),
            key=lambda pair: SEVERITY_ORDER[pair[1]],
        )


def facts_of(scope: Scope, build: Build) -> NetworkFacts:
    """The circuits of one build with their rule pack; a fixed number of queries."""
    return load_facts(scope.rows(Build).filter(pk=build.pk), [scope.team.pk])


def _judge(scope: Scope, build: Build, facts: NetworkFacts | None = None) -> _Judgement:
    facts = facts or facts_of(scope, build)
    return _Judgement(facts, judge_all(facts))


@dataclass(frozen=True, slots=True)
class BuildVerdict:
    """A build as the sweep sees it: its circuits, the worst first, and what is said of the robot as a whole."""

    margins: list[CircuitMargin]
    checks: list[RuleCheck]

    @property
    def failing(self) -> list[RuleCheck]:
        return [check for check in self.checks if check.state in SEVERITY_ORDER]

    @property
    def passed(self) -> list[RuleCheck]:
        return [check for check in self.checks if check.state == OK]


def build_verdict(scope: Scope, build: Build) -> BuildVerdict:
    """All that the load sweep judges of a build; a fixed number of queries."""
    told = _judge(scope, build)
    checks = told.checks(BUILD_RULES, 0) if told.facts.rows.builds.table.size else []
    return BuildVerdict(_margins(scope, build, told), checks)


def circuit_margins(scope: Scope, build: Build, facts: NetworkFacts | None = None) -> list[CircuitMargin]:
    """Every circuit of the build with its margins, the worst first; a fixed number of queries.

    ``facts``: those of this build, where they were read before.
    """
    return _margins(scope, build, _judge(scope, build, facts))


def _margins(scope: Scope, build: Build, told: _Judgement) -> list[CircuitMargin]:
    circuits = (
        scope.rows(Circuit)
        .filter(build=build)
        .select_related("device", "wire", "component", "fed_from")
        .in_bulk(told.facts.rows.ids.tolist())
    )
    margins = [
        _margin(told, i, circuits[int(pk)]) for i, pk in enumerate(told.facts.rows.ids) if int(pk) in circuits
    ]
    return sorted(margins, key=_worst_first)


def circuit_working(scope: Scope, circuit: Circuit) -> list[RuleCheck]:
    """Every load rule on this circuit with its working, passed ones too, in the order of the rules."""
    told = _judge(scope, circuit.build)
    at = np.flatnonzero(told.facts.rows.ids == circuit.pk)
    if not at.size:
        return []
    return told.checks(RULES, int(at[0]))


def _margin(told: _Judgement, i: int, circuit: Circuit) -> CircuitMargin:
    f, shares, flagged = told.facts, told.shares(i), told.flagged(i)
    largest = max(shares, key=lambda rule: shares[rule], default=None)
    worst = flagged[0][0] if flagged else largest
    drop = told.case(WireDrop, i)
    return CircuitMargin(
        circuit=circuit,
        effective_a=_figure(float(f.load.current_a[i])),
        ampacity_a=_figure(float(f.ampacity_a[i])),
        ampacity_frac=shares.get(WireAmpacity),
        drop_v=_figure(drop.value),
        drop_limit_v=_figure(drop.limit),
        drop_frac=shares.get(WireDrop),
        device_frac=shares.get(DeviceLoad),
        worst_frac=shares.get(worst) if flagged and worst else max(shares.values(), default=None),
        worst_rule=worst,
        state=_state(flagged, shares),
        verdict=_verdict(told, i, worst, flagged),
    )


def _state(flagged: list[tuple[type[Rule], str]], shares: dict[type[Rule], float]) -> str:
    if flagged:
        return flagged[0][1]
    # Nothing wrong, but nothing compared either, is not the same as within limits.
    return OK if shares else str(Severity.UNKNOWN)


def _verdict(
    told: _Judgement,
    i: int,
    worst: type[Rule] | None,
    flagged: list[tuple[type[Rule], str]],
) -> str:
    if flagged and worst:
        more = len(flagged) - 1
        return message_of(worst, told.case(worst, i)) + (f" And {more} more." if more else "")
    if worst is None:
        return "Nothing to compare: no figures entered."
    share = told.shares(i)[worst]
    return f"Within limits: at most {share:.0%} {SHARED[worst]}."


def _figure(value: float) -> float | None:
    return value if np.isfinite(value) else None


def _worst_first(margin: CircuitMargin) -> tuple[int, float, str]:
    order = SEVERITY_ORDER.get(margin.state, len(SEVERITY_ORDER))
    return (order, -(margin.worst_frac or 0.0), margin.circuit.code)
