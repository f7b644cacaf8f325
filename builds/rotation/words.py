"""What is told with a plan: the answer in a sentence, what was assumed, what fails first and what would fix it."""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from datetime import datetime

import numpy as np
from django.utils import timezone

from builds.rotation.assemble import UNSURE_V, Assembled
from builds.rotation.situation import Situation
from builds.rotation.voltages import NEW, NONE, PUSH, STAND_IN, STUDY
from builds.selectors.cart import CartRow, CartState
from builds.selectors.cart_charge import ASSUMED_CHARGER_A, LevelSource
from shared.planning.rotation import Plan, Remedies

#: The search for a plan ran out of time, and another one found a battery for every match.
MORE_TIME = "With more time every match may get a battery: plan anew."
NO_WAY = (
    "Neither one more battery, nor one more charger, nor a longer break alone fixes it: borrow batteries, or go out "
    "with less charge than this event asks for."
)


def headline(found: Assembled, answer: Plan) -> str:
    """The answer in one sentence: every match has a battery, and where the least is to spare; or which have none."""
    ahead = found.situation.ahead
    if not ahead:
        return "No match is to come."
    bare = [m for m in range(len(ahead)) if answer.battery[m] < 0]
    if bare:
        numbers = ", ".join(ahead[m].number for m in bare)
        few = f"Match {numbers} has" if len(bare) == 1 else f"Matches {numbers} have"
        return f"{few} no fit and charged battery."
    every = f"All {len(ahead)} matches have" if len(ahead) > 1 else f"Match {ahead[0].number} has"
    tight = _tightest(found, answer)
    return f"{every} a fit and charged battery{tight}."


def _tightest(found: Assembled, answer: Plan) -> str:
    """Where the least is to spare."""
    margin = np.asarray(answer.margin_v)
    told = [
        m for m, match in enumerate(found.situation.ahead)
        if np.isfinite(margin[m]) and match.robot_id in found.situation.volts.robots
    ]  # fmt: skip
    if not told:
        return ""
    worst = min(told, key=lambda m: float(margin[m]))
    match = found.situation.ahead[worst]
    code = found.situation.cart[int(answer.battery[worst])].battery.code
    level = against_brown_out(float(margin[worst]))
    return f"; least to spare is in match {match.number}, where {code} stays {level}"


def against_brown_out(spare_v: float) -> str:
    """Where a lowest voltage lies, told as finely as it is known.

    >>> against_brown_out(0.42), against_brown_out(0.04), against_brown_out(-0.3)
    ('0.4 V above the brown-out level', 'just at the brown-out level', '0.3 V below the brown-out level')
    """
    if abs(spare_v) < 0.05:
        return "just at the brown-out level"
    return f"{abs(spare_v):.1f} V {'above' if spare_v > 0 else 'below'} the brown-out level"


def quality(answer: Plan, *, instant: bool) -> str:
    """How good the plan is known to be."""
    if instant:
        return "First answer; the best plan is being worked out."
    if answer.proven:
        return "No better plan exists under these rules."
    if np.isfinite(answer.gap_v):
        more = f"up to {float(answer.gap_v):.1f} V more to spare"
        return f"The weakest match could have {more}; no proof was found in time."
    return "A better plan may exist: no proof was found in time."


def short_words(found: Assembled, remedies: Remedies | None) -> tuple[str, ...]:
    """Which match fails first, and what would fix it; nothing where none does."""
    if remedies is None:
        return ()
    said = []
    if remedies.first_match is not None:
        match = found.situation.ahead[remedies.first_match]
        said.append(
            f"Match {match.number} at {clock(match.starts_at)} is the first without a fit and charged battery."
        )
    ways = []
    if remedies.one_more_battery:
        ways.append("one more charged battery")
    if remedies.one_more_charger:
        ways.append("one more charger")
    if remedies.later_by_min is not None:
        ways.append(f"a break {remedies.later_by_min:.0f} min longer before it")
    if ways:
        said.append(f"What would fix it: {', or '.join(ways)}.")
    elif remedies.known:
        said.append(NO_WAY)
    else:
        said.append("What would fix it was not found in time.")
    return tuple(said)


def assumed_words(found: Situation) -> tuple[str, ...]:
    """What the plan rests on that nobody entered or measured, and where its figures are from."""
    return (
        *_volt_words(found),
        *_charge_words(found),
        *_used_words(found),
        *_charger_words(found),
        *_left_out(found),
    )


