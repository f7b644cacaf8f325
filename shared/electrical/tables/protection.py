"""Protective devices: opening times, rating rules and interrupt ratings, as published or as remembered.

No curve here is "typical": seen breakers take between 5 s and 30 s at twice their rating. A device is judged
by its
own points (from its data sheet); the families below serve until those are entered, and carry their status
with them.
"""

from dataclasses import dataclass
from typing import Final

from shared.electrical.sources import MEMORY, SEEN, Source

__all__ = [
    "AIC_SOURCE",
    "CURVES",
    "INTERRUPT_BY_CRANKING",
    "PROTECTOR_AC4313",
    "PROTECTOR_AC4313_SOURCE",
    "SMALL_CONDUCTOR_A",
    "SMALL_CONDUCTOR_SOURCE",
    "CurvePoint",
    "TimeCurrentCurve",
]

_INF: Final = float("inf")


@dataclass(frozen=True, slots=True)
class CurvePoint:
    """Opening between `min_s` and `max_s` at `multiple` times the rating."""

    multiple: float
    min_s: float
    max_s: float


@dataclass(frozen=True, slots=True)
class TimeCurrentCurve:
    """Opening times of one device or family; it never opens up to `holds_multiple` times its rating."""

    name: str
    title: str
    source: Source
    holds_multiple: float
    points: tuple[CurvePoint, ...]
    remark: str = ""

    def __post_init__(self) -> None:
        multiples = [self.holds_multiple, *(point.multiple for point in self.points)]
        if not self.points or multiples != sorted(set(multiples)):
            raise ValueError(f"The points of '{self.name}' must rise from the multiple that holds.")
        if any(not 0.0 < point.min_s <= point.max_s for point in self.points):
            raise ValueError(f"'{self.name}' has a point whose shortest time is not below its longest.")


CURVES: Final[dict[str, TimeCurrentCurve]] = {
    curve.name: curve
    for curve in (
        TimeCurrentCurve(
            "blade",
            "Automotive blade fuse, mini and medium",
            Source("ISO 8820-3; SAE J1284, J2077", "110 and 135 % read, other rows remembered", MEMORY),
            1.10,
            (
                CurvePoint(1.35, 0.75, 600.0),
                CurvePoint(1.60, 0.25, 50.0),
                CurvePoint(2.0, 0.15, 5.0),
                CurvePoint(3.5, 0.04, 0.5),
                CurvePoint(6.0, 0.02, 0.1),
            ),
            "Some sheets have 0.08 s for the shortest time at 350 % and 0.03 s at 600 %.",
        ),
        TimeCurrentCurve(
            "maxi_blade",
            "Automotive blade fuse, maxi",
            Source("ISO 8820-3; SAE J1888", "typical data sheets", MEMORY),
            1.10,
            (
                CurvePoint(1.35, 60.0, 1800.0),
                CurvePoint(2.0, 2.0, 60.0),
                CurvePoint(3.5, 0.2, 7.0),
                CurvePoint(6.0, 0.04, 1.0),
            ),
        ),
        TimeCurrentCurve(
            "bolt_down",
            "Bolt-down fuse, 30 to 500 A",
            Source("ISO 8820-5; JASO D612; SAE J2576", "typical data sheets", MEMORY),
            1.0,
            (
                CurvePoint(1.35, 120.0, 1800.0),
                CurvePoint(2.0, 1.0, 15.0),
                CurvePoint(3.5, 0.3, 5.0),
                CurvePoint(6.0, 0.1, 1.0),
            ),
            "No product standard with a conventional current was found: use the fuse's own sheet.",
        ),
        TimeCurrentCurve(
            "thermal_main_120",
            "120 A manual-reset thermal breaker class",
            Source("120 A manual-reset thermal breakers", "low confidence, enter the device's sheet", MEMORY),
            1.0,
            (
                CurvePoint(1.50, 60.0, 300.0),
                CurvePoint(2.0, 10.0, 60.0),
                CurvePoint(3.0, 5.0, 20.0),
                CurvePoint(4.0, 2.0, 10.0),
                CurvePoint(6.0, 1.0, 4.0),
            ),
            "135 % trips within 30 min. A hot enclosure lowers the trip point, about 0.6 % per kelvin.",
        ),
    )
}

# Largest device [A] by AWG of the conductor, after all corrections.
SMALL_CONDUCTOR_SOURCE: Final = Source("NFPA 70 (NEC)", "240.4(D)", SEEN)
SMALL_CONDUCTOR_A: Final[dict[str, tuple[float, Source]]] = {
    "18": (7.0, Source("NFPA 70 (NEC)", "240.4(D)(1)", MEMORY)),
    "16": (10.0, Source("NFPA 70 (NEC)", "240.4(D)(2)", MEMORY)),
    "14": (15.0, SMALL_CONDUCTOR_SOURCE),
    "12": (20.0, SMALL_CONDUCTOR_SOURCE),
    "10": (30.0, SMALL_CONDUCTOR_SOURCE),
}

# AWG -> (circuit breaker A, fuse A); NaN where the table has no breaker.
PROTECTOR_AC4313_SOURCE: Final = Source("FAA AC 43.13-1B CHG 1", "Table 11-3, page 11-15", SEEN)
PROTECTOR_AC4313: Final[dict[str, tuple[float, float]]] = {
    "22": (5.0, 5.0),
    "20": (7.5, 5.0),
    "18": (10.0, 10.0),
    "16": (15.0, 10.0),
    "14": (20.0, 15.0),
    "12": (30.0, 20.0),
    "10": (40.0, 30.0),
    "8": (50.0, 50.0),
    "6": (80.0, 70.0),
    "4": (100.0, 70.0),
    "2": (125.0, 100.0),
    "1": (float("nan"), 150.0),
    "1/0": (float("nan"), 150.0),
}

# Total cold-cranking amps up to -> (main, branch) least interrupt rating [A], 12 and 24 V.
AIC_SOURCE: Final = Source("ABYC E-11", "Table V.A, circuit breaker interrupting capacity", SEEN)
INTERRUPT_BY_CRANKING: Final[tuple[tuple[float, float, float], ...]] = (
    (650.0, 1500.0, 750.0),
    (1100.0, 3000.0, 1500.0),
    (_INF, 5000.0, 2500.0),
)
