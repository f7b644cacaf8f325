"""Shared feeds of the demo robots: small boards of their own that some circuits hang on, two of them badly chosen."""

from __future__ import annotations

from dataclasses import dataclass

from compliance.demo.people import GULL, SALT, TERN


@dataclass(frozen=True)
class SharedFeed:
    """A feed from the main board, and which circuits of the template hang on it instead of on the board."""

    code: str
    name: str
    wire: str
    device: str
    length_m: float
    ends: tuple[str, str]
    feeds: tuple[str, ...]


#: The first loses so much in a push that the computer on it resets, though each circuit alone passes; the fuse of the
#: second may open before those behind it.
SHARED: dict[tuple[str, str], SharedFeed] = {
    (GULL, "KITTIWAKE"): SharedFeed(
        "PANEL", "Feed of the panel on the arm", "W10P", "BF60", 3.2, ("FER-10", "FER-10"),
        ("ARM-3", "ARM-4", "VISION"),
    ),
    (TERN, "SANDPIPER"): SharedFeed(
        "AIR", "Feed of the air panel", "W12P", "BL20", 0.6, ("FER-12", "FER-12"), ("COMPRESSOR", "VALVES")
    ),
}  # fmt: skip
#: Robots with a vision computer, and robots whose data bus nobody entered.
VISION: frozenset[tuple[str, str]] = frozenset({(GULL, "KITTIWAKE")})
NO_BUS: frozenset[tuple[str, str]] = frozenset({(SALT, "AVOCET")})
