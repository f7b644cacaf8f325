"""The sweeps by name, and what each asks of the teams' rows."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import datetime
from typing import Protocol

from django.utils.module_loading import import_string

from compliance.rules.base import Finding


class Find(Protocol):
    """Judges the rows of some teams: what is wrong, and how many rows were looked at."""

    def __call__(self, team_ids: Sequence[int], *, now: datetime) -> tuple[list[Finding], dict[str, int]]: ...


#: In the order in which they run.
SWEEPS: tuple[str, ...] = ("batteries", "loads", "stock")


def finder_of(sweep: str) -> Find:
    """The judging function of a sweep; raises ``KeyError`` naming the sweeps there are."""
    if sweep not in SWEEPS:
        raise KeyError(f"No sweep is called {sweep!r}. There are: {', '.join(SWEEPS)}.")
    found: Find = import_string(f"compliance.sweeps.{sweep}.findings")
    return found
