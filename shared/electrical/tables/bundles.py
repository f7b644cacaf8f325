"""Bundle and ambient factors as published."""

from dataclasses import dataclass
from typing import Final

from shared.electrical.sources import MEMORY, SEEN, Source

__all__ = ["AMBIENT_CELLS", "AMBIENT_SOURCE", "BUNDLE_TABLES", "LOADED_BUNDLE", "BundleTable"]


@dataclass(frozen=True, slots=True)
class BundleTable:
    """Factor by number of current-carrying conductors: `factors[i]` holds from `from_count[i]` up."""

    name: str
    title: str
    source: Source
    from_count: tuple[int, ...]
    factors: tuple[float, ...]
    remark: str = ""


BUNDLE_TABLES: Final[dict[str, BundleTable]] = {
    table.name: table
    for table in (
        BundleTable(
            "abyc_e11",
            "Boat cable, bundled",
            Source("UL 1426 boat cable / ABYC E-11", "bundling multipliers", SEEN),
            (1, 3, 4, 7, 25),
            (1.0, 0.7, 0.6, 0.5, 0.4),
            "The row for 25 and more is from memory. The federal text applies bundling from 50 V up only "
            "(33 CFR 183.435(b)); the heat is the same at 12 V.",
        ),
        BundleTable(
            "nec310_15c1",
            "Raceway or cable, more than 3 conductors",
            Source("NFPA 70 (NEC)", "310.15(C)(1), formerly Table 310.15(B)(3)(a)", SEEN),
            (1, 4, 7, 10, 21, 31, 41),
            (1.0, 0.8, 0.7, 0.5, 0.45, 0.4, 0.35),
            "For the NEC ampacity table, whose base is already 3 conductors.",
        ),
        BundleTable(
            "cec5c",
            "Raceway or cable, more than 3 conductors (Canada)",
            Source("CSA C22.1 (CEC)", "Table 5C", SEEN),
            (1, 4, 7, 25, 43),
            (1.0, 0.8, 0.7, 0.6, 0.5),
        ),
    )
}

# Multiplier on the single-wire free-air current: wires in the bundle -> at each load percent below.
LOADED_BUNDLE_SOURCE: Final = Source(
    "MIL-W-5088L / SAE AS50881", "bundle derating, read off the curves", SEEN
)
LOADED_BUNDLE_PERCENT: Final = (20.0, 40.0, 60.0, 80.0, 100.0)
LOADED_BUNDLE: Final[dict[int, tuple[float, ...]]] = {
    1: (1.0, 1.0, 1.0, 1.0, 1.0),
    2: (0.9675, 0.92, 0.91, 0.87, 0.825),
    3: (0.935, 0.855, 0.815, 0.77, 0.725),
    4: (0.9075, 0.805, 0.75, 0.705, 0.66),
    5: (0.875, 0.76, 0.695, 0.65, 0.61),
    6: (0.85, 0.725, 0.655, 0.605, 0.5725),
    7: (0.82, 0.695, 0.625, 0.57, 0.54),
    8: (0.795, 0.6675, 0.595, 0.5425, 0.5125),
    9: (0.775, 0.645, 0.575, 0.52, 0.485),
    10: (0.755, 0.6225, 0.55, 0.5, 0.465),
    12: (0.715, 0.585, 0.515, 0.465, 0.43),
    15: (0.67, 0.54, 0.465, 0.42, 0.385),
    19: (0.625, 0.495, 0.4225, 0.38, 0.3425),
}

AMBIENT_FORM_SOURCE: Final = Source(
    "Ambient factor sqrt((Tc - Ta) / (Tc - T0))", "closed form; reproduces CEC Table 5A to 0.01", MEMORY
)
AMBIENT_SOURCE: Final = Source("CSA C22.1 (CEC) Table 5A; NEC 310.15(B)(1)(1)", "30 C base", SEEN)
# Published cells, kept as check values for the closed form: ambient C -> class C -> factor.
AMBIENT_CELLS: Final[dict[float, dict[float, float]]] = {
    35.0: {60: 0.91, 75: 0.94, 90: 0.96, 105: 0.97, 125: 0.97, 150: 0.98, 200: 0.99},
    40.0: {60: 0.82, 75: 0.88, 90: 0.91, 105: 0.93, 125: 0.95, 150: 0.96, 200: 0.97},
    45.0: {60: 0.71, 75: 0.82, 90: 0.87, 105: 0.89, 125: 0.92, 150: 0.94, 200: 0.95},
    50.0: {60: 0.58, 75: 0.75, 90: 0.82, 105: 0.86, 125: 0.89, 150: 0.91, 200: 0.94},
    55.0: {60: 0.41, 75: 0.67, 90: 0.76, 105: 0.82, 125: 0.86, 150: 0.89, 200: 0.92},
    60.0: {75: 0.58, 90: 0.71, 105: 0.77, 125: 0.83, 150: 0.87, 200: 0.91},
    65.0: {75: 0.47, 90: 0.65, 105: 0.73, 125: 0.79, 150: 0.84, 200: 0.89},
    70.0: {75: 0.33, 90: 0.58, 105: 0.68, 125: 0.76, 150: 0.82, 200: 0.87},
    80.0: {90: 0.41, 105: 0.58, 125: 0.69, 150: 0.76, 200: 0.84},
}
