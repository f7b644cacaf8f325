"""The workings of the rules of the robot as one circuit, line by line from the battery to the load."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np

from builds.network import SCENARIO_WORDS, Scenario
from compliance.rules.base import Rule, step
from compliance.rules.load_steps import Steps, ampacity_steps, device_step, fig, known, points_step
from compliance.rules.loads import DeviceInterrupt
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
from compliance.rules.network_facts import NetworkFacts
from shared.columns import IdArray
from shared.electrical.arrays import Verdict
from shared.electrical.faults import short_time_limit_c
from shared.electrical.thermal import adiabatic_k

#: Pairs of devices shown in a working: the worst ones.
_SHOWN = 3


def battery_steps(f: NetworkFacts, build: int, scenario: Scenario) -> Steps:
    """The source, and what is left of its voltage at its terminals."""
    robot = int(f.assembled.robot_of_build[build])
    if robot < 0:
        return []
    as_new, volts = f.assembled.as_new, float(f.solved.battery_v[build, scenario])
    open_v, ohm = float(as_new.open_v[robot]), float(as_new.internal_ohm[robot])
    numbers = f"{fig(open_v)} V and {fig(1e3 * ohm)} mΩ, new and full; {fig((open_v - volts) / ohm)} A drawn"
    label = f"Battery: {SCENARIO_WORDS[scenario].lower()}"
    return [step(label, "V_open - I x R_battery", numbers, known(volts), "V")]


def path_to(f: NetworkFacts, i: int) -> list[int]:
    """The circuits from the source of a circuit's voltage (battery or regulator) up to itself."""
    path, stop = [i], int(f.regulator[i])
    while (up := int(f.rows.parent[path[-1]])) >= 0 and up != stop:
        path.append(up)
    return path[::-1]


def lost_v(f: NetworkFacts, i: int, scenario: Scenario) -> float:
    """What one circuit's wire, joints and device lose of the voltage, both poles."""
    return branch_ohm(f, i) * float(f.solved.current_a[i, scenario])


def branch_ohm(f: NetworkFacts, i: int) -> float:
    """Wire, joints and device of one circuit, both poles; NaN where it takes no part for want of a figure."""
    branch = int(f.assembled.branch[i])
    if branch < 0:
        return float("nan")
    return float(f.assembled.supply_ohm[branch] + f.assembled.return_ohm[branch])


def path_steps(f: NetworkFacts, i: int, scenario: Scenario) -> Steps:
    """From the battery's terminals to the load, branch by branch."""
    codes, lines = f.rows.circuits.texts("code"), []
    for k in path_to(f, i):
        ohm = 1e3 * branch_ohm(f, k)
        wire = f"{f.rows.wires.text('size_typed', k)}, {fig(f.length_m[k])} m"
        numbers = (
            f"{fig(f.solved.current_a[k, scenario])} A x {fig(ohm)} mΩ ({wire}; wire, joints and device)"
        )
        lines.append(
            step(f"Lost in {codes[k]}", "I x R, out and back", numbers, known(lost_v(f, k, scenario)), "V")
        )
    return lines


def _load_voltage(f: NetworkFacts, i: int) -> Steps:
    push = Scenario.PUSH
    start = battery_steps(f, int(f.rows.builds.row[i]), push)
    regulator = int(f.regulator[i])
    if regulator >= 0:
        code = f.rows.circuits.texts("code")[regulator]
        start = [
            *start,
            step("Regulator", "its output, while enough arrives", code,
                 known(f.rows.components.floats("output_v")[regulator]), "V"),
        ]  # fmt: skip
    needs = step("It needs", "least voltage of the component", f.rows.components.text("code", i),
                 known(f.minimum_v[i]), "V")  # fmt: skip
    arrives = step("Arrives", "solved as one circuit", "", known(f.push_v[i]), "V")
    return [*start, *path_steps(f, i, push), arrives, needs]


def _board_sag(f: NetworkFacts, build: int) -> Steps:
    robot = int(f.assembled.robot_of_build[build])
    board = int(f.assembled.board[robot]) if robot >= 0 else -1
    margin = float(f.build_column(BoardSag, "margin_v")[build])
    path = path_steps(f, int(f.assembled.circuit[board]), Scenario.PUSH) if board >= 0 else []
    return [
        *battery_steps(f, build, Scenario.PUSH),
        *path,
        step("Board", "solved as one circuit", pushing_words(f, build), known(f.solved.board_v[build, 1]), "V"),
        step("Asked for", "least voltage of the controller + margin",
             f"{fig(f.controller_v[build])} V + {fig(margin)} V", known(f.controller_v[build] + margin), "V"),
    ]  # fmt: skip


def pushing_words(f: NetworkFacts, build: int) -> str:
    """Which mechanisms push in a build."""
    groups = f.assembled.mechanisms
    here = (f.rows.builds.row == build) & f.pushes
    names = sorted({groups.names[k] for k in groups.of_circuit[here].tolist()})
    return f"pushing: {', '.join(names)}" if names else "nothing peaks"


