"""What the rules of the load sweep say of one circuit or build: a sentence, and the whole working."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from typing import Any

import numpy as np

from compliance.rules.base import Rule, working
from compliance.rules.load_bench import Case, Grade
from compliance.rules.load_limits import limits_source
from compliance.rules.load_remedies import for_drop, for_large_device, for_small_device, for_thin_wire
from compliance.rules.load_steps import STEPS as LOAD_STEPS
from compliance.rules.load_steps import Steps, barrel_lines, fig, hole_lines
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
from compliance.rules.network_steps import STEPS as NETWORK_STEPS
from compliance.rules.network_words import MESSAGES as NETWORK_MESSAGES
from shared.electrical.loads import LoadBasis


def _ampacity(c: Case) -> str:
    if c.grade == Grade.UNKNOWN:
        return f"No table says what {c.wire} with {fig(c.f.class_c[c.i])} C insulation may carry here."
    lasting = int(c.f.load.basis[c.i]) == LoadBasis.PEAK
    how = ", its peak taken as if it lasted since duty or cycle is not entered" if lasting else ""
    fit = for_thin_wire(c.f, c.i)
    return f"{c.wire} carries {fig(c.value)} A{how}; where it lies it may carry {fig(c.limit)} A.{fit}"


def _drop(c: Case) -> str:
    share = 100 * c.value / float(c.f.nominal_v[c.i])
    kind = "critical" if c.f.critical[c.i] else "other"
    return (
        f"{fig(c.value)} V ({share:.1f} %) is lost at {fig(c.f.peak_a[c.i])} A over {fig(c.f.length_m[c.i])} m "
        f"of {c.wire}; a circuit of this kind ({kind}) may lose {fig(c.limit)} V."
        f"{for_drop(c.f, c.i)}"
    )


def _rating(c: Case) -> str:
    end = " Do not power it." if c.grade == Grade.STOP else ""
    fit = for_large_device(c.f, c.i, c.limit)
    return f"{c.device} is rated {fig(c.value)} A; its wire, {c.wire}, bears {fig(c.limit)} A.{fit}{end}"


def _load(c: Case) -> str:
    return (
        f"{c.device} ({fig(c.f.rating_a[c.i])} A) carries {fig(c.value)} A; {fig(c.limit)} A is its fair share."
        f"{for_small_device(c.f, c.i)}"
    )


def _peak(c: Case) -> str:
    return f"A peak of {fig(c.f.peak_a[c.i])} A lasts {fig(c.value)} s; {c.device} may open after {fig(c.limit)} s."


def _interrupt(c: Case) -> str:
    return f"A short circuit draws {fig(c.value)} A; {c.device} can break {fig(c.limit)} A."


def _device_missing(c: Case) -> str:
    upstream = float(c.f.upstream_rating_a[c.i])
    if np.isnan(upstream):
        return f"Nothing protects {c.wire or 'this wire'}: neither here nor nearer the battery is a device."
    return f"It has no device; the next one, {fig(upstream)} A, is too large for {c.wire} ({fig(c.limit)} A)."


def _barrel(c: Case) -> str:
    area = float(c.f.area_mm2[c.i])
    wrong = [
        f"{code} at the {which} takes {fig(low)} to {fig(high)} mm2"
        for which, code, low, high in barrel_lines(c.f, c.i)
        if not (low * 0.999 <= area <= high * 1.001) and np.isfinite(low)
    ]
    return f"{c.wire} ({fig(area)} mm2) does not fit: {'; '.join(wrong)}."


def _hole(c: Case) -> str:
    slack = float(c.f.column(TerminalHole, "slack_mm")[c.i])
    wrong = []
    for which, code, hole, stud in hole_lines(c.f, c.i):
        if hole < stud:
            wrong.append(f"{code} at the {which}: hole {fig(hole)} mm does not pass the {fig(stud)} mm stud")
        elif hole > stud + slack + 1e-9:
            wrong.append(f"{code} at the {which}: hole {fig(hole)} mm is loose on the {fig(stud)} mm stud")
    return f"{'; '.join(wrong)}."


def _feed_sum(c: Case) -> str:
    return (
        f"Its branches draw {fig(c.value)} A together while running; device and wire bear {fig(c.limit)} A."
    )


def _unknown(c: Case) -> str:
    return f"Not entered: {', '.join(c.f.lacks(c.i))}."


MESSAGES: dict[type[Rule], Callable[[Case], str]] = {
    WireAmpacity: _ampacity,
    WireDrop: _drop,
    DeviceRating: _rating,
    DeviceLoad: _load,
    DevicePeak: _peak,
    DeviceInterrupt: _interrupt,
    DeviceMissing: _device_missing,
    TerminalBarrel: _barrel,
    TerminalHole: _hole,
    FeedSum: _feed_sum,
    CircuitUnknown: _unknown,
    **NETWORK_MESSAGES,
}
STEPS: dict[type[Rule], Callable[[NetworkFacts, int], Steps]] = {**LOAD_STEPS, **NETWORK_STEPS}


def message_of(rule: type[Rule], case: Case) -> str:
    """One sentence on a flagged circuit; what a passed or silent check amounts to otherwise."""
    if case.grade > Grade.PASS:
        return MESSAGES[rule](case)
    if case.grade == Grade.SILENT:
        return "Not judged: a figure it needs is not entered, or the rule does not apply here."
    if np.isfinite(case.value) and np.isfinite(case.limit):
        return f"Passes: {fig(case.value)} {case.judged.unit} against a limit of {fig(case.limit)} {case.judged.unit}."
    return "Passes."


def working_of(rule: type[Rule], case: Case, said: str = "") -> dict[str, Any]:
    """The whole working of a rule on a circuit, flagged or not; ``said`` is its message where that is there already."""
    limit: Mapping[str, Any] | None = None
    if np.isfinite(case.limit):
        source = limits_source(case.f.table, rule, int(case.f.packs_of(rule)[case.i]))
        limit = {"name": "limit", "value": round(case.limit, 6), "unit": case.judged.unit, "source": source}
    conclusion = said or message_of(rule, case)
    if case.grade > Grade.PASS:
        conclusion = f"{conclusion} {rule.remedy}"
    return working(STEPS[rule](case.f, case.i), limit=limit, conclusion=conclusion, sources=rule.sources)
