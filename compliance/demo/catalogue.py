"""What the demo teams use: some eighty parts, with invented codes and figures of the usual kind."""

from __future__ import annotations

from typing import Any, TypeVar

from compliance.demo.rows import check, put_many
from inventory.models import (
    BatteryModel,
    Component,
    DevicePoint,
    Part,
    ProtectiveDevice,
    TerminalType,
    Unit,
    WireType,
)
from shared.access import Scope
from shared.electrical.gauges import parse_size
from shared.electrical.tables.protection import CURVES

P = TypeVar("P", bound=Part)

#: code -> (name, size as printed, strands, insulation class C, colour)
WIRES: dict[str, tuple[str, str, int, float, str]] = {
    "W04R": ("Battery lead, red", "4 AWG", 413, 105, "red"),
    "W04K": ("Battery lead, black", "4 AWG", 413, 105, "black"),
    "W06R": ("Heavy lead, red", "6 AWG", 266, 105, "red"),
    "W08P": ("Pair for long feeds", "8 AWG", 168, 105, "red/black"),
    "W10P": ("Pair for drive motors", "10 AWG", 105, 105, "red/black"),
    "W12P": ("Pair for mechanisms", "12 AWG", 65, 105, "red/black"),
    "W14P": ("Pair for light mechanisms", "14 AWG", 41, 105, "red/black"),
    "W16P": ("Pair for valves", "16 AWG", 26, 105, "red/black"),
    "W18P": ("Pair for electronics", "18 AWG", 16, 105, "red/black"),
    "W20P": ("Pair for small loads", "20 AWG", 10, 105, "red/black"),
    "W22P": ("Pair for sensors", "22 AWG", 7, 105, "red/black"),
    "WBUS": ("Twisted pair for the data bus", "22 AWG", 7, 105, "yellow/green"),
    "W25M": ("Test bench lead", "2.5 mm2", 50, 105, "blue"),
}
#: Sold, but not on the shelf: thicker than any robot has yet.
NOT_HELD = frozenset({"W08P"})
#: code -> (name, form, least and largest conductor mm2, as printed, hole mm, colour)
TERMINALS: dict[str, tuple[str, str, float, float, str, float | None, str]] = {
    "LUG-4-M8": ("Lug for battery leads, M8", "lug", 16.0, 25.0, "4 AWG", 8.4, ""),
    "LUG-4-M6": ("Lug for battery leads, M6", "lug", 16.0, 25.0, "4 AWG", 6.4, ""),
    "LUG-6-M6": ("Lug for heavy leads, M6", "lug", 10.0, 16.0, "6 AWG", 6.4, ""),
    "RING-8-M5": ("Ring for 8 AWG, M5", "ring", 6.6, 10.5, "8 AWG", 5.3, ""),
    "RING-Y-M5": ("Ring, yellow, M5", "ring", 2.6, 6.6, "12-10 AWG", 5.3, "yellow"),
    "RING-Y-M6": ("Ring, yellow, M6", "ring", 2.6, 6.6, "12-10 AWG", 6.4, "yellow"),
    "RING-B-M5": ("Ring, blue, M5", "ring", 1.0, 2.6, "16-14 AWG", 5.3, "blue"),
    "RING-B-M4": ("Ring, blue, M4", "ring", 1.0, 2.6, "16-14 AWG", 4.3, "blue"),
    "RING-R-M4": ("Ring, red, M4", "ring", 0.25, 1.65, "22-16 AWG", 4.3, "red"),
    "BLADE-B": ("Push-on, blue", "blade", 1.0, 2.6, "16-14 AWG", None, "blue"),
    "BLADE-R": ("Push-on, red", "blade", 0.25, 1.65, "22-16 AWG", None, "red"),
    "FER-08": ("Ferrule, long, for 8 AWG", "ferrule", 6.0, 10.0, "6-10 mm2", None, ""),
    "FER-10": ("Ferrule, long, for 10 AWG", "ferrule", 4.0, 6.0, "4-6 mm2", None, ""),
    "FER-12": ("Ferrule, long, for 12 AWG", "ferrule", 2.5, 4.0, "2.5-4 mm2", None, ""),
    "FER-14": ("Ferrule, long, for 14 AWG", "ferrule", 1.5, 2.5, "1.5-2.5 mm2", None, ""),
    "FER-18": ("Ferrule for 18 AWG", "ferrule", 0.75, 1.5, "0.75-1.5 mm2", None, ""),
    "FER-22": ("Ferrule for 22 and 20 AWG", "ferrule", 0.25, 0.75, "0.25-0.75 mm2", None, ""),
}
#: code -> (name, form, rating A, interrupt rating A, reset, family of time-current points)
DEVICES: dict[str, tuple[str, str, float, float, str, str]] = {
    "MB120": ("Main breaker 120 A", "thermal", 120, 3000, "manual", "thermal_main_120"),
    "BF100": ("Bolt-down fuse 100 A", "bolt", 100, 2000, "none", "bolt_down"),
    "BF60": ("Bolt-down fuse 60 A", "bolt", 60, 2000, "none", "bolt_down"),
    "TB30": ("Thermal breaker 30 A", "thermal", 30, 3000, "manual", "thermal_main_120"),
    "MX40": ("Large blade fuse 40 A", "blade", 40, 1000, "none", "maxi_blade"),
    "MX30": ("Large blade fuse 30 A", "blade", 30, 1000, "none", "maxi_blade"),
    "BL30": ("Blade fuse 30 A", "blade", 30, 1000, "none", "blade"),
    "BL20": ("Blade fuse 20 A", "blade", 20, 1000, "none", "blade"),
    "BL15": ("Blade fuse 15 A", "blade", 15, 1000, "none", "blade"),
    "BL10": ("Blade fuse 10 A", "blade", 10, 1000, "none", "blade"),
    "BL05": ("Blade fuse 5 A", "blade", 5, 1000, "none", "blade"),
    "BL03": ("Blade fuse 3 A", "blade", 3, 1000, "none", "blade"),
    "BL02": ("Blade fuse 2 A", "blade", 2, 1000, "none", "blade"),
    "GT02": ("Glass tube fuse 2 A, old stock", "bolt", 2, 35, "none", "blade"),
}
#: code -> (name, role, running A, peak A, least V, stud mm)
COMPONENTS: dict[str, tuple[str, str, float, float, float | None, float | None]] = {
    "DRIVE-MOTOR": ("Drive motor with controller", "motor", 7.0, 35.0, None, 5.0),
    "STEER-MOTOR": ("Steering motor with controller", "motor", 2.5, 18.0, None, 5.0),
    "ARM-MOTOR": ("Arm motor with controller", "motor", 3.5, 24.0, None, 5.0),
    "INTAKE-MOTOR": ("Intake motor with controller", "motor", 3.0, 18.0, None, 5.0),
    "CONTROLLER": ("Main controller", "controller", 1.2, 2.0, 6.8, None),
    "RADIO": ("Radio", "radio", 0.9, 1.4, 4.4, None),
    "REGULATOR": ("Voltage regulator board", "regulator", 0.2, 0.3, 6.0, 4.0),
    "BEACON": ("Status beacon", "beacon", 0.4, 0.6, 4.2, None),
    "VISION": ("Vision computer", "other", 1.8, 3.0, 8.8, None),
    "COMPRESSOR": ("Air compressor", "pneumatic", 8.0, 14.0, None, None),
    "VALVES": ("Valve block", "pneumatic", 1.0, 2.0, None, None),
    "CAMERA": ("Camera", "sensor", 0.6, 1.0, None, None),
    "RANGE": ("Range sensor", "sensor", 0.2, 0.3, None, None),
    "LIGHTS": ("Light strip", "light", 1.1, 1.2, None, None),
    "BOARD": ("Distribution board", "board", 0.0, 0.0, None, 6.0),
}
#: code -> (free A, stall A, seconds to spin up with what it drives)
MOTORS: dict[str, tuple[float, float, float]] = {
    "DRIVE-MOTOR": (2.0, 130.0, 0.25),
    "STEER-MOTOR": (1.2, 60.0, 0.05),
    "ARM-MOTOR": (1.6, 100.0, 0.20),
    "INTAKE-MOTOR": (1.5, 90.0, 0.10),
}
#: code -> (output V, share of the power that comes out, largest output A)
REGULATORS: dict[str, tuple[float, float, float]] = {"REGULATOR": (5.0, 0.85, 9.0)}
#: What runs on the regulator board's output; everything else is made for the battery's voltage.
ON_5_V = ("RADIO", "BEACON", "LIGHTS", "CAMERA", "RANGE")
#: code -> (name, Ah at 20 h, resistance on its sheet mohm, torque Nm)
BATTERIES: dict[str, tuple[str, float, float, float]] = {
    "AGM18": ("AGM block 12 V 18 Ah", 18.0, 11.0, 4.0),
    "AGM17": ("AGM block 12 V 17 Ah", 17.0, 12.0, 4.0),
    "AGM07": ("AGM block 12 V 7 Ah for the bench", 7.0, 22.0, 2.0),
}
#: code -> (name, counted each or by the metre, floor)
OTHERS: dict[str, tuple[str, str, int]] = {
    "TIE-S": ("Cable tie 100 mm", Unit.EACH, 50),
    "TIE-L": ("Cable tie 200 mm", Unit.EACH, 50),
    "CLAMP": ("Saddle clamp for looms", Unit.EACH, 0),
    "SHRINK-6": ("Heat-shrink sleeve 6 mm", Unit.METRE, 0),
    "SHRINK-12": ("Heat-shrink sleeve 12 mm", Unit.METRE, 0),
    "SLEEVE": ("Braided sleeve 10 mm", Unit.METRE, 0),
    "LABEL": ("Roll of circuit labels", Unit.EACH, 3),
    "TAPE": ("Roll of cloth tape", Unit.EACH, 2),
    "PLUG-2": ("Two-pole power plug with housing", Unit.EACH, 0),
    "BATT-PLUG": ("Battery plug, two-pole, 120 A", Unit.EACH, 0),
    "STRAP": ("Battery strap", Unit.EACH, 0),
    "BOOT": ("Insulating boot for a battery post", Unit.EACH, 0),
    "NUT-M5": ("Lock nut M5", Unit.EACH, 0),
    "NUT-M8": ("Lock nut M8", Unit.EACH, 0),
    "LENS": ("Lens of the status beacon", Unit.EACH, 0),
}
#: State of charge against rest voltage of an AGM block (common practice, no source).
REST_CURVE = [[1.0, 12.85], [0.75, 12.55], [0.5, 12.25], [0.25, 12.0], [0.0, 11.7]]


