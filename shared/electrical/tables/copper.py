"""Constants of copper conductors and the resistance limits of conductor standards."""

from typing import Final

from shared.electrical.sources import MEMORY, SEEN, Figure, Source

__all__ = [
    "DENSITY_G_PER_CM3",
    "DROP_LIMIT_FRAC",
    "DROP_SOURCE",
    "INFERRED_ZERO_C",
    "LAY_FACTOR",
    "MAX_OHM_PER_KM",
    "MAX_OHM_PER_KM_SOURCE",
    "RESISTIVITY_OHM_MM2_PER_M",
    "SQUARE_LAW",
]

RESISTIVITY_OHM_MM2_PER_M: Final = Figure(
    0.017241, "ohm mm2/m", Source("IEC 60028", "100 % IACS copper at 20 C: 58 MS/m", SEEN)
)
DENSITY_G_PER_CM3: Final = Figure(
    8.89, "g/cm3", Source("IEC 60028", "density of annealed copper at 20 C", MEMORY)
)
# R(T) = R20 (234.5 + T) / 254.5; 234.5 C below zero is where the straight line reaches zero resistance.
INFERRED_ZERO_C: Final = Figure(
    234.5, "C", Source("FAA AC 43.13-1B CHG 1", "par. 11-66d, L2 = 254.5 L1 / (234.5 + T2)", SEEN)
)
# The strands of a lay run a little longer than the wire. NEC Chapter 9 Table 8: stranded / solid = 1.02.
LAY_FACTOR: Final = Figure(1.02, "-", Source("NFPA 70 (NEC)", "Chapter 9 Table 8, stranded over solid", SEEN))

SQUARE_LAW: Final = Source("Square law T = Ta + (Tr - Ta)(I / Ir)^2", "thermal handbooks", MEMORY)

# Maximum resistance at 20 C by nominal area [mm2] -> [ohm/km].
MAX_OHM_PER_KM_SOURCE: Final[dict[str, Source]] = {
    "iec60228_class2": Source("IEC 60228:2004", "Table 2, plain copper, class 2", SEEN),
    "iec60228_class5": Source("IEC 60228:2004", "Table 3, plain copper, class 5", SEEN),
    "iec60228_class5_tinned": Source("IEC 60228:2004", "Table 3, metal-coated copper, class 5", SEEN),
    "iso6722": Source("ISO 6722-1:2011", "conductor resistance at 20 C, plain copper", MEMORY),
}
MAX_OHM_PER_KM: Final[dict[str, dict[float, float]]] = {
    "iec60228_class2": {
        0.5: 36.0, 0.75: 24.5, 1.0: 18.1, 1.5: 12.1, 2.5: 7.41, 4.0: 4.61, 6.0: 3.08, 10.0: 1.83,
        16.0: 1.15, 25.0: 0.727, 35.0: 0.524, 50.0: 0.387, 70.0: 0.268, 95.0: 0.193,
    },
    "iec60228_class5": {
        0.5: 39.0, 0.75: 26.0, 1.0: 19.5, 1.5: 13.3, 2.5: 7.98, 4.0: 4.95, 6.0: 3.3, 10.0: 1.91,
        16.0: 1.21, 25.0: 0.78, 35.0: 0.554, 50.0: 0.386, 70.0: 0.272, 95.0: 0.206,
    },
    "iec60228_class5_tinned": {
        0.5: 40.1, 0.75: 26.7, 1.0: 20.0, 1.5: 13.7, 2.5: 8.21, 4.0: 5.09, 6.0: 3.39, 10.0: 1.95,
        16.0: 1.24, 25.0: 0.795, 35.0: 0.565, 50.0: 0.393, 70.0: 0.277, 95.0: 0.21,
    },
    "iso6722": {
        0.35: 54.4, 0.5: 37.1, 0.75: 24.7, 1.0: 18.5, 1.5: 12.7, 2.5: 7.6, 4.0: 4.71, 6.0: 3.14,
        10.0: 1.82, 16.0: 1.16,
    },
}  # fmt: skip

DROP_SOURCE: Final = Source("ABYC E-11", "3 % critical circuits, 10 % other circuits", SEEN)
DROP_LIMIT_FRAC: Final[dict[str, float]] = {"critical": 0.03, "other": 0.10}
