"""What a plan is told from above: which batteries may go out, and how many mechanisms push at once."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Protocol

from builds.network import PUSHING
from inventory.models import Battery, BatteryState

#: The state of a verdict that cannot be given yet.
UNSURE = "unknown"


class Fit(Protocol):
    """The verdict on one battery; ``settles``: the reading that would settle a doubt."""

    @property
    def state(self) -> str: ...

    @property
    def may_match(self) -> bool: ...

    @property
    def may_practice(self) -> bool: ...

    @property
    def sentence(self) -> str: ...

    @property
    def settles(self) -> str: ...


@dataclass(frozen=True)
class Judged:
    """Battery -> verdict, build -> mechanisms that push at once (as the rule pack of its season says)."""

    verdicts: Mapping[int, Fit] = field(default_factory=dict)
    pushing: Mapping[int, int] = field(default_factory=dict)

    def may(self, battery: Battery) -> tuple[bool, bool]:
        """Whether it may go out for a match, and for practice: its state allows it and no verdict speaks against it."""
        match = battery.state == BatteryState.IN_SERVICE and not battery.archived
        practice = battery.state in (BatteryState.IN_SERVICE, BatteryState.PRACTICE) and not battery.archived
        verdict = self.verdicts.get(battery.pk)
        if verdict is None:
            return match, practice
        return match and verdict.may_match, practice and verdict.may_practice

    def why_not(self, battery: Battery) -> str:
        """Why it may not go out, in a few words."""
        if battery.state != BatteryState.IN_SERVICE:
            return f"{battery.get_state_display().lower()}, {battery.state_reason}".rstrip(", ")
        verdict = self.verdicts.get(battery.pk)
        return verdict.sentence if verdict else ""

    def unsure(self, battery: Battery) -> str | None:
        """What would settle whether it may go out, where nobody can judge it yet and it counts as one that may."""
        verdict = self.verdicts.get(battery.pk)
        if verdict is None or verdict.state != UNSURE or not self.may(battery)[0]:
            return None
        return verdict.settles

    def push_of(self, build_id: int) -> int:
        return self.pushing.get(build_id, PUSHING)