def _volt_words(found: Situation) -> list[str]:
    said = []
    named = {match.robot_id: match.robot.name for match in found.ahead}
    for robot_id, name in named.items():
        volts = found.volts.robots.get(robot_id)
        if volts is None:
            said.append(
                f"{name} has no current build with a power network: its batteries are chosen by charge and wear."
            )
            continue
        if not volts.limit_words:
            said.append(
                f"No component of {name} says the lowest voltage it works at: margins are counted from 0 V."
            )
        else:
            said.append(f"{name}: {volts.limit_words}.")
        said += _source_words(name, volts.source, found.cart)
    return said


_SOURCES = {
    STUDY: "simulated matches (one in twenty falls lower), moved to lower charge by the solved push",
    PUSH: "the solved push, for there is no match study of today's build with",
    STAND_IN: "the weakest measured battery, for never measured:",
    NEW: "a new battery of the build's model, for no battery was measured:",
    NONE: "nothing: neither batteries nor the build's model tell a resistance:",
}


def _source_words(name: str, source: Sequence[str], cart: Sequence[CartRow]) -> list[str]:
    """One sentence per kind of source; the codes it holds for."""
    codes: dict[str, list[str]] = {}
    for kind, row in zip(source, cart, strict=True):
        if row.state != CartState.OUT:
            codes.setdefault(kind, []).append(row.battery.code)
    said = []
    for kind, those in codes.items():
        named = "" if kind == STUDY and len(codes) == 1 else f" {', '.join(those)}"
        colon = ":" if named and kind == STUDY else ""
        said.append(f"Lowest voltages of {name} by {_SOURCES[kind]}{colon}{named}.")
    return said


def _charge_words(found: Situation) -> list[str]:
    unknown = [r.battery.code for r in found.cart if r.charge_frac is None and r.state != CartState.OUT]
    rest = [
        r.battery.code for r in found.cart if r.level.source == LevelSource.REST and r.state != CartState.OUT
    ]
    said = []
    if unknown:
        said.append(f"State of charge not known, taken as half empty: {', '.join(unknown)}.")
    if rest:
        said.append(f"State of charge by rest voltage only, worth about ±15 %: {', '.join(rest)}.")
    return said


def _used_words(found: Situation) -> list[str]:
    named = {match.robot_id: match.robot.name for match in found.ahead}
    return [f"{name}: {found.rows.expected.of(robot_id).words}." for robot_id, name in named.items()]


def _charger_words(found: Situation) -> list[str]:
    if not found.places:
        return ["No charger is entered: nothing can be charged between matches."]
    bare = [place.charger.name for place in found.places if not place.charger.current_a]
    if not bare:
        return []
    return [f"Current not entered, {ASSUMED_CHARGER_A:g} A assumed (0.3 of 20 Ah): {', '.join(bare)}."]


def _left_out(found: Situation) -> list[str]:
    """Batteries that may not go out, and matches nobody noted a battery for."""
    said = []
    for row in found.cart:
        if not any(found.judged.may(row.battery)):
            said.append(
                f"{row.battery.code} stays out: {found.judged.why_not(row.battery)}".rstrip(".") + "."
            )
        elif not found.judged.may(row.battery)[0]:
            said.append(f"{row.battery.code} goes out for practice only.")
    for row in found.cart:
        settles = found.judged.unsure(row.battery)
        if settles is not None:
            said.append(_unsure_words(row.battery.code, settles))
    silent = [match.number for match, outing in found.behind if outing is None]
    if silent:
        said.append(f"No battery was noted for match {', '.join(silent)}: what it took is not counted.")
    return said


def _unsure_words(code: str, settles: str) -> str:
    how = f" {settles}" if settles else ""
    said = f"{code} cannot be judged yet and counts as one that may go out, with {UNSURE_V:g} V less expected of it."
    return f"{said}{how}".rstrip(".") + "."


def uses_words(found: Assembled, answer: Plan) -> str:
    """How often each battery goes out, most first."""
    counts = Counter(int(b) for b in answer.battery if b >= 0)
    named = [f"{found.situation.cart[b].battery.code} {n}x" for b, n in counts.most_common()]
    return ", ".join(named)


def clock(moment: datetime) -> str:
    return f"{timezone.localtime(moment):%H:%M}"
