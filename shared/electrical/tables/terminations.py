"""Terminals: stud and hole sizes, sleeve colours, and pull-out forces by named table."""

from dataclasses import dataclass
from typing import Final

from shared.electrical.sources import COMMON_PRACTICE, MEMORY, SEEN, Source

__all__ = [
    "HOLE_SLACK_MM",
    "LEAST_PULLS",
    "PULL_TABLES",
    "SLEEVE_COLOURS",
    "STUDS",
    "PullTable",
    "StudSize",
]

_READ: Final = Source("Ring terminal size charts", "diameter and hole read", SEEN)
_PART_READ: Final = Source("Ring terminal size charts", "diameter read, hole remembered", MEMORY)
_REMEMBERED: Final = Source("Ring terminal size charts", "row remembered", MEMORY)


@dataclass(frozen=True, slots=True)
class StudSize:
    """A stud by its trade label: its diameter, and the hole of the ring usually sold for it."""

    label: str
    diameter_mm: float
    usual_hole_mm: float
    source: Source


STUDS: Final[dict[str, StudSize]] = {
    stud.label: stud
    for stud in (
        StudSize("#4", 2.84, 3.2, _REMEMBERED),
        StudSize("#6", 3.51, 3.7, _PART_READ),
        StudSize("#8", 4.17, 4.3, _PART_READ),
        StudSize("#10", 4.83, 5.3, _READ),
        StudSize("1/4", 6.35, 6.4, _READ),
        StudSize("5/16", 7.94, 8.4, _PART_READ),
        StudSize("3/8", 9.53, 10.5, _REMEMBERED),
        StudSize("M3", 3.0, 3.2, _REMEMBERED),
        StudSize("M3.5", 3.5, 3.7, _REMEMBERED),
        StudSize("M4", 4.0, 4.3, _REMEMBERED),
        StudSize("M5", 5.0, 5.3, _READ),
        StudSize("M6", 6.0, 6.4, _READ),
        StudSize("M8", 8.0, 8.4, _PART_READ),
        StudSize("M10", 10.0, 10.5, _REMEMBERED),
    )
}

# A ring seats when its hole is at most this much wider than the stud; sources say 0.3 to 0.5 mm.
HOLE_SLACK_MM: Final = 0.5
HOLE_SLACK_SOURCE: Final = Source(
    "Ring terminal guides", "hole within 0.3 to 0.5 mm of the stud", COMMON_PRACTICE
)

# Sleeve colour -> (thinnest, thickest) AWG, wide trade class. A hint: the range printed on the bag rules.
SLEEVE_SOURCE: Final = Source("Insulated ring terminals", "22-16 / 16-14 / 12-10, trade pages", SEEN)
SLEEVE_COLOURS: Final[dict[str, tuple[str, str]]] = {
    "red": ("22", "16"),
    "blue": ("16", "14"),
    "yellow": ("12", "10"),
}

LEAST_PULLS: Final = 5
PULL_METHOD_SOURCE: Final = Source(
    "UL 486A (Nov 2003) s. 12, as quoted in applicator manuals",
    "lowest of at least 5 pulls, 1 min hold",
    SEEN,
)


@dataclass(frozen=True, slots=True)
class PullTable:
    """Least pull-out force by copper area; `from_memory` lists the AWG rows that were not read."""

    name: str
    title: str
    source: Source
    awg_lbf: dict[str, float]
    mm2_n: dict[float, float]
    from_memory: tuple[str, ...] = ()


_UL: Final[dict[str, float]] = {
    "26": 3, "24": 5, "22": 8, "20": 13, "18": 20, "16": 30, "14": 50, "12": 70, "10": 80, "8": 90,
    "6": 100, "4": 140, "2": 180, "1/0": 250, "2/0": 300,
}  # fmt: skip
_MILITARY: Final[dict[str, float]] = {
    "26": 7, "24": 10, "22": 15, "20": 19, "18": 38, "16": 50, "14": 70, "12": 110, "10": 150,
    "8": 225, "6": 300, "4": 400, "2": 550, "1/0": 700, "2/0": 750,
}  # fmt: skip
_MARINE: Final[dict[str, float]] = {
    "18": 10, "16": 15, "14": 30, "12": 35, "10": 40, "8": 45, "6": 50, "4": 70, "3": 80, "2": 90, "1": 100,
}  # fmt: skip
_IEC: Final[dict[float, float]] = {
    0.05: 6, 0.08: 11, 0.12: 15, 0.14: 18, 0.22: 28, 0.25: 32, 0.32: 40, 0.5: 60, 0.75: 85, 0.82: 90,
    1.0: 108, 1.3: 135, 1.5: 150, 2.1: 200, 2.5: 230, 3.3: 275, 4.0: 310, 5.3: 355, 6.0: 360, 8.4: 370,
    10.0: 380,
}  # fmt: skip

PULL_TABLES: Final[dict[str, PullTable]] = {
    table.name: table
    for table in (
        PullTable(
            "ul486a", "Commercial crimp", Source("UL 486A", "pull-out force by wire size", SEEN), _UL, {}
        ),
        PullTable(
            "mil_t_7928",
            "Military crimp",
            Source("MIL-T-7928 / AS7928", "tensile strength of crimped terminals", SEEN),
            _MILITARY,
            {},
            ("8", "6", "4", "2", "1/0", "2/0"),
        ),
        PullTable(
            "abyc_e11",
            "Marine crimp, held for 1 min",
            Source("ABYC E-11", "Table XVI, as adapted in a boat electrical handbook, Table 6.7", SEEN),
            _MARINE,
            {},
            ("10", "8", "6"),
        ),
        PullTable("iec60352_2", "Crimp by area", Source("IEC 60352-2:2006", "Table 1", MEMORY), {}, _IEC),
    )
}
