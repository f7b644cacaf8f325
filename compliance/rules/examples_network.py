"""Worked examples of the rules of the robot as one circuit, computed by the functions that judge."""

from __future__ import annotations

from typing import Any, Final

import numpy as np

from compliance.rules.base import Rule, step, working
from compliance.rules.network import (
    BoardSag,
    DevicePoints,
    FaultSlow,
    FaultWithstand,
    LoadVoltage,
    MainTrip,
    NetworkGap,
    RadioFeed,
    Selectivity,
    SupplyCollapse,
    WireHot,
    WiringMinimum,
)
from shared.electrical.ampacity import corrected_ampacity_a
from shared.electrical.arrays import Verdict
from shared.electrical.bands import DeviceBands
from shared.electrical.conductors import (
    conductor_temperature_c,
    path_resistance_ohm,
    resistance_20c_ohm_per_m,
    resistance_at_c,
)
from shared.electrical.faults import FaultRange, fault_range, let_through, selectivity
from shared.electrical.gauges import parse_size
from shared.electrical.network import FeedTree, LoadKind, Loads, Sources, solve
from shared.electrical.tables.protection import CURVES

OPEN_V: Final = 12.8
INTERNAL_MOHM: Final = 11.0
MAIN: Final = ("4 AWG", 0.6)
FEED: Final = ("12 AWG", 2.5)
PUSH_A: Final = 150.0
ARM_OHM: Final = 0.5
CONTROLLER_W: Final = 15.0
CONTROLLER_V: Final = 7.0
CLASS_C: Final = 105.0
AMBIENT_C: Final = 30.0
JOINTS_OHM: Final = 0.002


def _loop_ohm(size: str, length_m: float) -> float:
    per_m = resistance_20c_ohm_per_m(parse_size(size).area_mm2)
    return float(path_resistance_ohm(per_m, length_m)) + JOINTS_OHM


def _solve(push_a: float = PUSH_A, controller_w: float = CONTROLLER_W) -> Any:
    """Main feed, a drive that pushes, and a feed shared by an arm and the controller."""
    ohm = np.array([_loop_ohm(*MAIN), 0.008, _loop_ohm(*FEED), 0.004, 0.01])
    kinds = [LoadKind.NONE, LoadKind.CURRENT, LoadKind.NONE, LoadKind.RESISTANCE, LoadKind.POWER]
    tree = FeedTree.build(
        robot=np.zeros(5, dtype=np.int64),
        parent=np.array([-1, 0, 0, 2, 2]),
        supply_ohm=ohm / 2.0,
        return_ohm=ohm / 2.0,
    )
    loads = Loads(
        kind=np.array(kinds, dtype=np.int8),
        current_a=np.array([0.0, push_a, 0.0, 0.0, 0.0]),
        power_w=np.array([0.0, 0.0, 0.0, 0.0, controller_w]),
        load_ohm=np.array([0.0, 0.0, 0.0, ARM_OHM, 0.0]),
    )
    source = Sources(np.array([OPEN_V]), np.array([INTERNAL_MOHM / 1e3]))
    return solve(tree, source, loads)


def _limit(label: str, value: float, unit: str) -> dict[str, Any]:
    return {"label": label, "name": label, "value": value, "unit": unit}


def _told(rule: type[Rule], steps: list[dict[str, Any]], conclusion: str, limit: dict[str, Any] | None = None
          ) -> dict[str, Any]:  # fmt: skip
    return working(steps, limit=limit, conclusion=conclusion, sources=rule.sources)


def _source_step(solution: Any) -> dict[str, Any]:
    drawn = float(solution.current_a[0, 0])
    return step("Battery", "V_open - I x R_battery",
                f"{OPEN_V:g} V; {INTERNAL_MOHM:g} mΩ; {drawn:.1f} A",
                float(solution.battery_v[0, 0]), "V")  # fmt: skip


def collapse() -> dict[str, Any]:
    """The same robot asked for a kilowatt and more at constant power at the end of the thin feed."""
    watts = 2000.0
    solved = bool(_solve(controller_w=watts).solved[0, 0])
    through = INTERNAL_MOHM / 1e3 + _loop_ohm(*MAIN) + _loop_ohm(*FEED)
    return _told(
        SupplyCollapse,
        [
            step("Most that can arrive", "V_open^2 / (4 R)", f"{OPEN_V:g} V; {1e3 * through:.1f} mΩ on the way",
                 OPEN_V**2 / (4 * through), "W"),
            step("Asked for", "constant power", "", watts, "W"),
            step("Network", "Kirchhoff's laws with every load's own law", "", "solved" if solved else "no solution"),
        ],
        "The battery holds the loads." if solved else "There is no voltage at which battery and loads agree.",
    )  # fmt: skip


