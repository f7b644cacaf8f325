"""Conductor sizes: which gauges exist, SAE areas, and nominal metric areas."""

from typing import Final

from shared.electrical.sources import SEEN, Source

__all__ = [
    "AREA_RANGE_MM2",
    "AWG_LABELS",
    "AWG_SOURCE",
    "METRIC_NOMINAL_MM2",
    "SAE_AREA_CMIL",
    "SAE_SOURCE",
]

AWG_SOURCE: Final = Source("ASTM B258", "diameter formula, 92^(1/39) per step", SEEN)

# Thick to thin. The kernel's ampacity tables end at 24 AWG; thinner data-bus wires still have a resistance.
AWG_LABELS: Final = ("4/0", "3/0", "2/0", "1/0", *(str(n) for n in range(1, 31)))

# Minimum areas as a marine wire catalogue prints them beside AWG. SAE is 3-12 % thinner than AWG.
SAE_SOURCE: Final = Source("SAE J378 / SAE J1128", "minimum area, as a marine catalogue prints it", SEEN)
SAE_AREA_CMIL: Final[dict[str, float]] = {
    "4/0": 205500.0,
    "3/0": 158600.0,
    "2/0": 125100.0,
    "1/0": 98980.0,
    "1": 77790.0,
    "2": 62450.0,
    "4": 37360.0,
    "6": 24538.0,
    "8": 14810.0,
    "10": 9343.0,
    "12": 5833.0,
    "14": 3702.0,
    "16": 2336.0,
    "18": 1537.0,
}

METRIC_NOMINAL_MM2: Final = (
    0.35, 0.5, 0.75, 1.0, 1.5, 2.5, 4.0, 6.0, 10.0, 16.0, 25.0, 35.0, 50.0, 70.0, 95.0,
)  # fmt: skip

# Outside this a typed size is taken for a slip (a diameter, or cmil for mm2); our choice, no source.
AREA_RANGE_MM2: Final = (0.05, 150.0)
