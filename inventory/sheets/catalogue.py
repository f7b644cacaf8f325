"""Sheets of the catalogue. Every kind of part has its own; a code occurs once over all of them."""

from __future__ import annotations

from typing import Any

from inventory.models import (
    BatteryModel,
    Component,
    DevicePoint,
    Part,
    PartKind,
    ProtectiveDevice,
    TerminalType,
    WireType,
)
from shared.electrical.gauges import parse_size
from shared.workbook.declare import col, sheet
from shared.workbook.spec import Kind, SheetSpec, Values

PARTS = "Parts"

_KEPT = (
    col(
        "minimum_stock",
        explanation="Never go below this, event or not (pieces, or metres of wire); empty for no floor",
        example="5",
    ),
    col(
        "service_frac",
        heading="Service level",
        explanation="Chance of having enough at an event: 99 % if its lack stops the robot, 80 % for a label",
        example="95 %",
    ),
    col("notes", explanation="Anything worth knowing", example="Second shelf, behind the reels"),
    col("archived", explanation="No longer used; kept for the history", example="no"),
)


def _part_sheet(
    name: str, model: type[Part], columns: list[str | dict[str, Any]], *, code: str, called: str, **said: Any
) -> SheetSpec:
    head = [
        col("code", explanation="The team's own short code, as printed on the bin", example=code),
        col("name", explanation="What people call it", example=called),
    ]
    return sheet(name, model, key=("code",), columns=[*head, *columns, *_KEPT], namespace=PARTS, **said)


def _area_from_size(values: Values) -> None:
    """A wire's area follows from its size unless the file gives it."""
    size = values.get("size_typed")
    if "area_mm2" not in values and isinstance(size, str):
        values["area_mm2"] = parse_size(size).area_mm2


WIRES = _part_sheet(
    "Wire types",
    WireType,
    [
        col("size_typed", heading="Size", kind=Kind.SIZE, example="12 AWG"),
        col(
            "area_mm2",
            kind=Kind.AREA,
            required=False,
            keep_when_blank=True,
            explanation="Conductor area from the data sheet; empty: worked out from the size",
            example="3.31",
        ),
        col("strands", example="65"),
        col("insulation_class_c", example="105"),
        col("colour", explanation="Colour of the insulation", example="red"),
        col("tinned", explanation="Strands are tinned", example="no"),
        col("resistance_mohm_per_m", heading="Resistance (mΩ/m)", kind=Kind.NUMBER, unit="", example="5.3"),
    ],
    code="W12-RED",
    called="12 AWG red, fine strands",
    complete=_area_from_size,
    about="Kinds of conductor; the lengths in store are on the sheet Spools",
)

TERMINALS = _part_sheet(
    "Terminals",
    TerminalType,
    [
        col("form", explanation="What kind of terminal it is", example="Ring"),
        col(
            "area_min_mm2",
            kind=Kind.AREA,
            explanation="Smallest conductor the barrel grips",
            example="16 AWG",
        ),
        col("area_max_mm2", kind=Kind.AREA, explanation="Largest conductor that goes in", example="14 AWG"),
        col("range_typed", heading="Printed range", example="16-14 AWG"),
        col("hole_mm", example="5.3"),
        col("colour", example="blue"),
    ],
    code="RING-M5",
    called="Ring for M5, blue",
    about="Terminals, ferrules, splices and contacts",
)

DEVICES = _part_sheet(
    "Protective devices",
    ProtectiveDevice,
    [
        col("form", explanation="What kind of device it is", example="Blade fuse"),
        col("rating_a", example="30"),
        col("interrupt_a", heading="Interrupt rating (A)", example="1000"),
        col("voltage_v", example="32"),
        col("reset", explanation="What it needs after opening", example="Replace"),
        col("resistance_mohm", example="1.5"),
        col("heat_s", heading="Heats up in (s)", example="60"),
    ],
    code="FUSE-30",
    called="Blade fuse 30 A",
    about="Fuses and breakers; when they open is on the sheet Device points",
)