def sag() -> dict[str, Any]:
    """150 A of a drive, 0.5 ohm of an arm and a controller of 15 W on a new battery."""
    solution = _solve()
    board, limit = float(solution.load_v[0, 0]), CONTROLLER_V + float(BoardSag.limit("margin_v").default)
    lost = float(solution.current_a[0, 0]) * _loop_ohm(*MAIN)
    return _told(
        BoardSag,
        [
            _source_step(solution),
            step("Lost in the main feed", "I x R, out and back", f"{MAIN[1]:g} m of {MAIN[0]}", lost, "V"),
            step("Board", "solved as one circuit", "", board, "V"),
        ],
        f"{board:.2f} V against {limit:g} V: {'in order' if board >= limit else 'too low'}.",
        _limit("controller and margin", limit, "V"),
    )


def load_voltage() -> dict[str, Any]:
    """The controller of the same robot, behind the feed it shares with the arm."""
    solution = _solve()
    board, arrives = float(solution.load_v[0, 0]), float(solution.load_v[4, 0])
    shared = float(solution.current_a[2, 0]) * _loop_ohm(*FEED)
    return _told(
        LoadVoltage,
        [
            step("Board", "solved as one circuit", "", board, "V"),
            step("Lost in the shared feed", "I x R, out and back",
                 f"{float(solution.current_a[2, 0]):.1f} A over {FEED[1]:g} m of {FEED[0]}", shared, "V"),
            step("Arrives", "solved as one circuit", "", arrives, "V"),
        ],
        f"{arrives:.2f} V against {CONTROLLER_V:g} V: {'enough' if arrives >= CONTROLLER_V else 'it resets'}.",
        _limit("least voltage", CONTROLLER_V, "V"),
    )  # fmt: skip


def _rms(running: float, push: float, share: float) -> float:
    return float((share * push**2 + (1.0 - share) * running**2) ** 0.5)


def hot() -> dict[str, Any]:
    """A feed of 12 AWG that carries 25 A while running and 80 A for a third of the time."""
    running, push, share = 25.0, 80.0, 1 / 3
    rms, ampacity = _rms(running, push, share), float(corrected_ampacity_a(3.3088, CLASS_C, AMBIENT_C, 2))
    warm = float(conductor_temperature_c(rms, ampacity, AMBIENT_C, CLASS_C))
    return _told(
        WireHot,
        [
            step("RMS", "sqrt(d I_push^2 + (1 - d) I_running^2)", f"{push:g} A; {running:g} A; d = {share:.2f}", rms,
                 "A"),
            step("Temperature", "ambient + (class - ambient) (I_rms / ampacity)^2", f"ampacity {ampacity:.1f} A", warm,
                 "C"),
        ],
        f"{warm:.0f} C against {CLASS_C:g} C: {'in order' if warm <= CLASS_C else 'too hot'}.",
        _limit("insulation class", CLASS_C, "C"),
    )  # fmt: skip


def main_trip() -> dict[str, Any]:
    """A 120 A breaker that carries 80 A while running and 220 A for a fifth of the time."""
    running, push, share = 80.0, 220.0, 0.2
    held = float(_bands((120.0, "thermal_main_120", True)).holds_a[0])
    rms = _rms(running, push, share)
    return _told(
        MainTrip,
        [step("RMS", "sqrt(d I_push^2 + (1 - d) I_running^2)", f"{push:g} A; {running:g} A; d = {share:g}", rms, "A"),
         step("It holds", CURVES["thermal_main_120"].title, "its points", held, "A")],
        f"{rms:.0f} A against {held:g} A: {'it stays closed' if rms <= held else 'it may open'}.",
        _limit("current it holds", held, "A"),
    )  # fmt: skip


def _bands(*devices: tuple[float, str, bool]) -> DeviceBands:
    rows = [
        (n, point.multiple, point.min_s, point.max_s)
        for n, (_, family, _) in enumerate(devices)
        for point in CURVES[family].points
    ]
    device, multiple, early, late = (np.array(column, dtype=np.float64) for column in zip(*rows, strict=True))
    ratings, by_heat = np.array([d[0] for d in devices]), np.array([d[2] for d in devices])
    return DeviceBands.build(
        ratings, by_heat, device=device.astype(np.int64), multiple=multiple, earliest_s=early, latest_s=late
    )


def _short(size: str, length_m: float) -> FaultRange:
    per_m = resistance_20c_ohm_per_m(parse_size(size).area_mm2)
    hot = 1e3 * path_resistance_ohm(resistance_at_c(per_m, CLASS_C), length_m)
    tired, volts = (float(FaultSlow.limit(name).default) for name in ("tired_frac", "tired_v"))
    before = 1e3 * _loop_ohm(*MAIN)
    return fault_range(OPEN_V, INTERNAL_MOHM, before, volts, tired * INTERNAL_MOHM, before + hot)


