"""Ampacity tables: current a copper conductor may carry, by size and insulation class.

The conditions belong to the numbers: a 33-wire aircraft bundle at 70 C and a single wire at 30 C differ
threefold. NaN marks a cell the source leaves empty.
"""

from dataclasses import dataclass
from typing import Final

from shared.electrical.sources import MEMORY, SEEN, Source

__all__ = ["AMPACITY_TABLES", "AmpacityTable"]

_NAN: Final = float("nan")


@dataclass(frozen=True, slots=True)
class AmpacityTable:
    """One published table: rows by AWG, columns by insulation class, and the conditions it holds under."""

    name: str
    title: str
    conditions: str
    source: Source
    base_ambient_c: float
    classes_c: tuple[float, ...]
    amps: dict[str, tuple[float, ...]]
    # The figures are for a wire already inside a full bundle: no bundle factor, no credit for a cooler room.
    bundled: bool = False
    # For comparison on pages only: conditions unknown, never a limit.
    comparison_only: bool = False
    remark: str = ""


_CFR183 = AmpacityTable(
    name="33cfr183",
    title="Federal boat rule, single stranded conductor",
    conditions="30 C ambient, not more than 2 current-carrying conductors together, outside an engine space",
    source=Source("33 CFR 183.425", "Table 5", SEEN),
    base_ambient_c=30.0,
    classes_c=(60.0, 75.0, 80.0, 90.0, 105.0, 125.0, 200.0),
    amps={
        "18": (10, 10, 15, 20, 20, 25, 25),
        "16": (15, 15, 20, 25, 25, 30, 35),
        "14": (20, 20, 25, 30, 35, 40, 45),
        "12": (25, 25, 35, 40, 45, 50, 55),
        "10": (40, 40, 50, 55, 60, 70, 70),
        "8": (55, 65, 70, 70, 80, 90, 100),
        "6": (80, 95, 100, 100, 120, 125, 135),
        "4": (105, 125, 130, 135, 160, 170, 180),
        "3": (120, 145, 150, 155, 180, 195, 210),
        "2": (140, 170, 175, 180, 210, 225, 240),
        "1": (165, 195, 210, 210, 245, 265, 280),
        "1/0": (195, 230, 245, 245, 285, 305, 325),
        "2/0": (225, 265, 285, 285, 330, 355, 370),
        "3/0": (260, 310, 330, 330, 385, 410, 430),
        "4/0": (300, 360, 385, 385, 445, 475, 510),
    },
    remark="The figures ABYC E-11 prints for wiring outside engine spaces.",
)

_NEC310 = AmpacityTable(
    name="nec310_16",
    title="Building wiring, up to 3 conductors in raceway or cable",
    conditions="30 C ambient, at most 3 current-carrying conductors in raceway or cable",
    source=Source("NFPA 70 (NEC) Table 310.16; CSA C22.1 (CEC) Table 2", "60/75/90 C alike in both", SEEN),
    base_ambient_c=30.0,
    classes_c=(60.0, 75.0, 90.0, 110.0, 125.0, 200.0),
    amps={
        "18": (_NAN, _NAN, 14, _NAN, _NAN, _NAN),
        "16": (_NAN, _NAN, 18, _NAN, _NAN, _NAN),
        "14": (15, 20, 25, 25, 30, 35),
        "12": (20, 25, 30, 30, 35, 40),
        "10": (30, 35, 40, 45, 45, 60),
        "8": (40, 50, 55, 65, 65, 80),
        "6": (55, 65, 75, 80, 90, 110),
        "4": (70, 85, 95, 105, 115, 140),
        "3": (85, 100, 115, 125, 135, 165),
        "2": (95, 115, 130, 145, 155, 190),
        "1": (110, 130, 145, 165, 175, 215),
        "1/0": (125, 150, 170, 190, 200, 245),
        "2/0": (145, 175, 195, 220, 235, 290),
        "3/0": (165, 200, 225, 255, 270, 330),
        "4/0": (195, 230, 260, 290, 310, 380),
    },
    remark="Newer editions print 15/20 A at 60 C for 14/12 AWG, older ones 20/25 A with a fuse footnote.",
)

