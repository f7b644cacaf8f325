"""Where a figure comes from, and how sure we are that it is what the source prints."""

from dataclasses import dataclass
from typing import Literal, TypeAlias

__all__ = ["COMMON_PRACTICE", "MEMORY", "SEEN", "Figure", "Source", "Status"]

Status: TypeAlias = Literal["seen", "memory", "common practice"]

SEEN: Status = "seen"
MEMORY: Status = "memory"
COMMON_PRACTICE: Status = "common practice"

_STATUSES: tuple[Status, ...] = (SEEN, MEMORY, COMMON_PRACTICE)


@dataclass(frozen=True, slots=True)
class Source:
    """The title and clause a figure is taken from, and its status.

    `seen`: the figure was read in the named text or in a reproduction of it. `memory`: quoted from memory,
    not
    read when it was entered. `common practice`: a workshop habit, or a choice of ours, without a known
    source.
    """

    title: str
    clause: str
    status: Status

    def __post_init__(self) -> None:
        if self.status not in _STATUSES:
            raise ValueError(f"Source status {self.status!r} is not one of {', '.join(_STATUSES)}.")
        if not self.title:
            raise ValueError("A source needs a title.")

    def __str__(self) -> str:
        """Print the source as a page cites it; anything not read in the source says so."""
        text = f"{self.title}, {self.clause}" if self.clause else self.title
        return text if self.status == SEEN else f"{text} ({self.status})"


@dataclass(frozen=True, slots=True)
class Figure:
    """One number with its unit and its source, for constants that stand alone."""

    value: float
    unit: str
    source: Source