def _cleared(rule: type[Rule], rating_a: float, family: str, by_heat: bool, size: str, length_m: float
             ) -> dict[str, Any]:  # fmt: skip
    area = parse_size(size).area_mm2
    ampacity = float(corrected_ampacity_a(area, CLASS_C, AMBIENT_C, 2))
    faults = _short(size, length_m)
    worst = let_through(
        _bands((rating_a, family, by_heat)), np.array([0]), faults, area, CLASS_C, AMBIENT_C, ampacity
    )
    opens, bears = float(worst.opens_s[0]), float(worst.bears_s[0])
    held = int(worst.verdict[0]) == Verdict.HOLDS
    return _told(
        rule,
        [
            step("Least fault current", "V_tired / (R_tired + R_path hot)", f"{length_m:g} m of {size}",
                 float(faults.lowest_a), "A"),
            step("Largest fault current", "V_full / (R_new + R_path cold)", "right behind the device",
                 float(faults.highest_a), "A"),
            step("Worst current between them", CURVES[family].title, f"{rating_a:g} A", float(worst.current_a[0]), "A"),
            step("Opens at the latest after", "points, log-log between them", "", opens, "s"),
            step("The wire bears it for", "k^2 S^2 / I^2, or first-order heating", f"{area:.3f} mm2", bears, "s"),
        ],
        f"The device {'opens in time' if held else 'comes too late for the wire'}.",
        _limit("time the wire bears it", bears, "s"),
    )  # fmt: skip


def withstand() -> dict[str, Any]:
    """A slow breaker of 30 A in front of 14 AWG."""
    return _cleared(FaultWithstand, 30.0, "thermal_main_120", True, "14 AWG", 1.0)


def slow() -> dict[str, Any]:
    """A large blade fuse of 20 A in front of 9 m of 18 AWG."""
    return _cleared(FaultSlow, 20.0, "maxi_blade", True, "18 AWG", 9.0)


def selective() -> dict[str, Any]:
    """A blade fuse of 10 A behind one of 20 A."""
    pair = selectivity(_bands((10.0, "blade", True), (20.0, "blade", True)), np.array([0]), np.array([1]))
    fault = float(_short("12 AWG", 1.0).highest_a)
    limit = float(pair.limit_a[0])
    return _told(
        Selectivity,
        [
            step("Largest fault current", "V_full / (R_new + R_path cold)", "", fault, "A"),
            step(
                "Selective up to",
                "longest opening of 10 A < shortest of 20 A",
                CURVES["blade"].title,
                limit,
                "A",
            ),
        ],
        "The right fuse opens."
        if fault < limit
        else f"From {limit:.0f} A on both may open: use 30 A upstream.",
        _limit("selectivity limit", limit, "A"),
    )


def points() -> dict[str, Any]:
    """A device of which nobody entered a point."""
    none = np.empty(0)
    bands = DeviceBands.build(np.array([30.0]), np.array([True]), device=none.astype(np.int64), multiple=none,
                              earliest_s=none, latest_s=none)  # fmt: skip
    known = not np.isnan(bands.latest_s(np.array([0]), 300.0)[0])
    return _told(
        DevicePoints,
        [
            step(
                "Opening time at 300 A",
                "points of the device",
                "none entered",
                "known" if known else "cannot judge",
            )
        ],
        "Enter the points of its sheet, or those of its standard with that as their source.",
    )


def gap() -> dict[str, Any]:
    """A radio behind a regulator whose output voltage is not entered."""
    return _told(
        NetworkGap,
        [step("Radio", "fed by the regulator", "output voltage not entered", "left out")],
        "Enter the output voltage: until then the radio's current counts for nothing.",
    )


def minimum() -> dict[str, Any]:
    """A robot whose status beacon was forgotten."""
    there = ("battery", "main breaker", "distribution board", "main controller", "radio", "motor", "data bus")
    lines = [step(what[0].upper() + what[1:], "is entered", "", "yes") for what in there]
    return _told(
        WiringMinimum, [*lines, step("Status beacon", "is entered", "", "missing")], "Enter its circuit."
    )


def radio() -> dict[str, Any]:
    """A radio on one push-on plug."""
    return _told(
        RadioFeed,
        [step("Feeds of the radio", "circuits that end at it", "", 1),
         step("Its terminal", "as entered", "push-on", "can shake out")],
        "Feed it over its data cable from a regulated supply, or twice.",
    )  # fmt: skip
