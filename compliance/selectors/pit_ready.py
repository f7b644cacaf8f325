"""Is this battery ready for this match? One word, its weight, and the sentence that says what to do."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime

from django.utils import timezone

from builds.models import Match, Outing
from builds.selectors.cart import CartRow, CartState
from builds.selectors.next_match import may_go
from builds.selectors.rotation import StepView
from compliance.rules.battery_verdict import HealthVerdict
from inventory.models import Battery
from shared.web.figures import format_figure


@dataclass(frozen=True)
class Ready:
    """``weight`` is a severity (its shape is printed beside the word); ``at``: when it will be ready."""

    weight: str
    word: str
    sentence: str = ""
    at: datetime | None = None

    @property
    def good(self) -> bool:
        return self.weight in ("ok", "watch")


NO_PLAN = Ready("unknown", "No battery planned", "Plan the rotation, or scan the battery that goes in.")


def readiness(
    match: Match,
    battery: Battery | None,
    row: CartRow | None,
    verdict: HealthVerdict | None,
    *,
    step: StepView | None,
    outing: Outing | None,
    due_at: datetime,
    now: datetime,
) -> Ready:
    """How the battery of a match stands: in the robot, ready, in time, too late, not fit."""
    if outing is not None:
        return _logged(outing)
    if battery is None:
        if step is None:
            return NO_PLAN
        return Ready("stop", "No battery left", "None that is fit will be charged in time. See the rotation.")
    if (unfit := fitness(match, battery, verdict)) is not None:
        return unfit
    if row is None:
        return Ready("unknown", "Not on the cart", f"{battery.code} is not among this event's batteries.")
    return _on_cart(row, due_at, now)


def fitness(match: Match | None, battery: Battery, verdict: HealthVerdict | None) -> Ready | None:
    """Why a battery must not go out for this match (None: for practice); None where nothing speaks against it."""
    if verdict is None:
        return None
    practice = match is None or match.importance == Match.Importance.PRACTICE
    if not verdict.may_practice:
        return Ready("stop", verdict.word, f"{battery.code} must not go out. {verdict.sentence}")
    if not verdict.may_match and not practice:
        return Ready("stop", verdict.word, f"{battery.code} is not for matches. {verdict.sentence}")
    return None


def unready(row: CartRow, now: datetime) -> Ready | None:
    """Why a battery may not go out now by its charge and its place; None where it may."""
    code = row.battery.code
    if may_go(row, now):
        return None
    if row.state == CartState.CHARGING and row.ready_at is not None and row.ready_at <= now:
        return None  # full and rested, and on its charger still
    if row.state == CartState.OUT:
        return Ready("stop", "Out of service", f"{code} must not go out. {row.words}.")
    if row.state == CartState.IN_ROBOT:
        return Ready("stop", "In a robot", f"The log has {code} in {_robot(row.outing)}.")
    if row.state == CartState.CHARGING:
        return Ready(
            "fix", "On charger", f"{code} is {_percent(row)}, on {row.charger}{_until(row.ready_at)}."
        )
    if row.state in (CartState.COOLING, CartState.RESTING):
        word = str(row.state.label)
        return Ready("fix", word, f"{code} is {word.lower()}{_until(row.next_at)}, {_percent(row)}.")
    if row.state == CartState.WAITING:
        return Ready("stop", "Not charged", f"{code} is {_percent(row)} and waits for a charger.")
    return Ready("unknown", "Stored", f"{code} was not used for days: measure it at rest before it goes out.")


def _logged(outing: Outing) -> Ready:
    at = f"{timezone.localtime(outing.started_at):%H:%M}"
    volts = f" at {outing.start_rest_v:g} V" if outing.start_rest_v is not None else ""
    if outing.in_robot:
        return Ready("ok", "In the robot", f"Went in at {at}{volts}.")
    return Ready("ok", "Came out again", f"Went in at {at}{volts}.")


def _on_cart(row: CartRow, due_at: datetime, now: datetime) -> Ready:
    told = unready(row, now)
    if told is None and row.state != CartState.CHARGING:
        return Ready("ok", "Ready", f"{_percent(row).capitalize()}.")
    if row.state == CartState.CHARGING and row.ready_at is not None:
        place = f"On {row.charger}"
        if row.ready_at <= now:
            return Ready("ok", "Ready", f"{place}, full and rested: take it off.", row.ready_at)
        return _by(row.ready_at, due_at, "Charging", place)
    if row.state == CartState.RESTING and row.next_at is not None:
        return _by(row.next_at, due_at, "Resting", "Off its charger")
    if row.state == CartState.COOLING and row.ready_at is not None:
        return _by(row.ready_at, due_at, "Cooling", "Charged enough to go again")
    return told or Ready("ok", "Ready")


def _by(ready_at: datetime, due_at: datetime, word: str, place: str) -> Ready:
    """In time, or too late for when it must be in the robot."""
    clock, due = f"{timezone.localtime(ready_at):%H:%M}", f"{timezone.localtime(due_at):%H:%M}"
    if ready_at <= due_at:
        return Ready("watch", f"{word}, in time", f"{place}; ready at {clock}, needed by {due}.", ready_at)
    return Ready("fix", f"{word}, too late", f"{place}; ready at {clock}, but needed by {due}.", ready_at)


def _percent(row: CartRow) -> str:
    if row.charge_frac is None:
        return "of unknown charge"
    return f"{format_figure(100 * row.charge_frac, 0).strip()} % charged"


def _until(moment: datetime | None) -> str:
    return f" until {timezone.localtime(moment):%H:%M}" if moment else ""


def _robot(outing: Outing | None) -> str:
    return outing.robot.name if outing is not None and outing.robot is not None else "a robot"