class Catalogue(dict[str, Part]):
    """The parts of one team by code, typed on the way out."""

    def get_as(self, model: type[P], code: str | None) -> P | None:
        if code is None:
            return None
        part = self[code]
        assert isinstance(part, model)
        return part


def make_catalogue(scope: Scope) -> Catalogue:
    """Enter the whole catalogue for one team."""
    found = Catalogue()
    for rows in (_wires(), _terminals(), _devices(), _components(), _batteries(), _others()):
        for part in rows:
            part.team = scope.team
            check(part)
            part._history_user = scope.user  # type: ignore[attr-defined]  # read by simple_history
            part.save()
            found[part.code] = part
    put_many(scope, _points(scope, found))
    return found


def _wires() -> list[Part]:
    return [
        WireType(
            code=code,
            name=f"{name} {size}",
            unit=Unit.METRE,
            size_typed=size,
            area_mm2=parse_size(size).area_mm2,
            strands=strands,
            insulation_class_c=class_c,
            colour=colour,
        )
        for code, (name, size, strands, class_c, colour) in WIRES.items()
    ]


def _terminals() -> list[Part]:
    return [
        TerminalType(
            code=code,
            name=name,
            form=form,
            area_min_mm2=least,
            area_max_mm2=most,
            range_typed=typed,
            hole_mm=hole,
            colour=colour,
        )
        for code, (name, form, least, most, typed, hole, colour) in TERMINALS.items()
    ]


