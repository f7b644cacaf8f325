"""What the rules about the care of a battery say: sag in its outings, a charge that is due, open incidents."""

from __future__ import annotations

from typing import Any

import numpy as np

from compliance.models import Severity
from compliance.rules.base import LimitValue, Rule, step
from compliance.rules.batteries import BatteryIncidentOpen, BatterySag, BatteryTopUp
from compliance.rules.battery_judge import PASSED, Verdict, not_judged, verdict_of
from compliance.rules.battery_steps import percent
from compliance.rules.battery_words import days
from compliance.selectors.battery_book import BatteryBook, BatteryCase, Group
from compliance.selectors.battery_columns import FloatArray, day_to_date
from compliance.selectors.battery_evidence import CareColumns, OpenIncident
from inventory.models import BatteryIncident
from shared.columns import BoolArray
from shared.planning.trends import OutingDoubt

#: What an incident asks for that keeps no battery from use by itself.
PUT_RIGHT = {
    BatteryIncident.Kind.OVER_DISCHARGED: (Severity.FIX, "charge it slowly and test its capacity"),
    BatteryIncident.Kind.LOOSE_LUG: (Severity.FIX, "tighten the lugs, then measure it again"),
    BatteryIncident.Kind.OTHER: (Severity.WATCH, "look at it and write down what was found"),
}


def sag_verdict(case: BatteryCase) -> Verdict:
    """Does it sag more in a robot than its resistance explains?"""
    group, at = case.group, case.at
    if group is None:
        return not_judged(BatterySag)
    told, policy = group.sag, group.policy
    doubt = int(told.doubt[at])
    if doubt != OutingDoubt.NONE:
        return not_judged(BatterySag, outings_missing(group, at))
    excess, n = float(told.excess_frac[at]), int(told.n_compared[at])
    lead = (
        f"In {n} outings its voltage fell {told.ratio[at]:.2f} times as far as that of the other batteries in the same "
        f"robot{_with_mohm(group, at)}; its resistance explains {told.explained[at]:.2f} times"
    )
    if told.sags[at]:
        state: str = Severity.WATCH
        sentence = f"{lead}. Check lugs, plug and leads, then measure it again."
    else:
        state = PASSED
        chance = "" if told.significant[at] or not told.large[at] else ", and more may be chance"
        sentence = f"{lead}{chance}: no more than it should."
    found = ("sag_excess_frac", excess, policy.sag_excess_frac, "frac")
    return verdict_of(case, BatterySag, state, sentence, sag_steps(group, at), found)


def outings_missing(group: Group, at: int) -> str:
    """What keeps the outings from saying anything, and what to note."""
    told, need = group.sag, int(group.policy.min_outings)
    note = "note its voltage at rest before it goes out, and the lowest one from the robot's log"
    doubt, n = int(told.doubt[at]), int(told.n_usable[at])
    if doubt == OutingDoubt.NO_OUTINGS:
        return f"No outing noted lately. {need} say something: {note}."
    if doubt == OutingDoubt.NONE_USABLE:
        return f"No outing of {told.n_logged[at]} has both voltages: {note}."
    if doubt == OutingDoubt.TOO_FEW:
        return f"{n} of {told.n_logged[at]} outings have both voltages, {need} are needed: {note}."
    return (
        f"{n} outings with both voltages, but fewer than {need} by two other batteries in the same robot to compare "
        "them with."
    )


def _with_mohm(group: Group, at: int) -> str:
    told = group.sag
    if np.isnan(told.apparent_mohm[at]):
        return ""
    return f" ({told.apparent_mohm[at]:.1f} mΩ with leads and joints, at the current of a simulated match)"


