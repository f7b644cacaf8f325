"""The battery rules: what each asks of a battery, and the limits a rule pack may set.

All limits are rows of ``BatteryPolicy``; a pack's values make the policy a battery is judged by.
"""

from __future__ import annotations

from typing import Any

from compliance.models import Severity, SubjectKind
from compliance.rules.base import Limit, LimitValue, Rule
from compliance.selectors.packs import PackTable
from shared.electrical.sources import COMMON_PRACTICE, MEMORY, SEEN, Source
from shared.planning.trends import BatteryPolicy

#: Units of the policy as the pages name them.
UNITS = {"1": "frac", "C": "c", "mOhm": "mohm", "V": "v"}
#: Longer without a comparable reading, and a battery is not known to be good any more.
STALE_AFTER_D = 180
OUTINGS_WITHIN_D = 180

THEIL_SEN = Source(
    "Sen, Estimates of the regression coefficient based on Kendall's tau",
    "J. Am. Stat. Assoc. 63 (1968) 1379-1389",
    SEEN,
)
MANN_KENDALL = Source(
    "Mann, Nonparametric tests against trend",
    "Econometrica 13 (1945) 245-259; exact table Kendall (1975)",
    SEEN,
)
OHMIC = Source("IEEE 1188-2005", "Annex C.4, rise over the battery's own baseline, quoted second-hand", SEEN)
CAPACITY = Source("IEEE 450 and IEEE 1188", "below 80 % of rated: end of life, quoted second-hand", SEEN)
PRACTICE = Source(
    "Workshop practice", "loose lugs read as resistance; age and use ask for a test", COMMON_PRACTICE
)
OWN_CHOICE = Source("Our choice", "what is not known is said, never taken for good", COMMON_PRACTICE)
OHM = Source("Ohm's law", "sag = current x resistance, with the current of the same robot", SEEN)
SIGNS = Source("Conover, Practical Nonparametric Statistics, 3rd ed.", "section 3.4, sign test", MEMORY)
SELF_DISCHARGE = Source(
    "Data sheets of small AGM blocks",
    "3 % a month at 20 °C on one; 5, 10, 19 % after 1, 2, 3 months on another, which we take",
    SEEN,
)
STORED = Source(
    "Storage advice for lead-acid",
    "2.07 V a cell = 12.42 V is some 70 %; never below 2.00 V a cell = 12.0 V",
    SEEN,
)
STANDING = Source(
    "Workshop practice", "charged the same day: lead-acid left empty ages fast", COMMON_PRACTICE
)
INCIDENTS = Source("Workshop practice", "quarantine first, then a qualified adult looks", COMMON_PRACTICE)


def _source(text: str) -> Source:
    """The source a policy row names; our own choices and habits are marked as such."""
    ours = text.startswith(("our choice", "common practice"))
    return Source(text, "", COMMON_PRACTICE if ours else SEEN)


def _limit(name: str, explanation: str, low: float | None = None, high: float | None = None) -> Limit:
    """A limit whose default, unit and source are those of the policy row of that name."""
    row: Any = BatteryPolicy.__dataclass_fields__[name]
    unit = str(row.metadata["unit"])
    return Limit(
        name,
        row.default,
        UNITS.get(unit, unit),
        explanation,
        _source(row.metadata["source"]),
        low=low,
        high=high,
    )


class BatteryRule(Rule):
    """What all battery rules share."""

    sweep = "batteries"
    subject = SubjectKind.BATTERY


