"""The rules of the robot as one circuit over whole columns: those of circuits, and those of builds."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np

from builds.network import Scenario
from compliance.rules.base import Rule
from compliance.rules.load_bench import Bench, Grade, GradeArray, Judged, graded
from compliance.rules.loads import (
    DeviceLoad,
    DeviceMissing,
    DeviceRating,
    FeedSum,
    WireAmpacity,
    WireDrop,
)
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
from inventory.models import Component, TerminalType
from shared.columns import BoolArray, FloatArray
from shared.electrical.arrays import Verdict, at_least, at_most

_FORM, _ROLE = TerminalType.Form, Component.Role


# --- circuits -----------------------------------------------------------------------------------------
def _load_voltage(b: Bench) -> Judged:
    f = b.facts
    sags = b.flagged(BoardSag)[f.rows.builds.row]
    board_v = f.solved.board_v[f.rows.builds.row, Scenario.PUSH]
    # The board itself has too little for it: that is said of the board.
    of_board = sags & ~(board_v >= f.minimum_v) & ~f.behind_regulator
    applies = f.is_power & ~of_board & ~b.flagged(WireDrop)
    return Judged(graded(at_least(f.push_v, f.minimum_v), Grade.FIX, applies), f.push_v, f.minimum_v, "V")


def _wire_hot(b: Bench) -> Judged:
    f = b.facts
    applies = f.feeds_others & f.is_power & ~b.flagged(WireAmpacity) & ~b.flagged(FeedSum)
    limit = f.class_c.copy()
    return Judged(graded(at_most(f.solved_c, limit), Grade.FIX, applies), f.solved_c, limit, "C")


def _main_trip(b: Bench) -> Judged:
    """The RMS first; where that is held, the longest push against how soon the device may open."""
    f = b.facts
    main = f.rows.role("main") & (f.rows.devices.row >= 0)
    gives_way = b.flagged(DeviceLoad) | b.flagged(FeedSum)
    holds = at_most(f.solved_rms_a, f.held_a)
    trips = at_most(f.push_s, f.push_opens_s)
    check = np.where(holds == Verdict.HOLDS, np.where(trips == Verdict.FAILS, trips, holds), holds)
    by_push = (holds == Verdict.HOLDS) & (trips == Verdict.FAILS)
    # Both are told as amperes: the push is compared at its own current.
    value = np.where(by_push, f.solved.current_a[:, Scenario.PUSH], f.solved_rms_a)
    return Judged(graded(check, Grade.FIX, main & ~gives_way), value, f.held_a, "A")


def _unsafe_device(b: Bench) -> BoolArray:
    return np.asarray(b.flagged(DeviceRating) | b.flagged(DeviceMissing))


def _at_far_end(f: NetworkFacts) -> BoolArray:
    return np.asarray(f.cleared.current_a <= f.fault_range.lowest_a * (1 + 1e-6))


def _fault_slow(b: Bench) -> Judged:
    f, worst = b.facts, b.facts.cleared
    elsewhere = (worst.verdict == Verdict.FAILS) & ~_at_far_end(f)
    check = np.where(elsewhere, np.int8(Verdict.HOLDS), worst.verdict)
    return Judged(graded(check, Grade.FIX, ~_unsafe_device(b)), worst.opens_s, worst.bears_s, "s")


def _fault_withstand(b: Bench) -> Judged:
    worst = b.facts.cleared
    gives_way = _unsafe_device(b) | b.flagged(FaultSlow)
    return Judged(graded(worst.verdict, Grade.FIX, ~gives_way), worst.opens_s, worst.bears_s, "s")


def _selectivity(b: Bench) -> Judged:
    """Of the device upstream: the least current from which one behind it may be later, and the largest fault there."""
    f, p = b.facts, b.facts.pairs
    grade = np.full(f.rows.size, np.int8(Grade.SILENT))
    fault, limit = np.full(f.rows.size, np.nan), np.full(f.rows.size, np.nan)
    grade[p.upstream[p.verdict == Verdict.HOLDS]] = Grade.PASS
    grade[p.upstream[p.verdict == Verdict.UNKNOWN]] = Grade.SILENT
    bad = p.verdict == Verdict.FAILS
    grade[p.upstream[bad]] = Grade.FIX
    for known in (~bad & (p.verdict == Verdict.HOLDS), bad):
        up = p.upstream[known]
        fault[up] = limit[up] = np.nan
        np.fmax.at(fault, up, f.fault_range.highest_a[p.downstream[known]])
        np.fmin.at(limit, up, p.limit_a[known])
    return Judged(grade, fault, np.where(np.isinf(limit), np.nan, limit), "A")


def _radio_feed(b: Bench) -> Judged:
    f = b.facts
    radio = f.has_role(_ROLE.RADIO) & f.is_power
    only = radio & (f.per_build(radio)[f.rows.builds.row] == 1)
    pushed_on = f.rows.load_ends.is_one_of("form", frozenset({_FORM.BLADE.value}))
    plugged = f.rows.load_ends.is_one_of("form", frozenset({_FORM.PIN.value}))
    bad = only & (pushed_on | (plugged & ~f.behind_regulator))
    grade = np.where(bad, np.int8(Grade.WATCH), np.int8(Grade.PASS))
    none = np.full(f.rows.size, np.nan)
    return Judged(np.where(radio, grade, np.int8(Grade.SILENT)).astype(np.int8), none, none)


# --- builds -------------------------------------------------------------------------------------------
def _told(bad: BoolArray, grade: Grade, applies: BoolArray | bool = True) -> GradeArray:
    found = np.where(bad, np.int8(grade), np.int8(Grade.PASS))
    return np.where(applies, found, np.int8(Grade.SILENT)).astype(np.int8)


def _counted(count: FloatArray, grade: Grade) -> Judged:
    """So many things are wrong with each build; there is no limit to compare with."""
    return Judged(_told(count > 0, grade), count, np.full(count.size, np.nan))


def _supply_collapse(b: Bench) -> Judged:
    f = b.facts
    in_use: BoolArray = np.any(f.solved.collapsed[:, [Scenario.RUNNING, Scenario.PUSH]], axis=1)
    solved = in_use | ~np.isnan(f.solved.battery_v[:, Scenario.RUNNING])
    return Judged(_told(in_use, Grade.STOP, solved), f.headroom(in_use), np.ones(in_use.size), "x")


def _board_sag(b: Bench) -> Judged:
    f = b.facts
    volts = f.solved.board_v[:, Scenario.PUSH]
    limit = f.controller_v + f.build_column(BoardSag, "margin_v")
    return Judged(graded(at_least(volts, limit), Grade.FIX), volts, limit, "V")


def _wiring_minimum(b: Bench) -> Judged:
    lacks = np.sum(list(b.facts.lacking.values()), axis=0).astype(np.float64)
    return _counted(lacks, Grade.FIX)


def _device_points(b: Bench) -> Judged:
    f = b.facts
    count = f.per_build(f.pointless | (f.short_points > 0)).astype(np.float64)
    return _counted(count, Grade.UNKNOWN)


def _network_gap(b: Bench) -> Judged:
    count = b.facts.per_build(b.facts.gaps).astype(np.float64)
    return _counted(count, Grade.UNKNOWN)


#: In this order: a rule that gives way to others comes after them.
BUILD_JUDGES: dict[type[Rule], Callable[[Bench], Judged]] = {
    SupplyCollapse: _supply_collapse,
    BoardSag: _board_sag,
    WiringMinimum: _wiring_minimum,
    DevicePoints: _device_points,
    NetworkGap: _network_gap,
}
CIRCUIT_JUDGES: dict[type[Rule], Callable[[Bench], Judged]] = {
    LoadVoltage: _load_voltage,
    WireHot: _wire_hot,
    MainTrip: _main_trip,
    FaultSlow: _fault_slow,
    FaultWithstand: _fault_withstand,
    Selectivity: _selectivity,
    RadioFeed: _radio_feed,
}
