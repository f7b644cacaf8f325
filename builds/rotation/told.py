"""What is kept beside the steps of a plan: its figures, its sentences, and what changed against the plan before."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from builds.models import RotationPlan
from builds.rotation.assemble import Assembled
from builds.rotation.steps import changed_matches
from builds.rotation.words import assumed_words, headline, quality, uses_words
from shared.planning.rotation import Plan


@dataclass(frozen=True)
class Before:
    """The plan before: match -> battery, for the matches it still had to come; ``known``: there was one."""

    batteries: Mapping[int, int | None] = field(default_factory=dict)
    known: bool = False

    def earlier(self, found: Assembled) -> Earlier | None:
        """The same in numbers of the problem, for the search."""
        return Earlier(np.array(found.batteries(self.batteries), dtype=np.int64)) if self.known else None


@dataclass(frozen=True, eq=False)
class Earlier:
    """Battery of each match of the problem in the plan before, -1 for none."""

    battery: NDArray[np.int64]


def tell(
    plan: RotationPlan, found: Assembled, answer: Plan, before: Before, why: str, *, instant: bool
) -> None:
    """Fill in figures and sentences; why some match has no battery comes with the search."""
    plan.proven = bool(answer.proven) and not instant
    plan.gap_v = _finite(max(0.0, float(answer.gap_v)))
    plan.worst_margin_v = _finite(float(answer.worst_margin_v))
    plan.solve_s = _finite(float(answer.seconds))
    plan.told = {
        "why": why,
        "headline": headline(found, answer),
        "quality": quality(answer, instant=instant),
        "uses": uses_words(found, answer),
        "assumed": list(assumed_words(found.situation)),
        "changed": changed_matches(found, answer, before.batteries) if before.known else [],
        "changes": change_words(found, answer, before),
        "short": [],
        # Matches whose voltage is that of one simulated match in twenty: how much less low the median is.
        "usual": {
            str(match.pk): round(found.situation.volts.robots[match.robot_id].usual_v, 3)
            for match in found.situation.ahead
            if match.robot_id in found.situation.volts.robots
        },
        "facts": found.situation.facts,
    }


def change_words(found: Assembled, answer: Plan, before: Before) -> list[str]:
    """What the plan does other than the one before, match by match."""
    if not before.known:
        return []
    codes = {row.battery.pk: row.battery.code for row in found.situation.cart}
    said = []
    for m, match in enumerate(found.situation.ahead):
        b = int(answer.battery[m])
        now = found.situation.cart[b].battery.pk if b >= 0 else None
        code = codes.get(now or 0, "no battery")
        if match.pk not in before.batteries:
            said.append(f"Match {match.number} is new: {code}.")
        elif before.batteries[match.pk] != now:
            was = before.batteries[match.pk]
            instead = codes.get(was or 0, "one that left the cart" if was else "no battery")
            said.append(f"Match {match.number}: {code} instead of {instead}.")
    return said


def _finite(value: float) -> float | None:
    return value if math.isfinite(value) else None
