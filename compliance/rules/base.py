"""What a rule is and what it finds.

A rule is a small class: a code of our own, a title, what it asks, the formula and the limits with their sources. The
sweeps judge whole columns of subjects at once and build a ``Finding`` only for the subjects that fail (or that cannot
be judged); the same working can be asked for any subject, passed or not.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any, ClassVar

from compliance.models import Severity, SubjectKind
from shared.electrical.sources import Source

#: Most serious first. 'Cannot judge' stands between fix and watch: nobody knows that it is harmless.
SEVERITY_ORDER: dict[str, int] = {Severity.STOP: 0, Severity.FIX: 1, Severity.UNKNOWN: 2, Severity.WATCH: 3}

LimitValue = float | int | str


@dataclass(frozen=True)
class Limit:
    """One number (or table name) of a rule that a rule pack may set."""

    name: str
    default: LimitValue
    unit: str
    explanation: str
    source: Source
    choices: tuple[str, ...] = ()
    low: float | None = None
    high: float | None = None

    def read(self, given: Any) -> LimitValue:
        """The value a pack gives, checked; raises ``ValueError`` with a sentence that says what would be right."""
        if self.choices:
            if given in self.choices:
                return str(given)
            raise ValueError(f"{self.name} is {given!r}; choose one of {', '.join(self.choices)}.")
        try:
            number = float(given)
        except (TypeError, ValueError):
            raise ValueError(
                f"{self.name} is {given!r}; write a number in {self.unit or 'plain units'}."
            ) from None
        low = self.low if self.low is not None else 0.0
        if not (low <= number <= (self.high if self.high is not None else float("inf"))):
            raise ValueError(
                f"{self.name} is {number:g}; it lies between {low:g} and {self.high or 'no end'}."
            )
        return number


class Rule:
    """Base of all rules. Subclasses set the class attributes; the sweep modules do the judging in columns."""

    code: ClassVar[str]
    title: ClassVar[str]
    sweep: ClassVar[str]
    subject: ClassVar[str] = SubjectKind.CIRCUIT
    severity: ClassVar[str]
    asks: ClassVar[str]
    formula: ClassVar[str]
    needs: ClassVar[tuple[str, ...]] = ()
    remedy: ClassVar[str]
    limits: ClassVar[tuple[Limit, ...]] = ()
    sources: ClassVar[tuple[Source, ...]] = ()

    @classmethod
    def limit(cls, name: str) -> Limit:
        for limit in cls.limits:
            if limit.name == name:
                return limit
        raise KeyError(f"{cls.code} has no limit called {name!r}.")


@dataclass(frozen=True, slots=True)
class Finding:
    """One rule says this of one subject."""

    team_id: int
    rule_code: str
    subject_kind: str
    subject_id: int
    subject_label: str
    severity: str
    message: str
    value: float | None = None
    limit: float | None = None
    unit: str = ""
    working: Mapping[str, Any] = field(default_factory=dict)

    @property
    def key(self) -> tuple[str, str, int]:
        return (self.rule_code, self.subject_kind, self.subject_id)


def step(label: str, formula: str, numbers: str, result: float | str, unit: str = "") -> dict[str, Any]:
    """One line of a working: what is computed, by which formula, with which numbers, and what comes out."""
    return {"label": label, "formula": formula, "numbers": numbers, "result": result, "unit": unit}


def working(
    steps: list[dict[str, Any]],
    *,
    limit: Mapping[str, Any] | None,
    conclusion: str,
    sources: tuple[Source, ...],
) -> dict[str, Any]:
    """A working as the pages, the API and the command print it."""
    return {
        "steps": steps,
        "limit": dict(limit) if limit else None,
        "conclusion": conclusion,
        "source": "; ".join(str(s) for s in sources),
        "status": ", ".join(sorted({s.status for s in sources})),
    }
