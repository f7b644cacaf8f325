"""The matches of an event with their batteries as iCalendar (RFC 5545), for the calendars of whoever carries them."""

from __future__ import annotations

import uuid
from datetime import UTC, datetime, timedelta

from icalendar import Alarm, Calendar, vDuration
from icalendar import Event as Entry

from builds.models import Event, Match
from builds.rotation.words import against_brown_out
from builds.selectors.rotation import PlanView, StepView, current_plan
from shared.access import Scope

#: Names our entries apart from everybody else's (RFC 9562, name-based); never changes.
_NAMESPACE = uuid.UUID("6d0b5a1e-3b0e-5c55-9a51-2f6b6f0c7a10")
PRODUCT = "-//Loadstock//Battery rotation//EN"


def match_uid(team_slug: str, match_id: int) -> str:
    """The same for one match for ever, whatever becomes of its time, its battery or its plan.

    >>> match_uid("gull-point", 7) == match_uid("gull-point", 7) != match_uid("far-shore", 7)
    True
    """
    return str(uuid.uuid5(_NAMESPACE, f"{team_slug}/match/{match_id}"))


def event_calendar(scope: Scope, event: Event, now: datetime) -> bytes:
    """Every match of the event, those called off as cancelled; times in UTC. Six queries."""
    view = current_plan(scope, event)
    steps = {step.match.pk: step for step in view.steps} if view else {}
    calendar = Calendar()
    calendar.add("prodid", PRODUCT)
    calendar.add("version", "2.0")
    calendar.add("calscale", "GREGORIAN")
    calendar.add("method", "PUBLISH")
    calendar.add("x-wr-calname", f"{event.name}: {scope.team.name}")
    matches = (
        scope.rows(Match).filter(event=event).select_related("robot__season").order_by("starts_at", "pk")
    )
    for match in matches:
        calendar.add_component(_entry(scope, event, match, steps.get(match.pk), view, now))
    return bytes(calendar.to_ical())


def _entry(
    scope: Scope, event: Event, match: Match, step: StepView | None, view: PlanView | None, now: datetime
) -> Entry:
    entry = Entry()
    entry.add("uid", match_uid(scope.team.slug, match.pk))
    entry.add("dtstamp", _utc(view.plan.asked_at if view else now))
    start = _utc(match.starts_at)
    entry.add("dtstart", start)
    entry.add("dtend", start + timedelta(seconds=match.robot.season.match_s))
    entry.add("summary", _summary(match, step))
    entry.add("description", _description(match, step))
    if event.place:
        entry.add("location", event.place)
    entry.add("status", "CANCELLED" if match.called_off else "CONFIRMED")
    entry.add("transp", "OPAQUE")
    entry.add("categories", [str(match.get_importance_display())])
    if view is not None and not match.called_off:
        entry.add_component(_alarm(match, step, view.handling.ready_before_min))
    return entry


def _summary(match: Match, step: StepView | None) -> str:
    words = f"Match {match.number}, {match.robot.name}"
    if match.called_off:
        return f"{words}: called off"
    battery = _battery(step)
    return f"{words}: {battery}" if battery else words


def _battery(step: StepView | None) -> str:
    """The battery that went out, else the one of the plan."""
    if step is None:
        return ""
    code = step.done.battery.code if step.done else step.battery.code if step.battery else ""
    return f"battery {code}" if code else "no battery"


def _description(match: Match, step: StepView | None) -> str:
    lines = []
    if step is not None and not match.called_off:
        battery = _battery(step)
        lines.append(battery[:1].upper() + battery[1:])
        if step.charge_frac is not None:
            lines.append(f"Charged to {step.charge_frac:.0%}")
        if step.margin_v is not None:
            lines.append(f"Lowest voltage expected {against_brown_out(step.margin_v)}")
    if match.carrier:
        lines.append(f"Carried by {match.carrier}")
    return "\n".join(lines)


def _alarm(match: Match, step: StepView | None, before_min: float) -> Alarm:
    """When the battery must be in the robot."""
    alarm = Alarm()
    alarm.add("action", "DISPLAY")
    alarm.add("description", f"{_summary(match, step)} must be in now")
    alarm.add("trigger", vDuration(-timedelta(minutes=before_min)))
    return alarm


def _utc(moment: datetime) -> datetime:
    return moment.astimezone(UTC).replace(microsecond=0)