def _devices() -> list[Part]:
    return [
        ProtectiveDevice(
            code=code,
            name=name,
            form=form,
            rating_a=rating,
            interrupt_a=interrupt,
            voltage_v=32,
            reset=reset,
            resistance_mohm=round(70 / rating, 2),
            service_frac=0.99 if code == "MB120" else 0.95,
        )
        for code, (name, form, rating, interrupt, reset, _) in DEVICES.items()
    ]


def _components() -> list[Part]:
    return [
        Component(
            code=code,
            name=name,
            role=role,
            nominal_v=5 if code in ON_5_V else 12,
            nominal_a=running,
            peak_a=peak,
            minimum_v=least_v,
            stud_mm=stud,
            **_further_figures(code),
        )
        for code, (name, role, running, peak, least_v, stud) in COMPONENTS.items()
    ]


def _further_figures(code: str) -> dict[str, float]:
    """What only a motor or only a regulator has."""
    names = (
        ("free_a", "stall_a", "spin_up_s")
        if code in MOTORS
        else ("output_v", "efficiency_frac", "output_max_a")
    )
    return dict(zip(names, MOTORS.get(code) or REGULATORS.get(code) or (), strict=False))


def _batteries() -> list[Part]:
    return [
        BatteryModel(
            code=code,
            name=name,
            chemistry="agm",
            capacity_ah=ah,
            end_v=10.5,
            resistance_new_mohm=mohm,
            full_rest_v=12.8,
            charge_max_a=round(0.3 * ah, 1),
            discharge_max_a=15 * ah,
            rest_curve=REST_CURVE,
            terminal_torque_nm=torque,
            mass_g=330 * ah,
            polarisation_mohm=round(0.3 * mohm, 1),
            polarisation_s=20.0,
        )
        for code, (name, ah, mohm, torque) in BATTERIES.items()
    ]