def sag_steps(group: Group, at: int) -> list[dict[str, Any]]:
    """From the outings to the excess and both gates."""
    told, policy = group.sag, group.policy
    mine = np.flatnonzero((group.member_of_outing == at) & ~np.isnan(told.ratio_of))
    above = int((told.ratio_of[mine] > told.explained[at]).sum())
    steps = [
        step("Outings", "with rest voltage before and lowest voltage, comparable", f"{told.n_logged[at]} noted",
             int(told.n_compared[at])),
        step("Sag against the others", "median of sag / median sag of the other batteries in the same robot",
             ", ".join(f"{r:.2f}" for r in told.ratio_of[mine][-8:]), float(told.ratio[at])),
        step("Its interval", "between two of these outings, ranks by the sign test",
             f"holds the median in {told.ratio_coverage[at]:.1%} of cases",
             f"{told.ratio_low[at]:.2f} to {told.ratio_high[at]:.2f}"),
        step("Explained by resistance", "its mΩ / median mΩ of the others, same method and instrument; at least 1", "",
             float(told.explained[at])),
        step("Excess", "sag / explained - 1", f"{told.ratio[at]:.2f} / {told.explained[at]:.2f} - 1",
             100 * float(told.excess_frac[at]), "%"),
        step("Gate 1, size", f"excess >= {policy.sag_excess_frac:.0%}", percent(told.excess_frac[at]),
             "passed" if told.large[at] else "not passed"),
        step("Gate 2, beyond chance", f"sign test, one-sided: p <= {policy.alpha:g}",
             f"{above} of {mine.size} above what is explained, p = {told.p_value[at]:.4g}",
             "passed" if told.significant[at] else "not passed"),
    ]  # fmt: skip
    if not np.isnan(told.apparent_mohm[at]):
        steps.append(
            step("As a resistance", "sag / current at the lowest moment of a simulated match; battery, leads, joints",
                 f"{told.apparent_low[at]:.1f} to {told.apparent_high[at]:.1f} mΩ", float(told.apparent_mohm[at]), "mΩ")
        )  # fmt: skip
    return steps


def topup_verdict(case: BatteryCase) -> Verdict:
    """Is a charge due?"""
    if case.facts.lithium:
        return not_judged(
            BatteryTopUp, "A lithium pack is stored half charged: it needs no top-up like lead-acid."
        )
    care, row, today = case.book.care, case.row, case.book.today
    if care.on_charger[row]:
        return verdict_of(case, BatteryTopUp, PASSED, "It is on a charger.", [], None)
    if low := _low_rest(case):
        return low
    last = float(last_full_day(care)[row])
    if np.isnan(last):
        return not_judged(
            BatteryTopUp, "No charge and no full reading noted: nobody can say how long it has stood."
        )
    idle, limit = number(case, BatteryTopUp, "uncharged_after_d"), number(case, BatteryTopUp, "topup_after_d")
    out, steps = float(care.out_day[row]), _topup_steps(case)
    if out > last and today - np.floor(out) > idle:
        since = today - float(np.floor(out))
        ago = f"on {day_to_date(out)}, {days(since)} ago"
        sentence = f"It went out {ago}, and no charge is noted since: charge it today."
        found = ("uncharged_after_d", since, idle, "d")
        return verdict_of(case, BatteryTopUp, Severity.FIX, sentence, steps, found)
    since = today - float(np.floor(last))
    found = ("topup_after_d", since, limit, "d")
    if since >= limit:
        sentence = f"Last full on {day_to_date(last)}, {days(since)} ago: a storage top-up is due."
        return verdict_of(case, BatteryTopUp, Severity.WATCH, sentence, steps, found)
    sentence = f"Last full {days(since)} ago; a top-up is due after {days(limit)}."
    return verdict_of(case, BatteryTopUp, PASSED, sentence, steps, found)


def _low_rest(case: BatteryCase) -> Verdict | None:
    """What the newest rest voltage since the last charge says, where it is low."""
    care, row = case.book.care, case.row
    volts = float(care.rest_v[row]) if rested_since_charge(care)[row] else np.nan
    for name, severity, words in (
        ("damage_rest_v", Severity.FIX, "damage is likely. Charge it today, then test its capacity"),
        ("low_rest_v", Severity.FIX, "charge it today"),
        ("charge_rest_v", Severity.WATCH, "charge it soon"),
    ):
        limit = number(case, BatteryTopUp, name)
        if volts < limit - 1e-9:
            sentence = (
                f"{volts:.2f} V at rest on {day_to_date(care.rest_day[row])}, below {limit:g} V: {words}."
            )
            found = (name, volts, limit, "V")
            return verdict_of(case, BatteryTopUp, severity, sentence, _topup_steps(case), found)
    return None


