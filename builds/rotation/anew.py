"""Why a plan must be made anew: what it was worked out from against how things stand now.

A swap or a charge that went as planned changes nothing. The first reason in this order is told: matches, times, cart,
swap, figures.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import Any

from builds.models import RotationPlan, RotationStep
from builds.rotation.assemble import charger_minutes
from builds.rotation.situation import Situation, fact
from builds.selectors.cart import CartRow, CartState
from shared.planning.charging import minutes_to_fraction

#: A charge that begins this much later than planned is still as planned, if its battery will be ready in time.
PATIENCE_MIN = 5.0
#: Voltages that differ by less change no plan (they are told to a tenth).
SAME_V = 0.1
#: Expected charge of a match that differs by less changes no plan.
SAME_AH = 0.5
#: So many matches are named in a sentence.
_NAMED = 4

Reason = RotationPlan.Reason


@dataclass(frozen=True)
class Anew:
    """The reason of the new plan, and a sentence for whoever wonders."""

    reason: RotationPlan.Reason
    sentence: str


def why_anew(plan: RotationPlan, steps: Sequence[RotationStep], found: Situation) -> Anew | None:
    """Why the plan does not hold any more; None while it does. Reads nothing."""
    told = plan.told.get("facts") or {}
    reasons = (
        _matches(told, found),
        _times(told, found),
        _cart(told, found),
        _swaps(steps, found),
        _late(steps, found),
        _figures(told, found),
    )
    return next((anew for anew in reasons if anew is not None), None)


def _matches(told: Mapping[str, Any], found: Situation) -> Anew | None:
    """Added, called off, counting otherwise."""
    before, now = fact(told, "matches"), fact(found.facts, "matches")
    passed = fact(found.facts, "done")
    done = fact(told, "done")
    added = [m for pk, m in now.items() if pk not in before and pk not in done]
    again = [m for pk, m in now.items() if pk not in before and pk in done]
    gone = [m for pk, m in before.items() if pk not in now and pk not in passed]
    other = [
        m for pk, m in now.items()
        if pk in before and any(before[pk].get(k) != m[k] for k in ("robot", "weight", "practice"))
    ]  # fmt: skip
    for those, one, many in (
        (added, "was added", "were added"),
        (gone, "is not played", "are not played"),
        (other, "counts differently", "count differently"),
    ):
        if those:
            return Anew(Reason.MATCHES, _named(those, one, many))
    # What was noted of it was taken back, or the battery came out again before it began.
    return (
        Anew(Reason.SWAP, _named(again, "needs a battery again", "need a battery again")) if again else None
    )


def _named(those: Sequence[Mapping[str, Any]], one: str, many: str) -> str:
    numbers = [str(m.get("number", "?")) for m in those]
    if len(numbers) == 1:
        return f"Match {numbers[0]} {one}."
    more = f" and {len(numbers) - _NAMED} more" if len(numbers) > _NAMED else ""
    return f"Matches {', '.join(numbers[:_NAMED])}{more} {many}."


def _times(told: Mapping[str, Any], found: Situation) -> Anew | None:
    before, now = fact(told, "matches"), fact(found.facts, "matches")
    moved = [
        (m, before[pk]["at"], m["at"])
        for pk, m in now.items()
        if pk in before and before[pk]["at"] != m["at"]
    ]
    if not moved:
        return None
    minutes = {round((_moment(at) - _moment(was)) / timedelta(minutes=1)) for _, was, at in moved}
    if len(minutes) == 1:
        (by,) = minutes
        words = f"{abs(by)} min {'later' if by > 0 else 'earlier'}"
        return Anew(Reason.TIMES, _named([m for m, _, _ in moved], f"is {words}", f"are {words}"))
    return Anew(Reason.TIMES, _named([m for m, _, _ in moved], "has another time", "have other times"))


def _cart(told: Mapping[str, Any], found: Situation) -> Anew | None:
    """A battery that joined or left, or may (not) go out now; chargers that joined or left."""
    before, now = fact(told, "batteries"), fact(found.facts, "batteries")
    for pk, battery in now.items():
        if pk not in before:
            return Anew(Reason.BATTERIES, f"{battery['code']} joined the cart.")
        was, may = before[pk].get("may"), battery["may"]
        if was != may:
            words = (
                "may go out again" if sum(may) > sum(was or [0]) else "must not go out as planned any more"
            )
            return Anew(Reason.BATTERIES, f"{battery['code']} {words}.")
    for pk, battery in before.items():
        if pk not in now:
            return Anew(Reason.BATTERIES, f"{battery.get('code', 'A battery')} left the cart.")
    places, places_now = fact(told, "chargers"), fact(found.facts, "chargers")
    if {pk: p[:2] for pk, p in places.items()} != {pk: p[:2] for pk, p in places_now.items()}:
        return Anew(Reason.BATTERIES, "The chargers are others than before.")
    return None


def _swaps(steps: Sequence[RotationStep], found: Situation) -> Anew | None:
    """Another battery than planned went out for a match, or one that is planned went out for none."""
    planned = {step.match_id: step for step in steps if not step.fixed}
    for match, outing in found.behind:
        step = planned.get(match.pk)
        if step is None or outing is None or outing.battery_id == step.battery_id:
            continue
        instead = step.battery.code if step.battery else "no battery"
        return Anew(Reason.SWAP, f"Match {match.number} got {outing.battery.code} instead of {instead}.")
    asked = steps[0].plan.asked_at if steps else found.now
    ahead = {step.battery_id for step in planned.values()} - {None}
    for row in found.cart:
        if row.battery.pk not in ahead:
            continue
        for outing in found.rows.of(row.battery).outings:
            if outing.match_id is None and outing.started_at > asked:
                return Anew(Reason.SWAP, f"{row.battery.code} went out for practice.")
    return None


def _late(steps: Sequence[RotationStep], found: Situation) -> Anew | None:
    """A battery that cannot be ready for its next match, as things stand."""
    ahead = {match.pk: match for match in found.ahead}
    rows = {row.battery.pk: row for row in found.cart}
    for step in _first_of_each([step for step in steps if step.match_id in ahead]):
        match, row = ahead[step.match_id], rows.get(step.battery_id or 0)
        if row is None or step.charge_frac is None:
            continue
        needed = match.starts_at - timedelta(minutes=found.handling.ready_before_min)
        ready = _ready_by(step, row, found)
        if ready is not None and ready > max(needed, found.now) + timedelta(minutes=PATIENCE_MIN):
            return Anew(
                Reason.SWAP, f"{row.battery.code} will not be ready for match {match.number} as planned."
            )
    return None


def _first_of_each(steps: Sequence[RotationStep]) -> Iterator[RotationStep]:
    """The next step of every battery."""
    seen: set[int | None] = {None}
    for step in steps:
        if not step.fixed and step.battery_id not in seen:
            seen.add(step.battery_id)
            yield step


def _ready_by(step: RotationStep, row: CartRow, found: Situation) -> datetime | None:
    """When a battery will have what its step needs, if it goes on its planned charger now; None: it is no question."""
    if row.state == CartState.OUT or row.charge_frac is None or step.charge_frac is None:
        return None
    if row.state in (CartState.READY, CartState.STORED, CartState.RESTING, CartState.IN_ROBOT):
        return None
    if row.charge_frac >= min(step.charge_frac, 1.0) - 0.01:
        return row.next_at if row.state == CartState.COOLING else found.now
    figures = charger_minutes(found, row) or _planned_charger(step, found)
    if figures is None:
        return None
    begins = found.now
    if row.state == CartState.COOLING and row.next_at is not None:
        begins = row.next_at
    minutes = float(
        minutes_to_fraction(row.charge_frac, min(step.charge_frac, 1.0), row.capacity_ah, *figures)
    )
    # A charge that runs is further than one begun anew from the same state of charge.
    whole = row.next_at if row.state == CartState.CHARGING else None
    done = begins + timedelta(minutes=minutes)
    done = min(done, whole) if whole is not None else done
    return done + timedelta(minutes=found.handling.rest_min)


def _planned_charger(step: RotationStep, found: Situation) -> tuple[float, float] | None:
    for place in found.places:
        if place.charger.pk == step.charger_id:
            return place.current_a, place.absorption_min
    return None


def _figures(told: Mapping[str, Any], found: Situation) -> Anew | None:
    """Voltages, charge of a match, or handling that differ by enough to matter."""
    if told.get("handling") != found.facts["handling"]:
        return Anew(Reason.ASKED, "The times for handling were changed.")
    before, now = fact(told, "matches"), fact(found.facts, "matches")
    for pk, match in now.items():
        if pk in before and abs(float(before[pk].get("ah", 0.0)) - float(match["ah"])) > SAME_AH:
            return Anew(Reason.ASKED, "What a match takes out of a battery is known better now.")
    names = {pk: b["code"] for pk, b in fact(found.facts, "batteries").items()}
    volts = fact(told, "volts")
    for robot, known in fact(found.facts, "volts").items():
        was = volts.get(robot) or {"limit": 0.0, "lowest": {}}
        if abs(float(was["limit"]) - float(known["limit"])) > SAME_V:
            return Anew(Reason.ASKED, "The brown-out level of a robot is known better now.")
        for pk, row in known["lowest"].items():
            old = was["lowest"].get(pk)
            if old is None or len(old) != len(row) or max(map(_apart, old, row), default=0.0) > SAME_V:
                return Anew(Reason.ASKED, f"What {names.get(pk, 'a battery')} can do is known better now.")
    return None


def _apart(a: float, b: float) -> float:
    return abs(float(a) - float(b))


def _moment(iso: str) -> datetime:
    return datetime.fromisoformat(iso)
