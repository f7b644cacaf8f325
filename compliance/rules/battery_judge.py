"""What the battery rules say of one battery: verdict, sentence and working, for those that pass as well."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Any

import numpy as np

from compliance.models import Severity
from compliance.rules.base import Rule, step, working
from compliance.rules.batteries import (
    BatteryCapacity,
    BatteryRise,
    BatterySudden,
    BatteryUnjudged,
    BatteryUse,
)
from compliance.rules.battery_steps import (
    Steps,
    capacity_steps,
    crossing_words,
    mohm,
    rise_steps,
    series_name,
    series_values,
    sudden_steps,
    use_steps,
)
from compliance.rules.battery_words import DOUBT_WORDS, STATE_WORDS, days, how_to_read, reasons_counted
from compliance.selectors.battery_book import BatteryCase, Group
from compliance.selectors.battery_columns import day_to_date
from inventory.models import BatteryState as Kept
from shared.planning.trends import BatteryState, CapacityDoubt

PASSED = "pass"
NOT_JUDGED = "not judged"
OFF = "off"


@dataclass(frozen=True)
class Verdict:
    """``state``: a severity, or "pass", or "not judged"; the rest as in a finding."""

    rule: type[Rule]
    state: str
    message: str
    value: float | None = None
    limit: float | None = None
    unit: str = ""
    working: dict[str, Any] = field(default_factory=dict)

    @property
    def found(self) -> bool:
        return self.state not in (PASSED, NOT_JUDGED)


RISE = {
    BatteryState.WATCH: (Severity.WATCH, "watch_rise_frac", "watch it, and measure again soon"),
    BatteryState.PRACTICE_ONLY: (Severity.FIX, "practice_rise_frac", "practice only, not for matches"),
    BatteryState.RETIRE: (Severity.STOP, "retire_rise_frac", "retire it"),
}


def rise_verdict(case: BatteryCase) -> Verdict:
    """Has the resistance risen, by size and beyond chance?"""
    group, at = case.group, case.at
    if group is None or case.facts.lithium or group.told.state[at] < BatteryState.FIT:
        return not_judged(BatteryRise)
    told, state = group.told, BatteryState(int(group.told.state[at]))
    rise = float(told.rise_frac[at])
    between = (
        f"{told.baseline_mohm[at]:.1f} to {told.level_mohm[at]:.1f} mΩ over {told.n[at]} days with readings"
    )
    if state == BatteryState.FIT:
        chance = "" if told.significant[at] else ", and the trend may be chance"
        sentence = (
            f"Resistance went from {between}: {rise:+.0%}, below {group.policy.watch_rise_frac:.0%}{chance}."
        )
        name, severity = "watch_rise_frac", PASSED
    else:
        severity, name, advice = RISE[state]
        if state == BatteryState.WATCH and not told.significant[at]:
            advice = "measure again: so far it may be chance"
        sentence = f"Resistance rose {rise:.0%} over its own baseline ({between}): {advice}."
        if np.isfinite(told.limit_mohm[at]):
            sentence += f" Next limit {mohm(told.limit_mohm[at])}: {crossing_words(group, at)}."
        if severity != Severity.STOP and case.facts.state == Kept.PRACTICE:
            severity, sentence = PASSED, f"{sentence} It is kept for practice already."
    limit = float(getattr(group.policy, name))
    return verdict_of(
        case, BatteryRise, severity, sentence, rise_steps(case, group), (name, rise, limit, "frac")
    )


def sudden_verdict(case: BatteryCase) -> Verdict:
    """Did the newest reading jump over the one before?"""
    group, at = case.group, case.at
    if group is None or np.isnan(group.told.sudden_rise_frac[at]):
        return not_judged(BatterySudden)
    taken, values = series_values(group, newest_series(group, at))
    jump, limit = float(group.told.sudden_rise_frac[at]), group.policy.sudden_rise_frac
    gap = days(taken[-1] - taken[-2])
    if group.told.sudden[at]:
        state: str = Severity.FIX
        sentence = (
            f"Resistance jumped {jump:.0%} within {gap} ({values[-2]:.1f} to {values[-1]:.1f} mΩ). No battery "
            "ages that fast: check the lugs first, then measure again."
        )
    else:
        state, sentence = PASSED, f"The newest reading is {jump:+.0%} from the one {gap} before."
    steps = sudden_steps(group, at, taken, values)
    return verdict_of(case, BatterySudden, state, sentence, steps, ("sudden_rise_frac", jump, limit, "frac"))


def capacity_verdict(case: BatteryCase) -> Verdict:
    """What did the newest capacity test say?"""
    group = case.group
    test = -1 if group is None else int(group.test[case.at])
    if group is None or test < 0:
        return not_judged(BatteryCapacity, "No capacity test.")
    told, policy = group.capacity, group.policy
    state: str
    when = day_to_date(case.book.columns.tests.day[group.tests[test]])
    steps = capacity_steps(case, group, test)
    if told.doubt[test] != CapacityDoubt.NONE:
        f = case.facts
        sentence = (
            f"The capacity test of {when} cannot be judged: {DOUBT_WORDS[int(told.doubt[test])]}. Test at "
            f"{f.capacity_ah / f.capacity_hours_h:.3g} A ({f.capacity_ah:g} Ah in {f.capacity_hours_h:g} h)"
            f"{f' to {f.end_v:g} V' if f.end_v else ''}, at {policy.low_temperature_c:g} to "
            f"{policy.high_temperature_c:g} °C."
        )
        return verdict_of(case, BatteryCapacity, Severity.UNKNOWN, sentence, steps, None)
    fraction = float(told.fraction[test])
    lead = f"The capacity test of {when} gave {fraction:.0%} of rated"
    if told.state[test] == BatteryState.RETIRE:
        state, name, rest = Severity.STOP, "retire_capacity_frac", "end of life, take it out of use"
    elif told.state[test] == BatteryState.WATCH:
        state, name, rest = Severity.WATCH, "watch_capacity_frac", "test again this season"
    else:
        state, name, rest = PASSED, "watch_capacity_frac", ""
    limit = float(getattr(policy, name))
    sentence = f"{lead}, below {limit:.0%}: {rest}." if rest else f"{lead}, at or above {limit:.0%}."
    return verdict_of(case, BatteryCapacity, state, sentence, steps, (name, fraction, limit, "frac"))


def use_verdict(case: BatteryCase) -> Verdict:
    """Is it old or much used?"""
    group = case.group
    if group is None:
        return not_judged(BatteryUse)
    age, cycles = float(group.age_d[case.at]), float(case.book.columns.cycles[case.row])
    policy = group.policy
    old = age >= policy.watch_age_d
    by_age = ("watch_age_d", age, policy.watch_age_d, "d")
    by_cycles = ("watch_cycles", cycles, policy.watch_cycles, "cycles")
    counted = "cycles not counted" if np.isnan(cycles) else f"{cycles:g} cycles"
    lead = f"In use for {days(age)} since {case.facts.first_use}, {counted}"
    watch = group.use[case.at] == BatteryState.WATCH
    if watch:
        limit = f"{policy.watch_age_d:g} days" if old else f"{policy.watch_cycles:g} cycles"
        sentence = f"{lead}: past {limit}. Test its capacity."
    else:
        sentence = f"{lead}: below {policy.watch_age_d:g} days and {policy.watch_cycles:g} cycles."
    chosen = by_age if old or not watch else by_cycles
    state = Severity.WATCH if watch else PASSED
    return verdict_of(case, BatteryUse, state, sentence, use_steps(case, group), chosen)


def unjudged_verdict(case: BatteryCase) -> Verdict:
    """Is there enough comparable and recent evidence?"""
    group, at = case.group, case.at
    if group is None:
        sentence = f"Cannot be judged, {case.problem} Mend the rule pack."
        return verdict_of(case, BatteryUnjudged, Severity.UNKNOWN, sentence[:400], [], None)
    if case.facts.lithium:
        return _lithium(case, group)
    told, policy = group.told, group.policy
    state = int(told.state[at])
    if state < BatteryState.FIT:
        steps = [
            step("Readings logged", "all", "", int(told.n_logged[at])),
            step("Comparable", "full, rested, warm enough", _left_out_line(case, group), int(told.n_comparable[at])),
            step("Days with one", "of one method and instrument", _series_words(case, group), int(told.n[at]), "days"),
        ]  # fmt: skip
        found = ("min_readings", float(told.n[at]), policy.min_readings, "readings")
        sentence = f"{STATE_WORDS[state]}: {_too_little(case, group, state)}"
        return verdict_of(case, BatteryUnjudged, Severity.UNKNOWN, sentence, steps, found)
    return _stale(case, group)


def newest_series(group: Group, at: int) -> int:
    """The series read last, whichever decides the state; among equals the later one, as the judge takes it."""
    made = group.told.readings
    mine = np.flatnonzero(made.battery == at)
    last = made.day[made.offsets[mine + 1] - 1]
    return int(mine[np.flatnonzero(last == last.max())[-1]])


def left_out_of(case: BatteryCase, group: Group) -> str:
    """Why readings of this battery were left out, counted."""
    return reasons_counted(group.told.reading_left_out[group.readings_of(case.at)], group.policy)


def _left_out_line(case: BatteryCase, group: Group) -> str:
    counted = left_out_of(case, group)
    return f"left out: {counted}" if counted else "none left out"


def _series_words(case: BatteryCase, group: Group) -> str:
    series = int(group.told.series[case.at])
    return series_name(case, group, series) if series >= 0 else ""


def _too_little(case: BatteryCase, group: Group, state: int) -> str:
    """Which reading would settle it."""
    told, policy, at = group.told, group.policy, case.at
    need, base = int(policy.min_readings), int(policy.baseline_readings)
    if state == BatteryState.NO_READINGS:
        return (
            f"take one {how_to_read(policy)}. {base} on different days make its baseline, {need} a verdict."
        )
    if state == BatteryState.NONE_COMPARABLE:
        return f"{left_out_of(case, group)}. Take one {how_to_read(policy)}."[:380]
    n = int(told.n[at])
    missing = (base if state == BatteryState.NO_BASELINE else need) - n
    verb, goal = ("make", "its baseline") if state == BatteryState.NO_BASELINE else ("give", "a verdict")
    more = f"1 more on another day {verb}s" if missing == 1 else f"{missing} more on other days {verb}"
    return (
        f"{days(n)} with a comparable reading ({_series_words(case, group)}); {more} {goal}, "
        f"{how_to_read(policy)}, by the same method and instrument."
    )


def _stale(case: BatteryCase, group: Group) -> Verdict:
    newest = float(group.newest_day[case.at])
    age = case.book.today - newest
    steps = [step("Newest comparable reading", "today - its day", f"{day_to_date(newest)}", age, "days")]
    found = ("stale_after_d", age, group.stale_after_d, "d")
    if age <= group.stale_after_d:
        return verdict_of(
            case,
            BatteryUnjudged,
            PASSED,
            f"Judged; the newest comparable reading is {days(age)} old.",
            steps,
            found,
        )
    sentence = (
        f"The newest comparable reading is {days(age)} old, of {day_to_date(newest)}: what the battery is now is not "
        f"known. Take one {how_to_read(group.policy, _series_words(case, group))}."
    )
    return verdict_of(case, BatteryUnjudged, Severity.UNKNOWN, sentence, steps, found)


def _lithium(case: BatteryCase, group: Group) -> Verdict:
    """Resistance limits of lead-acid say nothing of a lithium pack; a capacity test does."""
    test = int(group.test[case.at])
    steps = [step("Chemistry", "resistance limits hold for lead-acid only", case.facts.model_code, "lithium")]
    if test >= 0 and group.capacity.doubt[test] == CapacityDoubt.NONE:
        return verdict_of(
            case, BatteryUnjudged, PASSED, "A lithium pack, judged by its capacity test.", steps, None
        )
    sentence = (
        "A lithium pack: the resistance limits of lead-acid say nothing of it. A capacity test at "
        f"{case.facts.capacity_ah / case.facts.capacity_hours_h:.3g} A settles it."
    )
    return verdict_of(case, BatteryUnjudged, Severity.UNKNOWN, sentence, steps, None)


def not_judged(rule: type[Rule], message: str = "Cannot be judged yet.") -> Verdict:
    return Verdict(
        rule, NOT_JUDGED, message, working=working([], limit=None, conclusion=message, sources=rule.sources)
    )


def verdict_of(
    case: BatteryCase,
    rule: type[Rule],
    state: str,
    sentence: str,
    steps: Steps,
    found: tuple[str, float, float, str] | None,
) -> Verdict:
    """A verdict with its working; ``found`` = name of the limit, value, limit and their unit."""
    limit = None
    if found is not None:
        name, value, bound, unit = found
        label, factor, printed = _printed(rule, name, unit)
        limit = {
            "label": label,
            "value": factor * bound,
            "unit": printed,
            "source": _limit_source(case, rule, name),
        }
    shown = working(steps, limit=limit, conclusion=sentence, sources=rule.sources)
    if found is None:
        return Verdict(rule, state, sentence, working=shown)
    return Verdict(rule, state, sentence, None if np.isnan(value) else value, bound, unit, shown)


def _printed(rule: type[Rule], name: str, unit: str) -> tuple[str, float, str]:
    """A limit as a working prints it: its explanation, the factor to the unit shown, and that unit."""
    factor, shown = {"frac": (100.0, "%"), "d": (1.0, "days")}.get(unit, (1.0, unit))
    return _owner(rule, name).limit(name).explanation, factor, shown


def _owner(rule: type[Rule], name: str) -> type[Rule]:
    """The rule that has the limit; what is shared by all belongs to the rise."""
    return rule if any(limit.name == name for limit in rule.limits) else BatteryRise


def _limit_source(case: BatteryCase, rule: type[Rule], name: str) -> str:
    """Whose limit it is: the pack's, or the default with where that comes from."""
    owner = _owner(rule, name)
    setting = case.book.table.settings.get(owner.code, {}).get(case.pack)
    if setting is not None and name in setting.limits:
        return case.book.table.source(owner, case.pack)
    return str(owner.limit(name).source)