def _topup_steps(case: BatteryCase) -> list[dict[str, Any]]:
    care, row = case.book.care, case.row

    def told(day: float) -> str:
        return "none noted" if np.isnan(day) else str(day_to_date(day))

    volts = "none noted" if np.isnan(care.rest_v[row]) else f"{care.rest_v[row]:.2f} V"
    return [
        step("Last charge", "end of it", "", told(care.charged_day[row])),
        step("Last read full", "rest voltage at or above that of a full battery of its model",
             f"{case.facts.full_rest_v:g} V", told(care.full_day[row])),
        step("Newest rest voltage", "counts if taken after the last charge", told(care.rest_day[row]), volts),
        step("Last outing", "start of it", "", told(care.out_day[row])),
    ]  # fmt: skip


def last_full_day(care: CareColumns) -> FloatArray:
    """When each battery was charged or read full last."""
    return np.asarray(np.fmax(care.charged_day, care.full_day))


def rested_since_charge(care: CareColumns) -> BoolArray:
    """Whether the newest rest voltage was taken after the last charge."""
    return np.asarray(~np.isnan(care.rest_v) & ~(care.rest_day < care.charged_day))


def topup_suspects(book: BatteryBook) -> BoolArray:
    """Batteries of which the rule may have something to say, whole columns at once; the verdict has the last word."""
    care, table, pack = book.care, book.table, np.array(book.pack_of, dtype=np.int64)
    limits = {
        limit.name: table.column(BatteryTopUp, limit.name).astype(np.float64)[pack]
        for limit in BatteryTopUp.limits
    }
    # A pack may have its three voltages in any order.
    charge_v = np.max([limits[name] for name in ("charge_rest_v", "low_rest_v", "damage_rest_v")], axis=0)
    idle, after = limits["uncharged_after_d"], limits["topup_after_d"]
    last = last_full_day(care)
    low = rested_since_charge(care) & (care.rest_v < charge_v)
    stood = (care.out_day > last) & (book.today - np.floor(care.out_day) > idle)
    due = book.today - np.floor(last) >= after
    return np.asarray((low | stood | due) & ~care.on_charger & ~book.columns.facts.lithium)


def incident_verdict(case: BatteryCase) -> Verdict:
    """Has everything that happened to it been looked at?"""
    incidents = case.book.care.incidents.get(case.row, ())
    if not incidents:
        sentence = "No incident waits to be looked at."
        return verdict_of(case, BatteryIncidentOpen, PASSED, sentence, [], None)
    gravest = next((one for one in incidents if one.quarantines), incidents[-1])
    steps = [
        step("Incident", str(day_to_date(one.day)), one.note, str(BatteryIncident.Kind(one.kind).label))
        for one in incidents
    ]
    severity, sentence = _incident_words(gravest)
    if len(incidents) > 1:
        sentence += f" {len(incidents)} incidents wait in all."
    return verdict_of(case, BatteryIncidentOpen, severity, sentence, steps, None)


def _incident_words(one: OpenIncident) -> tuple[str, str]:
    label, when = BatteryIncident.Kind(one.kind).label, day_to_date(one.day)
    if one.quarantines:
        return Severity.STOP, (
            f"{label} on {when}, and nobody has looked at it: neither charge nor use it until a qualified adult has."
        )
    severity, advice = PUT_RIGHT[BatteryIncident.Kind(one.kind)]
    return severity, f"{label} on {when}, and nobody has looked at it: {advice}."


def number(case: BatteryCase, rule: type[Rule], name: str) -> float:
    """A limit as the battery's rule pack gives it."""
    value: LimitValue = case.book.table.value(rule, name, case.pack)
    return float(value)