_FREE_AIR = AmpacityTable(
    name="free_air",
    title="Single insulated conductor in free air",
    conditions="30 C ambient, single conductor, free air; 20, 18 and 16 AWG are estimates of the source",
    source=Source(
        "Lessons in Electric Circuits, vol. V", "Ampacities of copper wire, in free air at 30 C", SEEN
    ),
    base_ambient_c=30.0,
    classes_c=(60.0, 75.0, 90.0),
    amps={
        "20": (9, _NAN, 12.5),
        "18": (13, _NAN, 18),
        "16": (18, _NAN, 24),
        "14": (25, 30, 35),
        "12": (30, 35, 40),
        "10": (40, 50, 55),
        "8": (60, 70, 80),
        "6": (80, 95, 105),
        "4": (105, 125, 140),
        "2": (140, 170, 190),
        "1": (165, 195, 220),
        "1/0": (195, 230, 260),
        "2/0": (225, 265, 300),
        "3/0": (260, 310, 350),
        "4/0": (300, 360, 405),
    },
)

_AC4313 = AmpacityTable(
    name="ac4313",
    title="Aircraft wire in a large bundle",
    conditions="70 C ambient, 33 or more wires in the bundle (9 from 8 AWG up), 20 % loaded, 60,000 ft",
    source=Source("FAA AC 43.13-1B CHG 1", "Table 11-9", SEEN),
    base_ambient_c=70.0,
    classes_c=(105.0, 150.0, 200.0),
    amps={
        "24": (2.5, 4, 5),
        "22": (3, 5, 6),
        "20": (4, 7, 9),
        "18": (6, 9, 12),
        "16": (7, 11, 14),
        "14": (10, 14, 18),
        "12": (13, 19, 25),
        "10": (17, 26, 32),
        "8": (38, 57, 71),
        "6": (50, 76, 97),
        "4": (68, 103, 133),
        "2": (95, 141, 179),
        "1": (113, 166, 210),
        "1/0": (128, 192, 243),
        "2/0": (147, 222, 285),
        "3/0": (172, 262, 335),
        "4/0": (204, 310, 395),
    },
    bundled=True,
    remark="Looks small because it is a 33-wire bundle in hot thin air.",
)

_NASA_SOURCE: Final = Source(
    "NASA EEE-INST-002 / MIL-STD-975 wire derating", "12 AWG read, other rows remembered", MEMORY
)

_NASA_SINGLE = AmpacityTable(
    name="nasa_single",
    title="Space flight wire, single",
    conditions="vacuum, 70 C ambient, 200 C rated wire, single",
    source=_NASA_SOURCE,
    base_ambient_c=70.0,
    classes_c=(200.0,),
    amps={
        "26": (2.5,),
        "24": (3.3,),
        "22": (4.5,),
        "20": (6.5,),
        "18": (9.2,),
        "16": (13.0,),
        "14": (19.0,),
        "12": (25.0,),
        "10": (33.0,),
        "8": (44.0,),
        "6": (60.0,),
        "4": (81.0,),
    },
    # A single wire, but in vacuum at 70 C: no credit for a cooler room is taken.
    remark="20 AWG single from memory; a NASA GSFC paper gives 3.7 A for 20 AWG in bundles of 15 and more.",
)

_INSTRUMENT = AmpacityTable(
    name="instrument",
    title="Aerospace-derived guideline of an instrument manual",
    conditions="50 C ambient, 105 C conductor, single wire",
    source=Source("Electronic-load manual, wire size guidelines", "p. 67, citing MIL-W-5088B", SEEN),
    base_ambient_c=50.0,
    classes_c=(105.0,),
    amps={
        "22": (5.0,),
        "20": (8.33,),
        "18": (15.4,),
        "14": (31.2,),
        "12": (40,),
        "10": (55,),
        "8": (75,),
        "6": (100,),
        "4": (135,),
    },
)

_CHASSIS = AmpacityTable(
    name="chassis",
    title="'Chassis wiring' column that circulates on the web",
    conditions="not stated",
    source=Source("Handbook of electronics tables, copied on the web", "chassis wiring column", SEEN),
    base_ambient_c=30.0,
    classes_c=(90.0,),
    amps={
        "24": (3.5,),
        "22": (7,),
        "20": (11,),
        "18": (16,),
        "16": (22,),
        "14": (32,),
        "12": (41,),
        "10": (55,),
        "8": (73,),
        "6": (101,),
        "4": (135,),
        "2": (181,),
        "1/0": (245,),
        "2/0": (283,),
        "4/0": (380,),
    },
    comparison_only=True,
    remark="No ambient, class or installation is stated: for comparison only.",
)

AMPACITY_TABLES: Final[dict[str, AmpacityTable]] = {
    table.name: table for table in (_CFR183, _NEC310, _FREE_AIR, _AC4313, _NASA_SINGLE, _INSTRUMENT, _CHASSIS)
}
