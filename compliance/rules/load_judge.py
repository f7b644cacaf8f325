"""The load rules over whole columns: one grade, value and limit per circuit and rule."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field
from enum import IntEnum

import numpy as np
import numpy.typing as npt

from compliance.rules.base import Rule
from compliance.rules.load_facts import LoadFacts
from compliance.rules.loads import (
    CircuitUnknown,
    DeviceInterrupt,
    DeviceLoad,
    DeviceMissing,
    DevicePeak,
    DeviceRating,
    FeedSum,
    TerminalBarrel,
    TerminalHole,
    WireAmpacity,
    WireDrop,
)
from shared.columns import BoolArray, FloatArray
from shared.electrical.arrays import IntArray, Verdict, at_most
from shared.electrical.protection import (
    continuous_load_check,
    interrupt_check,
    opening_time_s,
    rating_check,
)
from shared.electrical.sources import COMMON_PRACTICE, Source
from shared.electrical.tables.protection import CurvePoint, TimeCurrentCurve
from shared.electrical.terminations import barrel_check, hole_check

GradeArray = npt.NDArray[np.int8]


class Grade(IntEnum):
    """What a rule says of a circuit."""

    SILENT = -1
    PASS = 0
    UNKNOWN = 1
    WATCH = 2
    FIX = 3
    STOP = 4

    @property
    def word(self) -> str:
        """The severity of a flag of this grade."""
        return self.name.lower()


@dataclass(frozen=True)
class Judged:
    """One rule over all circuits; value and limit are NaN where there is nothing to compare."""

    grade: GradeArray
    value: FloatArray
    limit: FloatArray
    unit: str = ""


@dataclass(frozen=True)
class Bench:
    """The facts and what the rules judged so far said of them, for rules that give way to others."""

    facts: LoadFacts
    done: dict[type[Rule], Judged] = field(default_factory=dict)

    def flagged(self, rule: type[Rule]) -> BoolArray:
        return np.asarray(self.done[rule].grade > Grade.PASS)


def _grade(check: IntArray, bad: Grade | GradeArray, applies: BoolArray | bool = True) -> GradeArray:
    """A three-valued check as grades; what cannot be compared is silent, for ``circuit-unknown`` says it."""
    grade = np.where(check == Verdict.FAILS, np.int8(bad), np.int8(Grade.PASS))
    return np.where((check == Verdict.UNKNOWN) | ~np.asarray(applies), np.int8(Grade.SILENT), grade)


def _wire_ampacity(b: Bench) -> Judged:
    f = b.facts
    current, limit = f.load.current_a, f.ampacity_a
    grade = _grade(at_most(current, limit), Grade.FIX)
    no_table = np.isnan(limit) & ~np.isnan(f.area_mm2) & ~np.isnan(f.class_c) & f.is_power
    return Judged(np.where(no_table, np.int8(Grade.UNKNOWN), grade), current, limit, "A")


def _wire_drop(b: Bench) -> Judged:
    f = b.facts
    limit_v = f.drop_limit_frac * f.nominal_v
    running = f.drop_v * f.running_a / np.where(f.peak_a > 0, f.peak_a, np.nan)
    # Only at the peak and not critical: it costs performance for a moment, and nothing resets.
    only_peak = ~f.critical & ~(running > limit_v)
    bad = np.where(only_peak, np.int8(Grade.WATCH), np.int8(Grade.FIX))
    return Judged(_grade(at_most(f.drop_v, limit_v), bad), f.drop_v, limit_v, "V")


def _device_rating(b: Bench) -> Judged:
    f = b.facts
    allowed, stop = f.column(DeviceRating, "allowed_frac"), f.column(DeviceRating, "stop_frac")
    limit = f.ampacity_a * allowed
    beyond = f.rating_a > f.ampacity_a * stop
    bad = np.where(beyond, np.int8(Grade.STOP), np.int8(Grade.FIX))
    return Judged(_grade(rating_check(f.rating_a, limit), bad), f.rating_a, limit, "A")


def _device_load(b: Bench) -> Judged:
    f = b.facts
    limit = f.rating_a * f.column(DeviceLoad, "load_frac")
    check = continuous_load_check(f.load.current_a, limit, load_frac=1.0)
    return Judged(_grade(check, Grade.WATCH), f.load.current_a, limit, "A")


def _device_peak(b: Bench) -> Judged:
    """Only devices with points of their own, and loads whose pulse is known, can be judged here."""
    f = b.facts
    pulse_s = f.rows.floats("duty_frac") * f.rows.floats("cycle_s")
    multiple = f.peak_a / f.rating_a
    opens_s = np.full(f.rows.size, np.nan)
    for row, curve in device_curves(f).items():
        at = np.flatnonzero((f.rows.devices.row == row) & (multiple > 1.0) & ~np.isnan(pulse_s))
        if at.size:
            opens_s[at] = opening_time_s(multiple[at], curve).min_s
    # An overload that lasts is said by the load itself.
    grade = _grade(at_most(pulse_s, opens_s), Grade.WATCH, ~b.flagged(DeviceLoad))
    return Judged(grade, pulse_s, opens_s, "s")


def device_curves(f: LoadFacts) -> dict[int, TimeCurrentCurve]:
    """Row of each device -> its own points as a curve; devices without usable points are left out."""
    points, devices = f.rows.points, f.rows.devices.table
    wanted = {int(r) for r in np.unique(f.rows.devices.row[f.peak_a > f.rating_a]) if r >= 0}
    by_id = {int(devices.raw["id"][row]): row for row in wanted}
    found: dict[int, list[CurvePoint]] = {}
    holds: dict[int, float] = {}
    names = ("device_id", "multiple", "opens_min_s", "opens_max_s")
    for device_id, multiple, low, high in zip(*(points.raw[n] for n in names), strict=True):
        row = by_id.get(device_id)
        if row is None:
            continue
        if low is None and high is None:
            holds[row] = max(holds.get(row, 1.0), multiple)
        elif low is not None:
            # Without an earliest opening a point says nothing of how long the device stays closed.
            found.setdefault(row, []).append(CurvePoint(multiple, low, np.inf if high is None else high))
    source = Source("The device's own points", "", COMMON_PRACTICE)
    curves: dict[int, TimeCurrentCurve] = {}
    for row, listed in found.items():
        least = holds.get(row, 1.0)
        above = tuple(point for point in listed if point.multiple > least)
        if above:
            curves[row] = TimeCurrentCurve(str(devices.raw["code"][row]), "", source, least, above)
    return curves


def _device_interrupt(b: Bench) -> Judged:
    f = b.facts
    interrupt = f.rows.devices.floats("interrupt_a")
    check = interrupt_check(interrupt, f.fault_a)
    return Judged(_grade(check, Grade.STOP), f.fault_a, interrupt, "A")


def _device_missing(b: Bench) -> Judged:
    f = b.facts
    none = f.is_power & (f.rows.devices.row < 0)
    covered = rating_check(f.upstream_rating_a, f.ampacity_a) == Verdict.HOLDS
    # With no device upstream either, the wire need not be known to say that nothing protects it.
    unsaid = ~np.isnan(f.upstream_rating_a) & np.isnan(f.ampacity_a)
    grade = np.where(none & ~covered, np.int8(Grade.STOP), np.int8(Grade.PASS))
    grade = np.where(~f.is_power | (none & unsaid), np.int8(Grade.SILENT), grade).astype(np.int8)
    return Judged(grade, np.where(none, f.upstream_rating_a, np.nan), f.ampacity_a, "A")


def _terminal_barrel(b: Bench) -> Judged:
    f = b.facts
    ends = (f.rows.source_ends, f.rows.load_ends)
    checks = [barrel_check(f.area_mm2, e.floats("area_min_mm2"), e.floats("area_max_mm2")) for e in ends]
    return Judged(_worse(checks), f.area_mm2, np.full(f.rows.size, np.nan), "mm2")


def _terminal_hole(b: Bench) -> Judged:
    f = b.facts
    checks = []
    for end, stud in zip((f.rows.source_ends, f.rows.load_ends), f.studs_mm, strict=True):
        hole = end.floats("hole_mm")
        fits = hole_check(stud, hole, slack_mm=0.0)
        # The slack differs from pack to pack, so the upper side is compared here.
        loose = at_most(hole, stud + f.column(TerminalHole, "slack_mm"))
        passes = at_most(stud, hole)
        checks.append(np.where(fits == Verdict.HOLDS, fits, np.minimum(loose, passes)))
    return Judged(_worse(checks), np.full(f.rows.size, np.nan), np.full(f.rows.size, np.nan), "mm")


def _worse(checks: list[IntArray]) -> GradeArray:
    """Both ends as one grade: wrong when either is, silent when neither could be compared."""
    wrong = np.any([c == Verdict.FAILS for c in checks], axis=0)
    seen = np.any([c != Verdict.UNKNOWN for c in checks], axis=0)
    grade = np.where(wrong, np.int8(Grade.FIX), np.int8(Grade.PASS))
    return np.where(seen, grade, np.int8(Grade.SILENT)).astype(np.int8)


def _feed_sum(b: Bench) -> Judged:
    f = b.facts
    limit = np.fmin(f.rating_a * f.column(FeedSum, "load_frac"), f.ampacity_a)
    gives_way = b.flagged(WireAmpacity) | b.flagged(DeviceLoad)
    grade = _grade(at_most(f.through_a, limit), Grade.FIX, f.feeds_others & ~gives_way)
    return Judged(grade, f.through_a, limit, "A")


def _circuit_unknown(b: Bench) -> Judged:
    f = b.facts
    count = np.sum(list(f.missing.values()), axis=0).astype(np.float64)
    # A feed with no own figure whose branches are all unknown sums to nothing, which is not known either.
    grade = np.where(count > 0, np.int8(Grade.UNKNOWN), np.int8(Grade.PASS))
    grade = np.where(f.is_power, grade, np.int8(Grade.SILENT)).astype(np.int8)
    return Judged(grade, count, np.zeros(f.rows.size), "")


#: In this order: a rule that gives way to others comes after them.
JUDGES: dict[type[Rule], Callable[[Bench], Judged]] = {
    WireAmpacity: _wire_ampacity,
    WireDrop: _wire_drop,
    DeviceRating: _device_rating,
    DeviceLoad: _device_load,
    DevicePeak: _device_peak,
    DeviceInterrupt: _device_interrupt,
    DeviceMissing: _device_missing,
    TerminalBarrel: _terminal_barrel,
    TerminalHole: _terminal_hole,
    FeedSum: _feed_sum,
    CircuitUnknown: _circuit_unknown,
}


def judge_all(facts: LoadFacts) -> dict[type[Rule], Judged]:
    """Every rule over every circuit; a rule that the circuit's pack switches off is silent and gives way to none."""
    bench = Bench(facts)
    for rule, judge in JUDGES.items():
        found = judge(bench)
        on = facts.table.enabled(rule)[facts.pack]
        grade = np.where(on, found.grade, np.int8(Grade.SILENT)).astype(np.int8)
        bench.done[rule] = Judged(grade, found.value, found.limit, found.unit)
    return bench.done