def _supply_collapse(f: NetworkFacts, build: int) -> Steps:
    lines = battery_steps(f, build, Scenario.RUNNING)
    for scenario in (Scenario.RUNNING, Scenario.PUSH):
        answer = "no solution" if f.solved.collapsed[build, scenario] else "solved"
        words = pushing_words(f, build) if scenario == Scenario.PUSH else ""
        lines.append(
            step(SCENARIO_WORDS[scenario], "Kirchhoff's laws with every load's own law", words, answer)
        )
    here = np.arange(f.rows.builds.table.size) == build
    room = "constant currents and powers times this still have a solution; below 1 they have none as they are"
    lines.append(step("Headroom", room, "", known(f.headroom(here)[build]), "x"))
    return lines


def rms_steps(f: NetworkFacts, i: int) -> Steps:
    """From the solved currents to their RMS over pushes and rests."""
    running, push = (float(f.solved.current_a[i, s]) for s in (Scenario.RUNNING, Scenario.PUSH))
    words = pushing_words(f, int(f.rows.builds.row[i]))
    return [
        step("Current, running", "solved as one circuit", SCENARIO_WORDS[Scenario.RUNNING], known(running), "A"),
        step("Current, push", "solved as one circuit", words, known(push), "A"),
        step("Share of time in the push", "duty of what pushes behind it, by what each adds",
             "a duty that is not entered counts as 1", known(f.push_frac[i])),
        step("RMS", "sqrt(d I_push^2 + (1 - d) I_running^2)", f"d = {fig(f.push_frac[i])}",
             known(f.solved_rms_a[i]), "A"),
    ]  # fmt: skip


def _wire_hot(f: NetworkFacts, i: int) -> Steps:
    numbers = (
        f"{fig(f.ambient_c[i])} C + {fig(f.class_c[i] - f.ambient_c[i])} K x "
        f"({fig(f.solved_rms_a[i])} A / {fig(f.ampacity_a[i])} A)^2"
    )
    hot = step(
        "Temperature", "ambient + (class - ambient) (I_rms / ampacity)^2", numbers, known(f.solved_c[i]), "C"
    )
    return [*rms_steps(f, i), *ampacity_steps(f, i), hot]


def _main_trip(f: NetworkFacts, i: int) -> Steps:
    return [
        *rms_steps(f, i),
        device_step(f, i),
        points_step(f, i),
        step("It holds", "by its points, else its rating", f.rows.devices.text("code", i), known(f.held_a[i]), "A"),
        step("Longest push", "duty x cycle of what pushes", "", known(f.push_s[i]), "s"),
        step("It may open after", "shortest opening time at the current of the push", "",
             "never" if f.push_opens_s[i] == float("inf") else known(f.push_opens_s[i]), "s"),
    ]  # fmt: skip


def fault_steps(f: NetworkFacts, i: int) -> Steps:
    """The least and the largest current a short circuit draws in a circuit."""
    if f.regulator[i] >= 0:
        gives = f"{f.rows.circuits.texts('code')[int(f.regulator[i])]} gives no more"
        numbers = [gives, gives]
    else:
        tired, volts = (f.column(FaultSlow, name)[i] for name in ("tired_frac", "tired_v"))
        hot = 1e3 * (f.hot_upstream_ohm[i] + f.hot_ohm[i])
        numbers = [
            f"{fig(volts)} V / ({fig(f.battery_mohm[i])} mΩ x {fig(tired)} + {fig(hot)} mΩ hot path, to the end)",
            f"{fig(f.open_circuit_v[i])} V / ({fig(f.battery_mohm[i])} mΩ + "
            f"{fig(1e3 * f.upstream_ohm[i])} mΩ of cold wire and joints up to it)",
        ]
    lowest, highest = f.fault_range
    return [
        step("Least fault current", "V_tired / (R_tired + R_path hot)", numbers[0], known(lowest[i]), "A"),
        step("Largest fault current", "V_full / (R_new + R_path cold)", numbers[1], known(highest[i]), "A"),
    ]


def _let_through(f: NetworkFacts, i: int) -> Steps:
    guard, worst = int(f.guard[i]), f.cleared
    if guard < 0:
        return fault_steps(f, i)
    final = float(short_time_limit_c(f.class_c[i]))
    k = float(adiabatic_k(f.class_c[i], final))
    area = f.area_mm2[i] * f.parallel[i]
    opens = "never" if worst.opens_s[i] == float("inf") else known(worst.opens_s[i])
    bears = "for ever" if worst.bears_s[i] == float("inf") else known(worst.bears_s[i])
    return [
        *fault_steps(f, i),
        device_step(f, guard),
        points_step(f, guard),
        step("Worst current between them", "largest opening time against what the wire bears", "",
             known(worst.current_a[i]), "A"),
        step("Opens at the latest after", "points of the device, log-log between them", "", opens, "s"),
        step("The wire bears it for", "k^2 S^2 / I^2 up to 5 s, first-order heating beyond",
             f"k = {fig(k)} from {fig(f.class_c[i])} to {fig(final)} C; S = {fig(area)} mm2", bears, "s"),
    ]  # fmt: skip


