"""Is this battery ready for this match? One word, its weight, and the sentence that says what to do."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime, timedelta

from django.utils import timezone

from builds.models import Handling, Match, Outing
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
    handling: Handling,
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
    told = unready(row, now, handling.least_charge_frac)
    if told is None:
        return _ready(row)
    if row.state == CartState.CHARGING:
        return _charging(row, step, due_at, handling) or told
    return _planned(row, step, due_at, now) or _by_itself(row, due_at) or told


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


def unready(row: CartRow, now: datetime, least_frac: float) -> Ready | None:
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
        weight = "watch" if _enough(row, least_frac) else "fix"
        return Ready(
            weight, "On charger", f"{code} is {_percent(row)}, on {row.charger}{_until(row.ready_at)}."
        )
    if row.state in (CartState.COOLING, CartState.RESTING):
        word = str(row.state.label)
        return Ready("fix", word, f"{code} is {word.lower()}{_until(row.next_at)}, {_percent(row)}.")
    if row.state == CartState.WAITING:
        return Ready("stop", "Not charged", f"{code} is {_percent(row)} and waits for a charger.")
    return Ready("unknown", "Stored", f"{code} was not used for days: measure it at rest before it goes out.")


def _logged(outing: Outing) -> Ready:
    at = _clock(outing.started_at)
    volts = f" at {outing.start_rest_v:g} V" if outing.start_rest_v is not None else ""
    if outing.in_robot:
        return Ready("ok", "In the robot", f"Went in at {at}{volts}.")
    return Ready("ok", "Came out again", f"Went in at {at}{volts}.")


def _ready(row: CartRow) -> Ready:
    if row.state == CartState.CHARGING:
        return Ready("ok", "Ready", f"On {row.charger}, full and rested: take it off.", row.ready_at)
    return Ready("ok", "Ready", f"{_percent(row).capitalize()}.")


def _charging(row: CartRow, step: StepView | None, due_at: datetime, handling: Handling) -> Ready | None:
    """On a charger: full in time, charged enough by then although not full, or too late."""
    place, due = f"On {row.charger}", _clock(due_at)
    if row.ready_at is not None and row.ready_at <= due_at:
        full, due = _clocks(row.ready_at, due_at)
        sentence = f"{place}; full and rested at {full}, needed by {due}."
        return Ready("watch", "Charging, in time", sentence, row.ready_at)
    planned = step is not None and step.ready_at is not None and step.ready_at <= due_at
    enough = _enough(row, handling.least_charge_frac)
    if planned or enough:
        off_at = due_at - timedelta(minutes=handling.rest_min)
        sentence = (
            f"{place}, {_percent(row)}: not full by {due}, but enough. Take it off at {_clock(off_at)}."
        )
        return Ready("watch", "Charged enough" if enough else "Charging, enough by then", sentence)
    return None if row.ready_at is None else _late("Charging", place, row.ready_at, due_at)


def _planned(row: CartRow, step: StepView | None, due_at: datetime, now: datetime) -> Ready | None:
    """The plan charges it before this match: where and from when on."""
    if step is None or step.charger is None or step.charge_from is None or step.ready_at is None:
        return None
    when = "now" if step.charge_from <= now else f"at {_clock(step.charge_from)}"
    place = f"Goes on {step.charger} {when}"
    if step.ready_at > due_at:
        return _late("To be charged", place, step.ready_at, due_at)
    first = {CartState.COOLING: "Cools first", CartState.IN_ROBOT: "In a robot"}.get(
        row.state, "To be charged"
    )
    ready, due = _clocks(step.ready_at, due_at)
    return Ready("watch", first, f"{place}; ready at {ready}, needed by {due}.")


def _by_itself(row: CartRow, due_at: datetime) -> Ready | None:
    """It rests or cools and is ready without anybody doing anything."""
    if row.state not in (CartState.RESTING, CartState.COOLING) or row.ready_at is None:
        return None
    word = str(row.state.label)
    if row.ready_at > due_at:
        return _late(word, f"{_percent(row).capitalize()}, {word.lower()}", row.ready_at, due_at)
    ready, due = _clocks(row.ready_at, due_at)
    sentence = f"{_percent(row).capitalize()}; ready at {ready}, needed by {due}."
    return Ready("watch", f"{word}, in time", sentence, row.ready_at)


def _late(word: str, place: str, ready_at: datetime, due_at: datetime) -> Ready:
    ready, due = _clocks(ready_at, due_at)
    sentence = f"{place}; ready at {ready}, but needed by {due}."
    return Ready("fix", f"{word}, too late", sentence, ready_at)


def _enough(row: CartRow, least_frac: float) -> bool:
    return row.charge_frac is not None and row.charge_frac >= least_frac - 1e-9


def _clock(moment: datetime) -> str:
    return f"{timezone.localtime(moment):%H:%M}"


def _clocks(ready_at: datetime, due_at: datetime) -> tuple[str, str]:
    """Both moments by the clock, and by the day where they lie on two."""
    ready, due = timezone.localtime(ready_at), timezone.localtime(due_at)
    form = "%H:%M" if ready.date() == due.date() else "%a %H:%M"
    return f"{ready:{form}}", f"{due:{form}}"


def _percent(row: CartRow) -> str:
    if row.charge_frac is None:
        return "of unknown charge"
    return f"{format_figure(100 * row.charge_frac, 0).strip()} % charged"


def _until(moment: datetime | None) -> str:
    return f" until {_clock(moment)}" if moment else ""


def _robot(outing: Outing | None) -> str:
    return outing.robot.name if outing is not None and outing.robot is not None else "a robot"
