"""What the rules of the robot as one circuit say, with what would put it right."""

from __future__ import annotations

from collections.abc import Callable, Sequence

import numpy as np

from builds.network import Scenario
from compliance.rules.base import Rule
from compliance.rules.load_bench import Case
from compliance.rules.load_steps import fig
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
from compliance.rules.network_remedies import for_hot_wire, for_low_voltage
from compliance.rules.network_steps import gap_words, pointless_words, pushing_words, rivals
from shared.electrical.arrays import Verdict


def _code(c: Case, i: int) -> str:
    return str(c.f.rows.circuits.texts("code")[i])


def _collapse(c: Case) -> str:
    running = bool(c.f.solved.collapsed[c.i, Scenario.RUNNING])
    when = "while everything runs" if running else f"in a push ({pushing_words(c.f, c.i)})"
    most = f" At most {c.value:.0%} of what they ask can be had." if np.isfinite(c.value) else ""
    return f"There is no voltage at which battery and loads agree {when}: it falls until electronics drop out.{most}"


def _board_sag(c: Case) -> str:
    need = float(c.f.controller_v[c.i])
    return (
        f"In a push ({pushing_words(c.f, c.i)}) the board has {fig(c.value)} V; the main controller needs "
        f"{fig(need)} V and {fig(c.limit - need)} V to spare. {for_low_voltage(c.f, _board(c), c.limit)}"
    )


def _board(c: Case) -> int:
    robot = int(c.f.assembled.robot_of_build[c.i])
    return int(c.f.assembled.circuit[int(c.f.assembled.board[robot])])


def _load_voltage(c: Case) -> str:
    build = int(c.f.rows.builds.row[c.i])
    return (
        f"In a push ({pushing_words(c.f, build)}) {fig(c.value)} V arrive at "
        f"{c.f.rows.components.text('code', c.i)}; below {fig(c.limit)} V it drops out. "
        f"{for_low_voltage(c.f, c.i, c.limit)}"
    )


def _wire_hot(c: Case) -> str:
    rms, allowed = float(c.f.solved_rms_a[c.i]), float(c.f.ampacity_a[c.i])
    return (
        f"{c.wire} carries {fig(rms)} A (RMS) of what its branches pull together and may carry {fig(allowed)} A: "
        f"it reaches {fig(c.value)} C, its insulation bears {fig(c.limit)} C. {for_hot_wire(c.f, c.i)}"
    )


def _main_trip(c: Case) -> str:
    if float(c.f.solved_rms_a[c.i]) > float(c.f.held_a[c.i]):
        return (
            f"{c.device} carries {fig(c.value)} A (RMS) over pushes and rests and holds {fig(c.limit)} A: it may open "
            "in a match and everything stops."
        )
    return (
        f"{c.device} carries {fig(c.value)} A for {fig(c.f.push_s[c.i])} s in a push and may open after "
        f"{fig(c.f.push_opens_s[c.i])} s."
    )


def _how_long(seconds: float) -> str:
    return "may never open" if np.isinf(seconds) else f"may take {fig(seconds)} s"


def _guard(c: Case) -> str:
    guard = int(c.f.guard[c.i])
    where = "" if guard == c.i else f" in {_code(c, guard)}"
    return f"{c.f.rows.devices.text('code', guard)}{where}"


def _fault_slow(c: Case) -> str:
    amps = float(c.f.cleared.current_a[c.i])
    return (
        f"A short at the far end draws only {fig(amps)} A on a tired battery: {_guard(c)} {_how_long(c.value)}, and "
        f"{c.wire} bears it for {fig(c.limit)} s."
    )


def _fault_withstand(c: Case) -> str:
    amps = float(c.f.cleared.current_a[c.i])
    return (
        f"At a fault of {fig(amps)} A {_guard(c)} {_how_long(c.value)}; {c.wire} bears it for {fig(c.limit)} s, then "
        "its insulation burns."
    )


def _selectivity(c: Case) -> str:
    mine = rivals(c.f, c.i)
    downs = c.f.pairs.downstream[mine[c.f.pairs.verdict[mine] == Verdict.FAILS]].tolist()
    named = _listed([f"{c.f.rows.devices.text('code', k)} in {_code(c, k)}" for k in downs], most=4)
    return (
        f"From {fig(c.limit)} A on {c.device} may open before {named} has, and a short there draws up to "
        f"{fig(c.value)} A: then all that {_code(c, c.i)} feeds goes dead."
    )


def _listed(items: Sequence[str], joint: str = ", ", most: int = 6) -> str:
    """The first few of many; the working has them all."""
    rest = len(items) - most
    return joint.join(items[:most]) + (f" and {rest} more" if rest > 0 else "")


def _points(c: Case) -> str:
    return (
        "Whether these devices open in time, and in the right order, cannot be judged: enter the time-current points "
        f"of {_listed(pointless_words(c.f, c.i))}."
    )


def _gap(c: Case) -> str:
    return f"Not part of what is solved: {_listed(gap_words(c.f, c.i), '; ', 3)}."


def _minimum(c: Case) -> str:
    lacks = [what for what, where in c.f.lacking.items() if where[c.i]]
    return f"Not entered for this robot: {', '.join(lacks)}."


def _radio(c: Case) -> str:
    return f"Its only feed ends in {c.f.rows.load_ends.text('code', c.i)}, which can shake out: then the robot is lost."


MESSAGES: dict[type[Rule], Callable[[Case], str]] = {
    SupplyCollapse: _collapse,
    BoardSag: _board_sag,
    LoadVoltage: _load_voltage,
    WireHot: _wire_hot,
    MainTrip: _main_trip,
    FaultWithstand: _fault_withstand,
    FaultSlow: _fault_slow,
    Selectivity: _selectivity,
    DevicePoints: _points,
    NetworkGap: _gap,
    WiringMinimum: _minimum,
    RadioFeed: _radio,
}
