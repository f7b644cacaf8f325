"""The sweeps by name, and what each asks of the teams' rows."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import datetime
from typing import Protocol

from compliance.rules.base import Finding
from compliance.sweeps import batteries, loads, stock


class Find(Protocol):
    """Judges the rows of some teams: what is wrong, and how many rows were looked at."""

    def __call__(self, team_ids: Sequence[int], *, now: datetime) -> tuple[list[Finding], dict[str, int]]: ...


#: In the order in which they run.
FINDERS: dict[str, Find] = {
    "batteries": batteries.findings,
    "loads": loads.findings,
    "stock": stock.findings,
}
SWEEPS: tuple[str, ...] = tuple(FINDERS)


def finder_of(sweep: str) -> Find:
    """The judging function of a sweep; raises ``KeyError`` naming the sweeps there are."""
    if sweep not in FINDERS:
        raise KeyError(f"No sweep is called {sweep!r}. There are: {', '.join(SWEEPS)}.")
    return FINDERS[sweep]
