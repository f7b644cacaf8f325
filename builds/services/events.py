"""Events: who and what goes, the matches and their times, how batteries are handled there."""

from __future__ import annotations

from collections.abc import Iterable
from datetime import datetime, timedelta

from django.db import transaction
from django.utils import timezone

from builds.models import Event, Handling, Match, Robot
from inventory.models import Battery, Charger
from inventory.services.batteries import local_words
from shared.access import Can, Scope
from shared.errors import Conflict, DomainError
from shared.models import JobRun, TeamOwned
from shared.records import record_save, sweeps_after

#: A match that moves by more than a day is another match of the schedule.
MOST_MOVE_MIN = 24 * 60
#: No step of handling a battery takes longer than a night.
MOST_HANDLING_MIN = 12 * 60
HANDLING_FIELDS = (
    "ready_before_min", "back_after_min", "cool_min", "absorption_min", "rest_min", "least_charge_frac",
)  # fmt: skip


def event_save(
    *,
    scope: Scope,
    event: Event,
    robots: Iterable[Robot] | None = None,
    batteries: Iterable[Battery] | None = None,
    chargers: Iterable[Charger] | None = None,
    trigger: str = JobRun.Trigger.EDIT,
) -> Event:
    """Save an event and, where given, which robots, batteries and chargers go."""
    scope.require(Can.SUPPLY)
    going: dict[str, Iterable[TeamOwned] | None] = {
        "robots": robots, "batteries": batteries, "chargers": chargers
    }  # fmt: skip
    with transaction.atomic():
        record_save(scope=scope, instance=event, need=Can.SUPPLY, trigger=trigger)
        for name, rows in going.items():
            if rows is not None:
                _set_going(scope, event, name, list(rows))
        sweeps_after([event], scope=scope, trigger=trigger)
    return event


def _set_going(scope: Scope, event: Event, name: str, rows: list[TeamOwned]) -> None:
    for row in rows:
        if row.team_id != scope.team.pk:
            raise Conflict(f"{row} belongs to another team", field=name, value=str(row))
    getattr(event, name).set(rows)


def match_save(*, scope: Scope, match: Match, trigger: str = JobRun.Trigger.EDIT) -> Match:
    """Save a match of a robot that goes to the event."""
    scope.require(Can.WORK)
    if match.robot_id and match.event_id and not match.event.robots.filter(pk=match.robot_id).exists():
        raise DomainError(
            f"{match.robot} does not go to {match.event}",
            field="robot",
            value=match.robot.code,
            remedy="Add the robot to the event first",
        )
    return record_save(scope=scope, instance=match, trigger=trigger)


def matches_shift(
    *,
    scope: Scope,
    event: Event,
    from_match: Match,
    minutes: int,
    later: bool = True,
    was: datetime | None = None,
    trigger: str = JobRun.Trigger.EDIT,
) -> list[Match]:
    """Move a match and, if ``later``, all that begin after it on that day; returns those that moved.

    ``was`` is the start the person saw: when it has moved as asked already (a second tap, or two people who heard the
    same announcement), nothing moves again.
    """
    scope.require(Can.WORK)
    _check_minutes(minutes)
    with transaction.atomic():
        # Whoever moves matches of one event queues here: two at once would move some of them twice.
        held = scope.get(Event.objects.select_for_update(no_key=True), pk=event.pk)
        # Its matches are held before any is written: one called off in the same second stays called off.
        list(Match.objects.filter(event=held).select_for_update(no_key=True).order_by("pk"))
        first = scope.get(Match.objects.filter(event=held).select_related("event", "robot"), pk=from_match.pk)
        step = timedelta(minutes=minutes)
        if was is not None and first.starts_at != was:
            if first.starts_at == was + step:
                return []
            raise Conflict(
                f"Match {first.number} starts at {local_words(first.starts_at)} by now",
                field="was",
                value=local_words(was),
                remedy="Look at the schedule and move it again if it is still wrong",
            )
        rows = [first, *(_later_that_day(first) if later else ())]
        # A moved match may not take the number or place of another, so the order does not matter.
        for match in rows:
            match.starts_at += step
            record_save(scope=scope, instance=match, trigger=trigger)
        return rows


def _check_minutes(minutes: int) -> None:
    if minutes and abs(minutes) <= MOST_MOVE_MIN:
        return
    raise DomainError(
        f"A match cannot be moved by {minutes} minutes",
        field="minutes",
        value=minutes,
        remedy=f"Between 1 and {MOST_MOVE_MIN} minutes, with a minus for earlier",
    )


def _later_that_day(first: Match) -> list[Match]:
    day_end = timezone.localtime(first.starts_at).replace(hour=0, minute=0, second=0, microsecond=0)
    rows = Match.objects.filter(
        event=first.event_id, starts_at__gte=first.starts_at, starts_at__lt=day_end + timedelta(days=1)
    )
    return list(rows.exclude(pk=first.pk).select_related("event", "robot").order_by("starts_at", "pk"))


def match_call_off(
    *, scope: Scope, match: Match, called_off: bool = True, trigger: str = JobRun.Trigger.EDIT
) -> Match:
    """A match is not played and needs no battery; or it is played after all."""
    scope.require(Can.WORK)
    with transaction.atomic():
        now = scope.get(Match.objects.select_for_update(no_key=True), pk=match.pk)
        if now.called_off == called_off:
            return now
        now.called_off = called_off
        return record_save(scope=scope, instance=now, trigger=trigger)


def handling_save(*, scope: Scope, handling: Handling, trigger: str = JobRun.Trigger.EDIT) -> Handling:
    """How long each step takes at an event; the event has one of these, however often it is entered."""
    scope.require(Can.SUPPLY)
    _check_handling(handling)
    with transaction.atomic():
        event = scope.get(Event.objects.select_for_update(no_key=True), pk=handling.event_id)
        standing = Handling.objects.filter(event=event).first()
        if standing is not None and handling._state.adding:
            for name in HANDLING_FIELDS:
                setattr(standing, name, getattr(handling, name))
            handling = standing
        return record_save(scope=scope, instance=handling, need=Can.SUPPLY, trigger=trigger)


def _check_handling(handling: Handling) -> None:
    for name in HANDLING_FIELDS[:-1]:
        minutes = getattr(handling, name)
        if minutes is not None and not 0 <= minutes <= MOST_HANDLING_MIN:
            raise DomainError(
                f"{minutes:g} minutes cannot be right",
                field=name,
                value=minutes,
                remedy=f"Between 0 and {MOST_HANDLING_MIN} minutes",
            )
