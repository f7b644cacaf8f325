"""The load rules over whole columns: one grade, value and limit per circuit and rule."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np

from compliance.rules.base import Rule
from compliance.rules.load_bench import Bench, Grade, GradeArray, Judged, graded
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
from compliance.rules.network_facts import NetworkFacts
from compliance.rules.network_judge import BUILD_JUDGES, CIRCUIT_JUDGES
from shared.electrical.arrays import IntArray, Verdict, at_most
from shared.electrical.protection import (
    continuous_load_check,
    interrupt_check,
    rating_check,
)
from shared.electrical.terminations import barrel_check, hole_check


def _wire_ampacity(b: Bench) -> Judged:
    f = b.facts
    current, limit = f.load.current_a, f.ampacity_a
    grade = graded(at_most(current, limit), Grade.FIX)
    no_table = np.isnan(limit) & ~np.isnan(f.area_mm2) & ~np.isnan(f.class_c) & f.is_power
    return Judged(np.where(no_table, np.int8(Grade.UNKNOWN), grade), current, limit, "A")


def _wire_drop(b: Bench) -> Judged:
    f = b.facts
    limit_v = f.drop_limit_frac * f.nominal_v
    running = f.drop_v * f.running_a / np.where(f.peak_a > 0, f.peak_a, np.nan)
    # Only at the peak and not critical: it costs performance for a moment, and nothing resets.
    only_peak = ~f.critical & ~(running > limit_v)
    bad = np.where(only_peak, np.int8(Grade.WATCH), np.int8(Grade.FIX))
    return Judged(graded(at_most(f.drop_v, limit_v), bad), f.drop_v, limit_v, "V")


def _device_rating(b: Bench) -> Judged:
    f = b.facts
    allowed, stop = f.column(DeviceRating, "allowed_frac"), f.column(DeviceRating, "stop_frac")
    limit = f.ampacity_a * allowed
    beyond = f.rating_a > f.ampacity_a * stop
    bad = np.where(beyond, np.int8(Grade.STOP), np.int8(Grade.FIX))
    return Judged(graded(rating_check(f.rating_a, limit), bad), f.rating_a, limit, "A")


def _device_load(b: Bench) -> Judged:
    f = b.facts
    limit = f.rating_a * f.column(DeviceLoad, "load_frac")
    check = continuous_load_check(f.load.current_a, limit, load_frac=1.0)
    return Judged(graded(check, Grade.WATCH), f.load.current_a, limit, "A")


def _device_peak(b: Bench) -> Judged:
    """Only devices with points of their own, and loads whose pulse is known, can be judged here."""
    f = b.facts
    pulse_s = f.rows.floats("duty_frac") * f.rows.floats("cycle_s")
    opens_s = f.bands.earliest_s(f.rows.devices.row, f.peak_a)
    # An overload that lasts is said by the load itself.
    overload = (f.peak_a > f.rating_a) & ~b.flagged(DeviceLoad)
    return Judged(graded(at_most(pulse_s, opens_s), Grade.WATCH, overload), pulse_s, opens_s, "s")


def _device_interrupt(b: Bench) -> Judged:
    f = b.facts
    interrupt = f.rows.devices.floats("interrupt_a")
    check = interrupt_check(interrupt, f.fault_a)
    return Judged(graded(check, Grade.STOP), f.fault_a, interrupt, "A")


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
    grade = graded(at_most(f.through_a, limit), Grade.FIX, f.feeds_others & ~gives_way)
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
    **BUILD_JUDGES,
    **CIRCUIT_JUDGES,
}


def judge_all(facts: NetworkFacts) -> dict[type[Rule], Judged]:
    """Every rule over all its subjects; one that the subject's pack switches off is silent and gives way to none."""
    bench = Bench(facts)
    for rule, judge in JUDGES.items():
        found = judge(bench)
        on = facts.table.enabled(rule)[facts.packs_of(rule)]
        grade = np.where(on, found.grade, np.int8(Grade.SILENT)).astype(np.int8)
        bench.done[rule] = Judged(grade, found.value, found.limit, found.unit)
    return bench.done
