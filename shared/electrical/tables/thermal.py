"""Heating of conductors: time constants and short-circuit factors."""

from typing import Final

from shared.electrical.sources import MEMORY, SEEN, Source

__all__ = [
    "ADIABATIC_K",
    "ADIABATIC_SOURCE",
    "CROSS_LINKED_FROM_C",
    "MODEL_SOURCE",
    "OVERLOAD_SOURCE",
    "SHORT_TIME_LIMIT_C",
    "SHORT_TIME_SOURCE",
    "SINGLE_WIRE_MODEL",
]

# One wire in still air, 105 C class at 30 C ambient: AWG -> (time constant s, ampacity A). Insulation wall
# 0.8 mm
# (24 to 10 AWG), 1.1 mm (8), 1.5 mm (6 to 2), conductivity 0.2 W/mK; natural convection after Churchill and
# Chu plus
# radiation at emissivity 0.9; copper 3.45 J/(cm3 K) plus half the insulation. Correlations from memory, not
# tuned.
MODEL_SOURCE: Final = Source(
    "Single wire in still air, heat-balance model", "computed; heat-transfer correlations from memory", MEMORY
)
SINGLE_WIRE_MODEL: Final[dict[str, tuple[float, float]]] = {
    "24": (24.0, 9.89),
    "22": (27.0, 12.8),
    "20": (32.0, 16.7),
    "18": (38.0, 21.9),
    "16": (46.0, 28.7),
    "14": (58.0, 37.9),
    "12": (74.0, 50.3),
    "10": (96.0, 67.1),
    "8": (136.0, 92.0),
    "6": (189.0, 126.0),
    "4": (241.0, 169.0),
    "2": (312.0, 228.0),
}

OVERLOAD_SOURCE: Final = Source(
    "First-order heating, t / tau = ln((r^2 - s) / (r^2 - 1))", "computed; constant resistance", MEMORY
)

ADIABATIC_SOURCE: Final = Source(
    "IEC 60949; IEC 60364-5-54", "k = 226 sqrt(ln((234.5 + tf) / (234.5 + ti))), copper", SEEN
)
# Published k [A s^0.5 / mm2] by (initial C, final C), with the clause and status of the printed value.
ADIABATIC_K: Final[dict[tuple[float, float], tuple[float, Source]]] = {
    (70.0, 160.0): (115.0, Source("BS 7671", "Table 43.1, PVC live conductor", SEEN)),
    (90.0, 250.0): (143.0, Source("BS 7671", "Table 43.1, cross-linked live conductor", SEEN)),
    (30.0, 160.0): (143.0, Source("BS 7671", "Table 54.2, separate PVC protective conductor", SEEN)),
    (60.0, 200.0): (141.0, Source("IEC 60364-4-43", "60 C rubber", MEMORY)),
}

# What insulation bears for the moment of a short circuit [C]. A class says nothing of the material, so up to 105 C
# the lower figure stands; from 125 C up there is no PVC.
SHORT_TIME_SOURCE: Final = Source("IEC 60364-5-54", "160 C for PVC, 250 C for cross-linked insulation", SEEN)
SHORT_TIME_LIMIT_C: Final[dict[str, float]] = {"pvc": 160.0, "linked": 250.0}
CROSS_LINKED_FROM_C: Final = 125.0
