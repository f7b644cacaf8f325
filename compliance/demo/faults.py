"""What is wrong in the demo world, on purpose. Everything else in it passes every rule.

``SEEDED`` is what the sweeps must find, no more and no less; ``WIRING`` and the tables below it are how each fault is
brought about. A test holds the two together.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

from compliance.demo.people import GULL, SALT, TERN


@dataclass(frozen=True)
class Seeded:
    """One fault: which rule must find it, in which team, on what, and why."""

    rule_code: str
    team: str
    subject: str
    severity: str
    why: str


SEEDED: tuple[Seeded, ...] = (
    Seeded("battery-rise", GULL, "GP-07", "stop", "two thirds above its first readings: retire"),
    Seeded("battery-rise", GULL, "GP-05", "fix", "well over a third above its first readings: practice only"),
    Seeded("battery-sudden", GULL, "GP-03", "fix", "a jump within twelve days: a loose lug"),
    Seeded(
        "battery-capacity", GULL, "GP-09", "stop", "three quarters of its rated capacity, resistance flat"
    ),
    Seeded("battery-unjudged", GULL, "GP-10", "unknown", "new: two readings make no baseline"),
    Seeded("battery-use", TERN, "TR-2", "watch", "in use for more than three years"),
    Seeded("battery-unjudged", TERN, "TR-3", "unknown", "a new meter: four readings make no trend"),
    Seeded("battery-unjudged", SALT, "SM-3", "unknown", "never measured"),
    Seeded(
        "stock-short", GULL, "CLAMP", "watch", "Kittiwake lacks eight, three are there; in time if ordered"
    ),
    Seeded("stock-short", GULL, "BL02", "watch", "four are there, repairs may need five"),
    Seeded("stock-short", GULL, "LENS", "stop", "Kittiwake lacks one, and it takes three weeks to come"),
    Seeded("stock-floor", GULL, "LABEL", "watch", "one roll, and the team wants three"),
    Seeded("stock-no-offer", TERN, "SLEEVE", "unknown", "four metres short, and nobody is known to sell it"),
    Seeded("stock-short", SALT, "BEACON", "fix", "a spare for repairs would come too late"),
)

#: (team, robot, circuit) -> what differs from the healthy template; parts by code.
WIRING: dict[tuple[str, str, str], dict[str, Any]] = {
    (GULL, "KITTIWAKE", "INTAKE-1"): {"wire": "W14P", "device": "MX40", "terminal_source": "FER-14",
                                      "terminal_load": "RING-B-M4", "stud_load_mm": 4.0},
    (GULL, "KITTIWAKE", "RADIO"): {"wire": "W22P", "length_m": 4.5, "device": "BL02", "continuous_a": 1.4,
                                   "peak_a": 1.4, "terminal_source": "FER-22", "terminal_load": "BLADE-R"},
    (GULL, "KITTIWAKE", "ARM-2"): {"terminal_load": "RING-B-M5"},
    (GULL, "KITTIWAKE", "BEACON"): {"length_m": None},
    (GULL, "KITTIWAKE", "COMPRESSOR"): {"continuous_a": 13.2},
    (GULL, "PETREL", "CAMERA-1"): {"device": "GT02"},
    (TERN, "SANDPIPER", "DRIVE-3"): {"terminal_load": "RING-Y-M6"},
    (TERN, "DUNLIN", "LIGHTS"): {"device": None},
    (SALT, "CURLEW", "REGULATOR"): {"device": "BL10", "continuous_a": 7.8, "peak_a": 9.0},
}  # fmt: skip

#: (team, robot) -> part -> pieces its current build still lacks.
LACKING: dict[tuple[str, str], dict[str, int]] = {
    (GULL, "KITTIWAKE"): {"CLAMP": 8, "LENS": 1},
    (TERN, "SANDPIPER"): {"SLEEVE": 6},
}
#: team -> part -> what was counted last.
ON_HAND: dict[str, dict[str, int]] = {
    GULL: {"CLAMP": 3, "LENS": 0, "LABEL": 1, "BL02": 1},
    TERN: {"SLEEVE": 2},
    SALT: {"BEACON": 0},
}
#: Parts sold only by the supplier that takes three weeks, and parts that nobody is known to sell.
SLOW_OFFER: dict[str, tuple[str, ...]] = {GULL: ("LENS",), SALT: ("BEACON",)}
NO_OFFER: dict[str, tuple[str, ...]] = {TERN: ("SLEEVE",)}
