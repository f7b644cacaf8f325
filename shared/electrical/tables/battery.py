"""12 V lead-acid batteries: rest voltage, resistance when new, plausible readings."""

from typing import Final

from shared.electrical.sources import COMMON_PRACTICE, MEMORY, SEEN, Figure, Source

__all__ = [
    "NEW_RESISTANCE_CLASS_AH",
    "NEW_RESISTANCE_MOHM",
    "NEW_RESISTANCE_RANGE_MOHM",
    "POLARISATION_RATIO",
    "POLARISATION_S",
    "READING_LIMITS_MOHM",
    "READING_USUAL_MOHM",
    "REST_CURVES",
    "REST_CURVE_SOURCES",
    "REST_VOLTAGE_STEPS",
    "SOC_SPREAD_FRAC",
]

# (state of charge 0-1, rest voltage V), rising. The lists differ by 0.3-0.5 V at one state of charge.
REST_CURVES: Final[dict[str, tuple[tuple[float, float], ...]]] = {
    "agm_small": ((0.0, 11.80), (0.25, 12.00), (0.50, 12.30), (0.75, 12.60), (1.0, 12.85)),
    "gel": ((0.0, 11.80), (0.25, 12.00), (0.50, 12.40), (0.75, 12.60), (1.0, 12.80)),
    "flooded": ((0.0, 11.89), (0.25, 12.06), (0.50, 12.24), (0.75, 12.45), (1.0, 12.65)),
}
REST_CURVE_SOURCES: Final[dict[str, Source]] = {
    "agm_small": Source(
        "Small AGM, our default", "chosen inside the spread of six published lists", COMMON_PRACTICE
    ),
    "gel": Source("Open data set of 12 V lead-acid rest voltages", "gel, 26.7 C", SEEN),
    "flooded": Source("Open data set of 12 V lead-acid rest voltages", "wet, 26.7 C", SEEN),
}
# A percentage read from a voltage is worth about this much either way unless calibrated for the model.
SOC_SPREAD_FRAC: Final = 0.15

# Rested terminal voltage below which: charge it, keep it out of a match, damage is likely.
REST_VOLTAGE_STEPS: Final[dict[str, float]] = {"charge": 12.6, "keep back": 12.4, "damage likely": 12.0}
REST_VOLTAGE_SOURCE: Final = Source(
    "Rest voltage steps", "our choice near 2.07 and 2.00 V per cell", COMMON_PRACTICE
)

# Capacity at the 20 h rate [Ah] -> resistance of a new, full battery [mohm]. R x Ah is not constant: no
# scaling rule.
NEW_RESISTANCE_SOURCE: Final = Source("Battery data sheets", "fully charged, 20-25 C, method not named", SEEN)
NEW_RESISTANCE_MOHM: Final[dict[float, float]] = {
    1.16: 90.0, 3.1: 45.0, 7.0: 23.0, 7.56: 20.0, 12.0: 14.0, 13.6: 14.0, 20.6: 15.0, 24.0: 14.0, 28.8: 12.0,
    45.0: 9.0, 55.4: 7.5, 102.9: 4.9,
}  # fmt: skip
NEW_RESISTANCE_CLASS_AH: Final = (17.0, 21.0)
NEW_RESISTANCE_RANGE_MOHM: Final = (12.0, 18.0)
NEW_RANGE_SOURCE: Final = Source("17-20 Ah AGM when new", "around one data-sheet figure", COMMON_PRACTICE)

READING_LIMITS_MOHM: Final = (2.0, 200.0)
READING_USUAL_MOHM: Final = (8.0, 60.0)
READING_SOURCE: Final = Source("Plausible readings of a 12 V battery", "our choice", COMMON_PRACTICE)

TWO_PULSE_SOURCE: Final = Source("IEC 61960", "two-pulse dc resistance, R = (U1 - U2) / (I2 - I1)", SEEN)
TWO_POINT_SOURCE: Final = Source("IEC 60896-21", "cl. 6.3, short-circuit current from two points", MEMORY)

# One further resistance with a capacitance across it, where a battery's own is not known: R10 / R00 and its time
# constant of a published 50 Ah lead-acid set (after SAE 2007-01-0778).
POLARISATION_SOURCE: Final = Source(
    "Published 50 Ah lead-acid set", "R10 / R00 = 1.0 / 4.2 mohm, 100 s", SEEN
)
POLARISATION_RATIO: Final = Figure(1.0 / 4.2, "-", POLARISATION_SOURCE)
POLARISATION_S: Final = Figure(100.0, "s", POLARISATION_SOURCE)
