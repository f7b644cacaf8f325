"""One verdict on a battery from everything known of it: may it go out, and if nobody can say, what would settle it.

A verdict belongs to (evidence, policy). Each rule that speaks of a battery, its incidents and what the team decided
give one ``Reason`` each; the gravest decides the word, the others stay beside it.

* ``quarantine``: the team put it there, or an incident after which nobody may use it has not been looked at.
* ``retire``: retired, or its resistance or its capacity is past the limit.
* ``practice``: kept for practice, or its resistance is past that limit.
* ``unknown``: too little is comparable or recent, or the newest reading jumped: check the lugs, then measure again.
* ``watch``: a first limit is passed, by what may be chance, age or use; it sags more than its resistance explains; or
  something happened to it that nobody has looked at.
* ``fit``: it is judged, and nothing speaks against it.

Too little evidence never keeps a battery from a match by itself: a new cart has none. A jump does, until it is measured
again, and so does an incident that asks for something to be put right.
"""

from __future__ import annotations

from collections.abc import Collection, Iterable, Mapping
from dataclasses import dataclass, field
from enum import StrEnum
from typing import Any

from compliance.models import Severity
from compliance.rules.base import Rule
from compliance.rules.batteries import (
    BatteryCapacity,
    BatteryIncidentOpen,
    BatteryRise,
    BatterySudden,
    BatteryTopUp,
    BatteryUnjudged,
)
from compliance.rules.battery_care import number
from compliance.rules.battery_judge import NOT_JUDGED, OFF, PASSED, Verdict
from compliance.selectors.battery_book import BatteryCase
from inventory.models import BatteryState as Kept
from shared.planning.trends import BatteryState, CapacityDoubt


class Standing(StrEnum):
    """What may be done with a battery, the gravest first."""

    QUARANTINE = "quarantine"
    RETIRE = "retire"
    PRACTICE = "practice"
    UNKNOWN = "unknown"
    WATCH = "watch"
    FIT = "fit"

    @property
    def word(self) -> str:
        """As pages print it."""
        return _WORDS[self]


_WORDS = {
    Standing.QUARANTINE: "Quarantine",
    Standing.RETIRE: "Retire",
    Standing.PRACTICE: "Practice only",
    Standing.UNKNOWN: "Cannot judge",
    Standing.WATCH: "Watch",
    Standing.FIT: "Fit",
}
GRAVEST = {standing: place for place, standing in enumerate(Standing)}
#: No match and no practice with these.
_STAYS = (Standing.QUARANTINE, Standing.RETIRE)
_BY_RISE = {BatteryState.PRACTICE_ONLY: Standing.PRACTICE, BatteryState.RETIRE: Standing.RETIRE}
#: Without one of these nothing says that a battery is fit: age and use are no measurement.
_JUDGES = (BatteryRise, BatteryCapacity)


@dataclass(frozen=True)
class Reason:
    """One thing that speaks of a battery; ``holds``: no match before it is settled. ``rule`` None: no rule's."""

    standing: Standing
    sentence: str
    rule: type[Rule] | None = None
    holds: bool = False
    working: Mapping[str, Any] = field(default_factory=dict)


@dataclass(frozen=True)
class HealthVerdict:
    """The verdict with its reasons, the gravest first; ``settles`` says what would settle a doubt."""

    battery_id: int
    code: str
    standing: Standing
    sentence: str
    settles: str
    may_match: bool
    may_practice: bool
    reasons: tuple[Reason, ...]

    @property
    def state(self) -> str:
        return str(self.standing)

    @property
    def word(self) -> str:
        return self.standing.word


def combined(
    case: BatteryCase, told: Iterable[tuple[str, Verdict]], waived: Collection[str] = ()
) -> HealthVerdict:
    """The verdict on one battery from what its rules say, each with the state its team's rule pack gives it.

    A waived rule keeps its word, for the evidence is what it is; but the person who waived it lets the battery go out,
    unless it is in quarantine.
    """
    reasons = kept_reasons(case)
    reasons += [_of_rule(case, state, verdict) for state, verdict in told if state not in (NOT_JUDGED, OFF)]
    if not any(reason.rule in _JUDGES or reason.standing != Standing.FIT for reason in reasons):
        reasons.append(
            Reason(Standing.UNKNOWN, "The rule pack lets no rule judge its resistance or capacity.")
        )
    spoken = sorted(reasons, key=lambda reason: GRAVEST[reason.standing])
    first = spoken[0]
    binding = [reason for reason in spoken if not _let_off(reason, waived)]
    gravest = binding[0].standing if binding else Standing.FIT
    usable = gravest not in _STAYS
    return HealthVerdict(
        battery_id=case.facts.pk,
        code=case.facts.code,
        standing=first.standing,
        sentence=first.sentence,
        settles=first.sentence if first.standing == Standing.UNKNOWN else "",
        may_match=usable and gravest != Standing.PRACTICE and not any(reason.holds for reason in binding),
        may_practice=usable,
        reasons=tuple(spoken),
    )


def _let_off(reason: Reason, waived: Collection[str]) -> bool:
    """Whether a person answers for it; for a quarantine nobody does from a desk."""
    return reason.rule is not None and reason.rule.code in waived and reason.standing != Standing.QUARANTINE


def kept_reasons(case: BatteryCase) -> list[Reason]:
    """What the team itself decided about the battery."""
    given = {
        Kept.QUARANTINE: (
            Standing.QUARANTINE,
            "Quarantined: it is neither charged nor used until it is let go.",
        ),
        Kept.RETIRED: (Standing.RETIRE, "Retired: it is out of use."),
        Kept.PRACTICE: (Standing.PRACTICE, "Kept for practice: the team decided so."),
    }.get(Kept(case.facts.state))
    return [Reason(*given)] if given else []


def _of_rule(case: BatteryCase, state: str, verdict: Verdict) -> Reason:
    """What one rule's verdict means for the battery."""
    standing = Standing.FIT if state == PASSED else _standing(case, verdict)
    # A lug that may be loose, a battery that was run flat: first somebody looks, then it goes out.
    holds = (verdict.rule is BatterySudden and standing == Standing.UNKNOWN) or (
        verdict.rule is BatteryIncidentOpen and verdict.state == Severity.FIX
    )
    return Reason(standing, verdict.message, verdict.rule, holds=holds, working=verdict.working)


def _standing(case: BatteryCase, verdict: Verdict) -> Standing:
    group, at, rule = case.group, case.at, verdict.rule
    if rule is BatteryIncidentOpen:
        return Standing.QUARANTINE if verdict.state == Severity.STOP else Standing.WATCH
    if rule is BatteryTopUp:
        # A charge that is due says nothing of how it is, but where it stood so empty that it suffered.
        empty = (
            verdict.value is not None
            and verdict.unit == "V"
            and verdict.value < number(case, rule, "damage_rest_v")
        )
        return Standing.WATCH if empty else Standing.FIT
    if rule in (BatteryUnjudged, BatterySudden) or group is None:
        return Standing.UNKNOWN
    if rule is BatteryRise:
        return _BY_RISE.get(BatteryState(int(group.told.state[at])), Standing.WATCH)
    if rule is BatteryCapacity:
        test = int(group.test[at])
        if group.capacity.doubt[test] != CapacityDoubt.NONE:
            # A test that says nothing takes nothing away from what the readings say.
            return Standing.FIT
        return Standing.RETIRE if group.capacity.state[test] == BatteryState.RETIRE else Standing.WATCH
    return Standing.WATCH
