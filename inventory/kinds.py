"""The kinds of part, and which fields each has, in the order a person fills them in."""

from __future__ import annotations

from inventory.models import (
    BatteryModel,
    Component,
    Part,
    PartKind,
    ProtectiveDevice,
    TerminalType,
    WireType,
)

KIND_MODELS: dict[str, type[Part]] = {
    model.KIND: model for model in (WireType, TerminalType, ProtectiveDevice, BatteryModel, Component, Part)
}
_FIRST = ("code", "name")
_LAST = ("minimum_stock", "service_frac", "notes")

#: The figures of a kind besides what every part has.
OWN_FIELDS: dict[str, tuple[str, ...]] = {
    PartKind.WIRE: (
        "size_typed", "area_mm2", "strands", "insulation_class_c", "colour", "tinned", "resistance_mohm_per_m",
    ),
    PartKind.TERMINAL: ("form", "range_typed", "area_min_mm2", "area_max_mm2", "hole_mm", "colour"),
    PartKind.DEVICE: ("form", "rating_a", "voltage_v", "interrupt_a", "reset", "resistance_mohm", "heat_s"),
    PartKind.BATTERY: (
        "chemistry", "nominal_v", "capacity_ah", "capacity_hours_h", "end_v", "resistance_new_mohm", "full_rest_v",
        "polarisation_mohm", "polarisation_s", "charge_max_a", "discharge_max_a", "rest_curve", "terminal_torque_nm",
        "mass_g",
    ),
    PartKind.COMPONENT: (
        "role", "draw", "nominal_v", "nominal_a", "peak_a", "minimum_v", "free_a", "stall_a", "spin_up_s", "output_v",
        "efficiency_frac", "output_max_a", "stud_mm",
    ),
    PartKind.OTHER: (),
}  # fmt: skip

#: Figures that only one role of component has; the others are not asked why they lack it.
OF_ROLE: dict[str, str] = {
    **dict.fromkeys(("free_a", "stall_a", "spin_up_s"), Component.Role.MOTOR),
    **dict.fromkeys(("output_v", "efficiency_frac", "output_max_a"), Component.Role.REGULATOR),
}

#: Wire is always by the metre; anything else may be either.
KIND_FIELDS: dict[str, tuple[str, ...]] = {
    kind: (*_FIRST, *own, *(() if kind == PartKind.WIRE else ("unit",)), *_LAST)
    for kind, own in OWN_FIELDS.items()
}