def rivals(f: NetworkFacts, i: int) -> IdArray:
    """The pairs a circuit's device is the upstream one of, those that fail first, then by their limit."""
    mine = f.pairs_of(i)
    return mine[np.lexsort((f.pairs.limit_a[mine], f.pairs.verdict[mine] != Verdict.FAILS))]


def _selectivity(f: NetworkFacts, i: int) -> Steps:
    codes, lines = f.rows.circuits.texts("code"), [device_step(f, i), points_step(f, i)]
    for n in rivals(f, i)[:_SHOWN].tolist():
        down, limit = int(f.pairs.downstream[n]), float(f.pairs.limit_a[n])
        up_to = "every current of the points" if limit == float("inf") else known(limit)
        named = f"{f.rows.devices.text('code', down)} in {codes[down]}"
        lines += [
            {**fault_steps(f, down)[1], "label": f"Largest fault current behind {named}"},
            {**points_step(f, down), "label": f"Own points of {f.rows.devices.text('code', down)}"},
            step("Selective up to", "longest opening there < shortest opening here", "compared at every point of both",
                 up_to, "A"),
        ]  # fmt: skip
    return lines


def _interrupt(f: NetworkFacts, i: int) -> Steps:
    from_sheet = f.rows.builds.floats("source_mohm")[i]
    note = "" if from_sheet == from_sheet else " (battery's sheet only)"
    numbers = (
        f"{fig(f.open_circuit_v[i])} V / ({fig(f.battery_mohm[i])} mΩ battery{note} + "
        f"{fig(f.upstream_ohm[i] * 1e3)} mΩ of cold wire and joints up to it)"
    )
    return [
        step("Fault current", "V_full / (R_battery + R_wire)", numbers, known(f.fault_a[i]), "A"),
        step("Interrupt rating", "as entered", f.rows.devices.text("code", i),
             known(f.rows.devices.floats("interrupt_a")[i]), "A"),
    ]  # fmt: skip


def _radio_feed(f: NetworkFacts, i: int) -> Steps:
    radios = f.has_role("radio") & f.is_power & (f.rows.builds.row == f.rows.builds.row[i])
    behind = int(f.regulator[i])
    fed = f.rows.circuits.texts("code")[behind] if behind >= 0 else "the battery's voltage"
    return [
        step("Feeds of the radio", "circuits that end at it", "", int(radios.sum())),
        step("Fed from", "a regulator or not", fed, "regulated" if behind >= 0 else "not regulated"),
        step(
            "Its terminal",
            "as entered",
            f.rows.load_ends.text("code", i),
            f.rows.load_ends.text("form", i) or "none",
        ),
    ]


def _wiring_minimum(f: NetworkFacts, build: int) -> Steps:
    return [
        step(what[0].upper() + what[1:], "is entered", "", "missing" if where[build] else "yes")
        for what, where in f.lacking.items()
    ]


def _device_points(f: NetworkFacts, build: int) -> Steps:
    named = pointless_words(f, build)
    return [step("Devices without points that would be needed", "named once", ", ".join(named), len(named))]


def pointless_words(f: NetworkFacts, build: int) -> list[str]:
    """The devices of a build that lack points, by code; how far they must reach where there are some."""
    here = f.rows.builds.row == build
    named = {f.rows.devices.text("code", int(i)): "" for i in (here & f.pointless).nonzero()[0]}
    for i in (here & (f.short_points > 0)).nonzero()[0]:
        named.setdefault(f.rows.devices.text("code", int(i)), f" (up to {fig(float(f.short_points[i]))} A)")
    return [f"{code}{reach}" for code, reach in sorted(named.items())]


def _network_gap(f: NetworkFacts, build: int) -> Steps:
    lines = gap_words(f, build)
    return [step("Left out", "no place in the network", "; ".join(lines) or "nothing", len(lines))]


def gap_words(f: NetworkFacts, build: int) -> list[str]:
    """The circuits of a build that are left out, with the reason."""
    reasons = {o.circuit_id: o.reason for o in f.assembled.left_out(build)}
    here: list[int] = np.flatnonzero(f.gaps & (f.rows.builds.row == build)).tolist()
    codes = f.rows.circuits.texts("code")
    return [
        f"{codes[i]}: {'its output voltage is not known' if f.blind[i] else reasons[int(f.rows.ids[i])]}"
        for i in here
    ]


STEPS: dict[type[Rule], Callable[[NetworkFacts, int], Steps]] = {
    DeviceInterrupt: _interrupt,
    SupplyCollapse: _supply_collapse,
    BoardSag: _board_sag,
    LoadVoltage: _load_voltage,
    WireHot: _wire_hot,
    MainTrip: _main_trip,
    FaultWithstand: _let_through,
    FaultSlow: _let_through,
    Selectivity: _selectivity,
    DevicePoints: _device_points,
    NetworkGap: _network_gap,
    WiringMinimum: _wiring_minimum,
    RadioFeed: _radio_feed,
}