DEVICE_POINTS = sheet(
    "Device points",
    DevicePoint,
    key=("device", "multiple"),
    columns=[
        col("device", reference="Protective devices", explanation="Which device", example="FUSE-30"),
        col("multiple", heading="Multiple of rating", kind=Kind.NUMBER, unit="", example="2"),
        col("opens_min_s", heading="Opens after at least (s)", example="0.15"),
        col("opens_max_s", heading="Opens after at most (s)", example="5"),
        col("status", explanation="How far the figure can be trusted", example="device's own data sheet"),
        col("source", example="Data sheet rev. 3, table 2"),
    ],
    about="Points of a device's time-current band, from its own data sheet",
)

BATTERY_MODELS = _part_sheet(
    "Battery models",
    BatteryModel,
    [
        col("chemistry", explanation="What is in it", example="Lead-acid, AGM"),
        col("nominal_v", heading="Nominal voltage (V)", explanation="Voltage it is sold as", example="12"),
        col("capacity_ah", example="18"),
        col("capacity_hours_h", heading="Capacity rate (h)", example="20"),
        col("end_v", heading="End voltage (V)", example="10.5"),
        col("resistance_new_mohm", heading="Resistance when new (mΩ)", example="11"),
        col("full_rest_v", heading="Rest voltage when full (V)", example="12.8"),
        col("charge_max_a", heading="Largest charge current (A)", explanation="From its sheet", example="6"),
        col("discharge_max_a", heading="Largest current (A)", explanation="From its sheet", example="230"),
        col("rest_curve", kind=Kind.POINTS, example="1.0:12.85; 0.5:12.30; 0:11.80"),
        col("terminal_torque_nm", example="6"),
        col("polarisation_mohm", heading="Polarisation (mΩ)", example="4"),
        col("polarisation_s", heading="Polarisation builds up in (s)", example="20"),
        col("mass_g", kind=Kind.QUANTITY, explanation="Mass of one battery", example="5.9 kg"),
    ],
    code="AGM18",
    called="AGM 12 V 18 Ah",
    about="Kinds of battery; the batteries themselves are on the sheet Batteries",
)

COMPONENTS = _part_sheet(
    "Components",
    Component,
    [
        col("role", explanation="What it does on the robot", example="Motor with controller"),
        col("draw", heading="Draws", example="Like a DC motor"),
        col("nominal_v", heading="Nominal voltage (V)", explanation="Supply it is made for", example="12"),
        col("nominal_a", heading="Running current (A)", example="12"),
        col("peak_a", heading="Peak current (A)", example="90"),
        col("minimum_v", heading="Lowest voltage (V)", example="6.8"),
        col("free_a", heading="Free current (A)", example="2.5"),
        col("stall_a", heading="Stall current (A)", example="120"),
        col("spin_up_s", heading="Spins up in (s)", example="250 ms"),
        col("output_v", heading="Output voltage (V)", example="5"),
        col("efficiency_frac", heading="Efficiency", example="88 %"),
        col("output_max_a", heading="Largest output current (A)", example="8"),
        col("stud_mm", example="5"),
    ],
    code="MOT-DRIVE",
    called="Drive motor with controller",
    about="What draws current, and boards that pass it on",
)

OTHER_PARTS = _part_sheet(
    "Other parts",
    Part,
    [col("unit", explanation="Counted each, or measured by the metre", example="each")],
    code="TIE-100",
    called="Cable tie 100 mm",
    only={"kind": PartKind.OTHER},
    about="Everything else that lies in a bin",
)

CATALOGUE_SHEETS = (
    WIRES,
    TERMINALS,
    DEVICES,
    DEVICE_POINTS,
    BATTERY_MODELS,
    COMPONENTS,
    OTHER_PARTS,
)