def _others() -> list[Part]:
    return [
        Part(code=code, name=name, unit=unit, minimum_stock=floor, service_frac=0.8)
        for code, (name, unit, floor) in OTHERS.items()
    ]


def _points(scope: Scope, parts: Catalogue) -> list[DevicePoint]:
    """Time-current points of every device, from the family tables with their status; first what it holds."""
    points: list[DevicePoint] = []
    for code, row in DEVICES.items():
        curve = CURVES[row[5]]
        points.append(_point(scope, parts[code], (curve.holds_multiple, None, None), curve))
        points += [_point(scope, parts[code], (p.multiple, p.min_s, p.max_s), curve) for p in curve.points]
    points.append(
        DevicePoint(
            team=scope.team,
            device=parts["MB120"],  # type: ignore[misc]  # a device, as the table above says
            multiple=8.0,
            opens_min_s=0.6,
            opens_max_s=2.5,
            status="sheet",
            source="Invented sheet of the demo's main breaker",
        )
    )
    return points


def _point(
    scope: Scope, device: Any, point: tuple[float, float | None, float | None], curve: Any
) -> DevicePoint:
    multiple, soonest_s, latest_s = point
    return DevicePoint(
        team=scope.team,
        device=device,
        multiple=multiple,
        opens_min_s=soonest_s,
        opens_max_s=latest_s,
        status="memory",
        source=f"{curve.title}: {curve.source.title}",
    )
