"""What the power page of a build says: one sentence, the margins by what matters, every battery on the cart."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from typing import Any, cast

from builds.models import Build
from builds.network import Assumption, Scenario
from builds.selectors.match_studies import StudyRow
from builds.studies import BatteryStudy, BatteryVerdict, LevelMargin, Node, Runs, SolvedBuild, SolvedCircuit
from compliance.models import Severity
from compliance.rules.base import SEVERITY_ORDER
from compliance.rules.load_limits import limits_by_pack
from compliance.rules.network import BoardSag
from compliance.selectors.margins import OK, CircuitMargin
from compliance.selectors.packs import PackTable
from compliance.selectors.power_drawings import plain, severity_of
from shared.access import Scope
from shared.web.figures import sign_of


@dataclass(frozen=True)
class PowerRow:
    """One circuit in one scenario beside its verdict."""

    found: SolvedCircuit
    node: Node
    margin: CircuitMargin | None
    state: str

    @property
    def matters(self) -> bool:
        """Is there anything to say of it: a verdict, or a device that needs a least voltage?"""
        return self.state != OK or self.found.minimum_v is not None


#: What a device must get less than the board for the heading to say so.
WORTH_A_WORD_V = 0.2
#: From which share of simulated matches with a brown-out a battery is left at home, or kept for practice (common
#: practice, no source). Counted is the lower end of the share's interval, so that a few unlucky matches condemn none;
#: one brown-out is enough to watch.
BROWNOUT_STEPS = ((0.5, Severity.STOP), (0.05, Severity.FIX), (0.0, Severity.WATCH))


@dataclass(frozen=True)
class CartRow:
    """A battery (or a new one) against this build: solved once, and over many matches if that was simulated."""

    label: str
    battery_id: int | None
    verdict: BatteryVerdict
    study: StudyRow | None

    @property
    def summary(self) -> Mapping[str, Any]:
        return self.study.summary if self.study else {}

    @property
    def brownout_frac(self) -> float | None:
        """Share of simulated matches with a brown-out, of the build as it is today."""
        share = self.summary.get("brownout_frac") if self.study and self.study.fresh else None
        return None if share is None else float(share)

    @property
    def state(self) -> str:
        """The severer of the two answers."""
        if self.verdict.verdict == Runs.NO:
            return Severity.STOP
        if self.brownout_frac:
            surely = float(self.summary.get("brownout_low_frac") or 0.0)
            return next(severity for least, severity in BROWNOUT_STEPS if surely >= least)
        return OK if self.verdict.verdict == Runs.YES else Severity.UNKNOWN

    @property
    def reason(self) -> str:
        """Why, in a sentence."""
        if self.verdict.verdict != Runs.NO and self.brownout_frac:
            return f"Browns out in {share_words(self.brownout_frac)} of the simulated matches."
        return self.verdict.reason


def share_words(share: float) -> str:
    """A share in whole per cent; a small one never reads as none."""
    return f"{share:.0%}" if share >= 0.01 else "under 1%"


def pushing_of(scope: Scope, build: Build, table: PackTable | None = None) -> int:
    """How many mechanisms push at once, as the rule pack of the build's season says; in two queries, if any."""
    table = table or PackTable.load([scope.team.pk])
    pack = table.pack_of(scope.team.pk, build.robot.season_id)
    return int(cast(float, limits_by_pack(table, BoardSag, "mechanisms")[pack]))


def power_rows(
    solved: SolvedBuild, scenario: Scenario, margins: Mapping[int, CircuitMargin]
) -> list[PowerRow]:
    """The circuits by what matters: verdict, then volts left, then share of the binding limit."""
    rows = []
    for found in solved.circuits:
        node, margin = found.nodes[scenario], margins.get(found.circuit_id)
        rows.append(PowerRow(found, node, margin, severity_of(node, margin)))
    return sorted(rows, key=_what_matters)


def _what_matters(row: PowerRow) -> tuple[int, float, float, str]:
    order = SEVERITY_ORDER.get(row.state, len(SEVERITY_ORDER))
    left = row.node.margin_v if row.node.margin_v is not None else float("inf")
    used = (row.margin.worst_frac if row.margin else None) or 0.0
    return order, left, -used, row.found.code


