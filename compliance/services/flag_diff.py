"""What a sweep found beside what is on record: which flags open, change, come back or clear."""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from typing import Any

from compliance.models import Flag, FlagState
from compliance.rules.base import SEVERITY_ORDER, Finding
from compliance.services.plain import plain

Key = tuple[str, str, int]

#: Two figures that agree to so many digits are the same figure: sums taken in another order differ in the last bits.
SAME_DIGITS = 7

#: The columns a finding sets, in the order in which they are read.
SAID = ("severity", "subject_label", "message", "value", "limit", "unit", "working")
_LENGTHS: dict[str, int] = {
    field.name: field.max_length for field in Flag._meta.concrete_fields if field.max_length is not None
}


@dataclass(frozen=True, slots=True)
class Known:
    """A flag on record."""

    pk: int
    team_id: int
    state: str
    severity: str
    said: tuple[Any, ...]


@dataclass
class Diff:
    """The flags to write and what becomes of each. ``quiet`` ones differ in their working only."""

    opened: list[Finding] = field(default_factory=list)
    reopened: list[tuple[Known, Finding]] = field(default_factory=list)
    escalated: list[tuple[Known, Finding]] = field(default_factory=list)
    eased: list[tuple[Known, Finding]] = field(default_factory=list)
    reworded: list[tuple[Known, Finding]] = field(default_factory=list)
    quiet: list[tuple[Known, Finding]] = field(default_factory=list)
    gone: dict[Key, Known] = field(default_factory=dict)


def diff(known: Mapping[Key, Known], findings: Iterable[Finding]) -> Diff:
    """Compare; a flag that is cleared already and not found again is left alone."""
    found = most_serious(findings)
    result = Diff(
        gone={k: flag for k, flag in known.items() if flag.state == FlagState.OPEN and k not in found}
    )
    for key, finding in found.items():
        flag = known.get(key)
        if flag is None:
            result.opened.append(finding)
        elif flag.state == FlagState.CLEARED:
            result.reopened.append((flag, finding))
        elif flag.severity != finding.severity:
            worse = SEVERITY_ORDER[finding.severity] < SEVERITY_ORDER[flag.severity]
            (result.escalated if worse else result.eased).append((flag, finding))
        else:
            _compare_wording(result, flag, finding)
    return result


def _compare_wording(result: Diff, flag: Known, finding: Finding) -> None:
    said = said_by(finding)
    if said == flag.said:
        return
    if not same(said[:-1], flag.said[:-1]):
        result.reworded.append((flag, finding))
    elif not same(said[-1], flag.said[-1]):
        result.quiet.append((flag, finding))


def most_serious(findings: Iterable[Finding]) -> dict[Key, Finding]:
    """One finding per rule and subject; should a rule say two things of a subject, the more serious."""
    found: dict[Key, Finding] = {}
    for finding in findings:
        other = found.get(finding.key)
        if other is None or SEVERITY_ORDER[finding.severity] < SEVERITY_ORDER[other.severity]:
            found[finding.key] = finding
    return found


def said_by(finding: Finding) -> tuple[Any, ...]:
    """What a finding writes into the columns ``SAID``, fit for them."""
    return (*words_of(finding), plain(finding.working))


def words_of(finding: Finding) -> tuple[Any, ...]:
    """The same but for the working."""
    return (
        str(finding.severity),
        _cut(finding.subject_label, "subject_label"),
        _cut(finding.message, "message"),
        _finite(finding.value),
        _finite(finding.limit),
        _cut(finding.unit, "unit"),
    )


def _cut(text: str, column: str) -> str:
    longest = _LENGTHS[column]
    return text if len(text) <= longest else text[: longest - 1] + "…"


def _finite(value: float | None) -> float | None:
    return None if value is None or not math.isfinite(value) else float(value)


def same(a: Any, b: Any) -> bool:
    """Equal, figures to ``SAME_DIGITS`` digits."""
    if isinstance(a, Mapping) and isinstance(b, Mapping):
        return a.keys() == b.keys() and all(same(a[k], b[k]) for k in a)
    if isinstance(a, list | tuple) and isinstance(b, list | tuple):
        return len(a) == len(b) and all(map(same, a, b))
    if isinstance(a, float | int) and isinstance(b, float | int):
        return math.isclose(a, b, rel_tol=10.0**-SAME_DIGITS, abs_tol=1e-12)
    return bool(a == b)