class BatteryRise(BatteryRule):
    code = "battery-rise"
    title = "Resistance has risen"
    severity = Severity.STOP
    asks = "Has the battery's resistance risen over its own first readings, by enough and beyond chance?"
    formula = (
        "rise = median(newest 3) / median(first 3) - 1; both gates: rise >= limit and Mann-Kendall p <= alpha"
    )
    needs = ("comparable resistance readings of one method and instrument",)
    remedy = "Watch: measure again soon. Practice only: keep it out of matches. Retire: take it out of use."
    limits = (
        _limit("watch_rise_frac", "Rise over its own baseline that asks for watching", 0.01, 5),
        _limit("practice_rise_frac", "Rise at which it goes to practice only", 0.01, 5),
        _limit("retire_rise_frac", "Rise at which it is retired", 0.01, 5),
        _limit("alpha", "One-sided chance of such a trend without ageing, at most", 0.0001, 0.5),
        _limit("confidence_frac", "Two-sided confidence of the slope's interval", 0.5, 0.9999),
        _limit("min_readings", "Days with a comparable reading before a trend is spoken of", 2, 100),
        _limit("baseline_readings", "Readings that make the baseline, and the newest level", 1, 20),
        _limit("break_in_cycles", "Readings before so many cycles are left out", 0, 100),
        _limit("full_soc_frac", "State of charge from which it counts as full", 0.1, 1),
        _limit("low_temperature_c", "Readings taken colder are left out", -20, 60),
        _limit("high_temperature_c", "Readings taken warmer are left out", -20, 60),
        _limit("min_rest_h", "Readings after a shorter rest are left out", 0, 72),
        _limit("lowest_mohm", "Readings below are a slip", 0, 500),
        _limit("highest_mohm", "Readings above are a slip", 0, 1000),
    )
    sources = (OHMIC, THEIL_SEN, MANN_KENDALL)


class BatterySudden(BatteryRule):
    code = "battery-sudden"
    title = "Resistance jumped"
    severity = Severity.FIX
    asks = "Is the newest reading far above the one before, closer in time than ageing can explain?"
    formula = "jump = newest / reading before - 1 > limit, within so many days"
    needs = ("two comparable readings close together",)
    remedy = "Check the lugs and the cable first, then measure again."
    limits = (
        _limit("sudden_rise_frac", "Jump over the reading before", 0.01, 5),
        _limit("sudden_within_d", "Days between the two readings, at most", 1, 365),
    )
    sources = (PRACTICE,)


class BatteryCapacity(BatteryRule):
    code = "battery-capacity"
    title = "Capacity is low"
    severity = Severity.STOP
    asks = "Did the newest capacity test give what the model is rated for at that rate?"
    formula = "capacity at 25 C / rated capacity at the same rate and end voltage"
    needs = ("a capacity test at the rated current to the rated end voltage",)
    remedy = "Below the lower limit: take it out of use. Below the upper: test again within the season."
    limits = (
        _limit("watch_capacity_frac", "Part of the rated capacity below which it is watched", 0.1, 1.5),
        _limit("retire_capacity_frac", "Part of the rated capacity below which it is retired", 0.1, 1.5),
        _limit("rate_tolerance_frac", "How far the test current may lie from the rated one", 0.01, 1),
        _limit("end_voltage_tolerance_v", "How far the end voltage may lie from the rated one", 0.01, 3),
    )
    sources = (CAPACITY,)


class BatteryUse(BatteryRule):
    code = "battery-use"
    title = "Old or much used"
    severity = Severity.WATCH
    asks = "Is the battery old, or has it seen many cycles?"
    formula = "age >= limit or cycles >= limit"
    needs = ("day of first use or of purchase",)
    remedy = "Test its capacity; age and use alone retire no battery."
    limits = (
        _limit("watch_age_d", "Age from its first use", 1, 10000),
        _limit("watch_cycles", "Charges at intake and since", 1, 100000),
    )
    sources = (PRACTICE,)


class BatteryUnjudged(BatteryRule):
    code = "battery-unjudged"
    title = "Cannot be judged"
    severity = Severity.UNKNOWN
    asks = "Is there enough comparable and recent evidence to say how the battery is?"
    formula = "comparable days >= needed, and newest of them not older than the limit"
    needs = ("comparable resistance readings of one method and instrument",)
    remedy = "Take the reading the message names."
    limits = (
        Limit(
            "stale_after_d",
            STALE_AFTER_D,
            "d",
            "Age of the newest comparable reading, at most",
            OWN_CHOICE,
            low=1,
        ),
    )
    sources = (OWN_CHOICE,)


