"""What the judges of the load rules share: grades, whole columns of verdicts, and what was said so far."""

from __future__ import annotations

from dataclasses import dataclass, field
from enum import IntEnum

import numpy as np
import numpy.typing as npt

from compliance.rules.base import Rule
from compliance.rules.network_facts import NetworkFacts
from shared.columns import BoolArray, FloatArray
from shared.electrical.arrays import IntArray, Verdict

GradeArray = npt.NDArray[np.int8]


class Grade(IntEnum):
    """What a rule says of a circuit."""

    SILENT = -1
    PASS = 0
    UNKNOWN = 1
    WATCH = 2
    FIX = 3
    STOP = 4

    @property
    def word(self) -> str:
        """The severity of a flag of this grade."""
        return self.name.lower()


@dataclass(frozen=True)
class Judged:
    """One rule over all circuits; value and limit are NaN where there is nothing to compare."""

    grade: GradeArray
    value: FloatArray
    limit: FloatArray
    unit: str = ""


@dataclass(frozen=True)
class Bench:
    """The facts and what the rules judged so far said of them, for rules that give way to others."""

    facts: NetworkFacts
    done: dict[type[Rule], Judged] = field(default_factory=dict)

    def flagged(self, rule: type[Rule]) -> BoolArray:
        return np.asarray(self.done[rule].grade > Grade.PASS)


def graded(check: IntArray, bad: Grade | GradeArray, applies: BoolArray | bool = True) -> GradeArray:
    """A three-valued check as grades; what cannot be compared is silent, for ``circuit-unknown`` says it."""
    grade = np.where(check == Verdict.FAILS, np.int8(bad), np.int8(Grade.PASS))
    return np.where((check == Verdict.UNKNOWN) | ~np.asarray(applies), np.int8(Grade.SILENT), grade)


@dataclass(frozen=True)
class Case:
    """One circuit (or build, for the rules whose subject that is) under one rule."""

    f: NetworkFacts
    i: int
    judged: Judged

    @property
    def grade(self) -> Grade:
        return Grade(int(self.judged.grade[self.i]))

    @property
    def value(self) -> float:
        return float(self.judged.value[self.i])

    @property
    def limit(self) -> float:
        return float(self.judged.limit[self.i])

    @property
    def wire(self) -> str:
        return self.f.rows.wires.text("size_typed", self.i)

    @property
    def device(self) -> str:
        return self.f.rows.devices.text("code", self.i)