def headline(solved: SolvedBuild, scenario: Scenario, brownout_frac: float | None = None) -> str:
    """The answer in one sentence; with the share of simulated matches that brown out where there is one."""
    case = solved.scenarios[scenario]
    when = when_words(solved, scenario)
    if not case.solved:
        return (
            f"With {solved.battery.name} the voltage collapses {when}: the loads ask more than it can give."
        )
    falls = f"With {solved.battery.name} the board falls to {plain(case.board_v)} V {when}"
    if brownout_frac:
        falls += f" and browns out in {share_words(brownout_frac)} of simulated matches"
    worst = telling_level(solved, scenario)
    if worst is None or worst.load_v is None:
        return f"{falls}."
    # Most devices get nearly the board's voltage; only a lead of their own that takes a good share is worth a word.
    lost = (case.board_v or 0.0) - worst.load_v
    gets = f" and gets {plain(worst.load_v)} V" if abs(lost) >= WORTH_A_WORD_V else ""
    return f"{falls}; {worst.name} needs {plain(worst.minimum_v)} V{gets}."


def telling_level(solved: SolvedBuild, scenario: Scenario) -> LevelMargin | None:
    """The level to speak of: the worst that falls short, else the nearest one that sags with the battery.

    Behind a regulator the margin stays the same whatever the battery does, so it says nothing until it is used up.
    """
    by_id = {found.circuit_id: found for found in solved.circuits}
    levels = solved.scenarios[scenario].levels
    short = [level for level in levels if level.margin_v is None or level.margin_v < 0]
    sags = [level for level in levels if not behind_regulator(by_id, level.circuit_id)]
    return next(iter([*short, *sags, *levels]), None)


def behind_regulator(by_id: Mapping[int, SolvedCircuit], circuit_id: int | None) -> bool:
    """Does a regulator stand between the battery and this circuit's load?"""
    here = by_id.get(circuit_id or 0)
    up = by_id.get(here.fed_from_id or 0) if here else None
    while up is not None:
        if up.regulates:
            return True
        up = by_id.get(up.fed_from_id or 0)
    return False


def when_words(solved: SolvedBuild, scenario: Scenario) -> str:
    """The scenario as a clause: when DRIVE and ARM push together."""
    if scenario == Scenario.PUSH:
        names = list(dict.fromkeys(c.mechanism for c in solved.circuits if c.pushes and c.mechanism))
        if names:
            together = " together" if len(names) > 1 else ""
            return f"when {' and '.join(names)} push{'es' if len(names) == 1 else ''}{together}"
    return {
        Scenario.RUNNING: "while everything runs steadily",
        Scenario.PUSH: "when the heaviest mechanisms push",
        Scenario.ALL: "when everything peaks at once",
    }[scenario]


def cart_rows(batteries: BatteryStudy, studies: Iterable[StudyRow]) -> list[CartRow]:
    """Every battery of the team, the weakest first; a new one of the build's model last."""
    by_battery = {row.battery_id: row for row in studies}
    rows = [
        CartRow(found.code, found.battery_id, found, by_battery.get(found.battery_id))
        for found in reversed(batteries.rows)
    ]
    new = batteries.as_new
    return [*rows, CartRow(new.code, None, new, by_battery.get(None))] if new else rows


def weakest(rows: Sequence[CartRow]) -> CartRow | None:
    """The judged battery with the least to spare; among equals the one whose board falls lowest."""
    judged = [
        (round(row.verdict.margin_v, 3), row.verdict.board_v or 0.0, row.label, row)
        for row in rows
        if row.battery_id and row.verdict.margin_v is not None
    ]
    return min(judged)[3] if judged else None


def regulated_ids(solved: SolvedBuild) -> set[int]:
    """The circuits whose load hangs behind a regulator."""
    by_id = {found.circuit_id: found for found in solved.circuits}
    return {pk for pk in by_id if behind_regulator(by_id, pk)}


def assumption_lines(assumptions: Iterable[Assumption]) -> list[tuple[str, str]]:
    """What was assumed, once each, with the circuits it was assumed of."""
    lines: dict[str, list[str]] = {}
    for found in assumptions:
        figure = (
            "" if found.value is None else f": {plain(found.value, '0-2')} {sign_of(found.unit)}".rstrip()
        )
        lines.setdefault(f"{found.what}{figure} ({found.source})", []).append(found.code)
    return [(line, ", ".join(codes)) for line, codes in lines.items()]