class BatterySag(BatteryRule):
    code = "battery-sag"
    title = "Sags more than its resistance explains"
    severity = Severity.WATCH
    asks = (
        "In its outings, did its voltage fall further than that of the other batteries in the same robot, by more "
        "than their measured resistances explain?"
    )
    formula = (
        "sag = rest voltage before - lowest voltage; excess = median(sag / median sag of the others) "
        "/ (its mΩ / theirs) - 1; both gates: excess >= limit and sign test p <= alpha"
    )
    needs = (
        "outings with the rest voltage before and the lowest voltage",
        "as many of two other batteries in the same robot",
    )
    remedy = (
        "Check lugs, plug and leads, then measure its resistance again; if that is flat, test its capacity."
    )
    limits = (
        _limit("sag_excess_frac", "Sag beyond what the resistances explain", 0.01, 5),
        _limit("min_outings", "Outings compared before anything is said", 2, 100),
        _limit(
            "charge_doubt_frac", "What a state of charge read from a voltage is worth, either way", 0.01, 0.5
        ),
        Limit(
            "outings_within_d",
            OUTINGS_WITHIN_D,
            "d",
            "Older outings say nothing of it now",
            OWN_CHOICE,
            low=1,
        ),
    )
    sources = (OHM, SIGNS)


class BatteryTopUp(BatteryRule):
    code = "battery-topup"
    title = "Charge or top-up due"
    severity = Severity.FIX
    asks = "Has a lead-acid battery stood too long, or too empty, since its last charge?"
    formula = (
        "rest voltage since the charge < limits; or it went out and was not charged within so many days; "
        "or today - last charge >= limit"
    )
    needs = ("charges as noted, or a rest voltage",)
    remedy = "Charge it today; a battery that stood below the lowest limit gets a capacity test as well."
    limits = (
        Limit(
            "charge_rest_v",
            12.6,
            "v",
            "Rest voltage below which it is charged soon",
            STANDING,
            low=10,
            high=14,
        ),
        Limit(
            "low_rest_v", 12.4, "v", "Rest voltage below which it is charged today", STORED, low=10, high=14
        ),
        Limit(
            "damage_rest_v", 12.0, "v", "Rest voltage below which damage is likely", STORED, low=9, high=14
        ),
        Limit("uncharged_after_d", 2, "d", "After an outing it may stand uncharged so long", STANDING, low=0),
        Limit(
            "topup_after_d",
            90,
            "d",
            "Days without a charge until a storage top-up is due",
            SELF_DISCHARGE,
            low=1,
        ),
    )
    sources = (SELF_DISCHARGE, STORED, STANDING)


class BatteryIncidentOpen(BatteryRule):
    code = "battery-incident"
    title = "Incident nobody looked at"
    severity = Severity.STOP
    asks = "Did something happen to the battery that nobody has looked at since?"
    formula = "an incident without the day on which a qualified adult looked at it"
    needs = ("incidents as noted",)
    remedy = (
        "Dropped, swollen, hot, leaking, cracked or short-circuited: neither charge nor use it until a qualified adult "
        "has looked. Otherwise put right what happened and write down what was found."
    )
    limits = ()
    sources = (INCIDENTS,)


RULES: tuple[type[Rule], ...] = (
    BatteryRise, BatterySudden, BatteryCapacity, BatteryUse, BatteryUnjudged, BatterySag, BatteryTopUp,
    BatteryIncidentOpen,
)  # fmt: skip


def policy_of(table: PackTable, pack: int) -> BatteryPolicy:
    """The limits of a pack as one policy; raises ``ValueError`` when they contradict each other."""
    names = BatteryPolicy.__dataclass_fields__
    values: dict[str, Any] = {}
    for rule in RULES:
        for limit in rule.limits:
            if limit.name in names:
                values[limit.name] = _number(table.value(rule, limit.name, pack))
    return BatteryPolicy(**values)


def stale_after_d(table: PackTable, pack: int) -> float:
    """How old the newest comparable reading may be under a pack [d]."""
    return _number(table.value(BatteryUnjudged, "stale_after_d", pack))


def outings_within_d(table: PackTable, pack: int) -> float:
    """How old an outing may be to say something of a battery under a pack [d]."""
    return _number(table.value(BatterySag, "outings_within_d", pack))


def _number(value: LimitValue) -> float:
    return float(value)
