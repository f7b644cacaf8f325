"""What is wrong in the demo world, on purpose. Everything else in it passes every rule.

``SEEDED`` is what the sweeps must find, no more and no less; ``WIRING`` and the tables below it are how most of it is
brought about, and how each battery ages is written in ``batteries``. A test holds them together.
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
    Seeded("device-rating", GULL, "KITTIWAKE/INTAKE-1", "fix", "14 AWG behind a device of 40 A"),
    Seeded("wire-drop", GULL, "KITTIWAKE/RADIO", "fix", "critical, 2.4 m of 22 AWG up the mast"),
    Seeded("terminal-barrel", GULL, "KITTIWAKE/ARM-2", "fix", "a blue terminal on 12 AWG"),
    Seeded("circuit-unknown", GULL, "KITTIWAKE/BEACON", "unknown", "nobody measured its length"),
    Seeded("device-load", GULL, "KITTIWAKE/COMPRESSOR", "watch", "runs above four fifths of its fuse"),
    Seeded("device-interrupt", GULL, "PETREL/CAMERA-1", "stop", "a glass fuse that breaks 35 A"),
    Seeded(
        "load-voltage",
        GULL,
        "KITTIWAKE/VISION",
        "fix",
        "shares 3.2 m of 10 AWG with two arm motors that push",
    ),
    Seeded("fault-withstand", GULL, "PETREL/INTAKE-1", "fix", "14 AWG behind a breaker that takes seconds"),
    Seeded("radio-feed", GULL, "PETREL/RADIO", "watch", "hangs on one push-on plug"),
    Seeded(
        "selectivity", TERN, "SANDPIPER/AIR", "fix", "a 20 A fuse in front of one of 15 A and one of 10 A"
    ),
    Seeded("wiring-minimum", SALT, "AVOCET", "fix", "nobody entered its data bus"),
    Seeded("terminal-hole", TERN, "SANDPIPER/DRIVE-3", "fix", "a hole for M6 on a stud of M5"),
    Seeded("device-rating", TERN, "SANDPIPER/INTAKE-2", "stop", "16 AWG behind a device of 40 A"),
    Seeded("device-missing", TERN, "DUNLIN/LIGHTS", "stop", "no device, and the one before is far too large"),
    Seeded("feed-sum", SALT, "CURLEW/REGULATOR", "fix", "its branches draw more than its 2 A fuse carries"),
    Seeded("wire-ampacity", SALT, "AVOCET/ARM-1", "fix", "a loaded wire in a bundle of eight"),
    Seeded("device-rating", SALT, "AVOCET/ARM-1", "fix", "the bundle leaves the wire less than its device"),
    Seeded("battery-rise", GULL, "GP-07", "stop", "two thirds above its first readings: retire"),
    Seeded("battery-rise", GULL, "GP-05", "fix", "well over a third above its first readings: practice only"),
    Seeded("battery-sudden", GULL, "GP-03", "fix", "a jump within twelve days: a loose lug"),
    Seeded(
        "battery-capacity", GULL, "GP-09", "stop", "three quarters of its rated capacity, resistance flat"
    ),
    Seeded(
        "battery-sag", GULL, "GP-06", "watch", "falls a quarter further in the robot than its resistance says"
    ),
    Seeded("battery-incident", TERN, "TR-1", "stop", "dropped, and nobody has looked at it yet"),
    Seeded("battery-topup", SALT, "SM-4", "watch", "in storage for three months without a charge"),
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
    (GULL, "KITTIWAKE", "INTAKE-1"): {
        "wire": "W14P",
        "device": "MX40",
        "terminal_source": "FER-14",
        "terminal_load": "RING-B-M5",
    },
    (GULL, "KITTIWAKE", "RADIO"): {
        "wire": "W22P",
        "length_m": 2.4,
        "device": "BL02",
        "terminal_source": "FER-22",
        "terminal_load": "FER-22",
    },
    (GULL, "KITTIWAKE", "ARM-2"): {"terminal_load": "RING-B-M5"},
    (GULL, "KITTIWAKE", "BEACON"): {"length_m": None},
    (GULL, "KITTIWAKE", "COMPRESSOR"): {"continuous_a": 16.5, "peak_a": 17.0},
    (GULL, "PETREL", "CAMERA-1"): {"device": "GT02"},
    (GULL, "KITTIWAKE", "ARM-3"): {"device": "BL30"},
    (GULL, "KITTIWAKE", "ARM-4"): {"device": "BL30"},
    (GULL, "PETREL", "INTAKE-1"): {
        "wire": "W14P",
        "device": "TB30",
        "terminal_source": "FER-14",
        "terminal_load": "RING-B-M5",
    },
    (GULL, "PETREL", "RADIO"): {"terminal_load": "BLADE-R"},
    (TERN, "SANDPIPER", "COMPRESSOR"): {"device": "BL15"},
    (TERN, "SANDPIPER", "DRIVE-3"): {"terminal_load": "RING-Y-M6"},
    (TERN, "SANDPIPER", "INTAKE-2"): {
        "wire": "W16P",
        "device": "MX40",
        "terminal_source": "FER-18",
        "terminal_load": "RING-B-M5",
    },
    (TERN, "DUNLIN", "LIGHTS"): {"device": None},
    (SALT, "CURLEW", "REGULATOR"): {"device": "BL02", "continuous_a": 1.5, "peak_a": None},
    (SALT, "AVOCET", "ARM-1"): {"bundle_count": 8, "continuous_a": 23.0, "peak_a": 24.0},
}

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
