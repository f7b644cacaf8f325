"""Events, and what batteries did there."""

from __future__ import annotations

from collections.abc import Iterable
from datetime import datetime

from django.db import transaction
from django.utils import timezone

from builds.models import Event, Match, Outing, Robot
from inventory.models import Battery, BatteryState
from inventory.services.batteries import DOUBLE_TAP
from inventory.services.quantities import checked_moment
from shared.access import Can, Scope
from shared.errors import Conflict, DomainError
from shared.models import JobRun
from shared.records import record_save, sweeps_after


def event_save(
    *,
    scope: Scope,
    event: Event,
    robots: Iterable[Robot] | None = None,
    trigger: str = JobRun.Trigger.EDIT,
) -> Event:
    """Save an event and, when ``robots`` is given, which robots go."""
    scope.require(Can.SUPPLY)
    with transaction.atomic():
        record_save(scope=scope, instance=event, need=Can.SUPPLY, trigger=trigger)
        if robots is not None:
            chosen = list(robots)
            for robot in chosen:
                if robot.team_id != scope.team.pk:
                    raise Conflict(f"{robot} belongs to another team", field="robots", value=robot.code)
            event.robots.set(chosen)
            sweeps_after([event], scope=scope, trigger=trigger)
    return event


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


def outing_log(
    *,
    scope: Scope,
    battery: Battery,
    robot: Robot | None = None,
    match: Match | None = None,
    started_at: datetime | None = None,
    start_rest_v: float | None = None,
    end_rest_v: float | None = None,
    lowest_v: float | None = None,
    used_ah: float | None = None,
    note: str = "",
    although_out_of_service: bool = False,
    trigger: str = JobRun.Trigger.EDIT,
) -> Outing:
    """Log that a battery went out; ``although_out_of_service`` logs what should not have happened but did."""
    scope.require(Can.WORK)
    moment = checked_moment(started_at or timezone.now())
    if match is not None:
        robot = _robot_of(match, robot)
    with transaction.atomic():
        now = scope.get(Battery.objects.select_for_update(), pk=battery.pk)
        since = moment if started_at else moment - DOUBLE_TAP
        for row in Outing.objects.filter(battery=now, started_at__range=(since, moment)):
            if (row.robot_id, row.match_id) == (robot and robot.pk, match and match.pk):
                return row
        if not although_out_of_service:
            _check_fit(now, match)
        return record_save(
            scope=scope,
            instance=Outing(
                team=scope.team,
                battery=now,
                robot=robot,
                match=match,
                started_at=moment,
                start_rest_v=start_rest_v,
                end_rest_v=end_rest_v,
                lowest_v=lowest_v,
                used_ah=used_ah,
                by=scope.user,
                note=note,
            ),
            trigger=trigger,
        )


def _robot_of(match: Match, robot: Robot | None) -> Robot:
    if robot is not None and robot.pk != match.robot_id:
        raise DomainError(
            f"Match {match.number} is one of {match.robot}, not of {robot}", field="robot", value=robot.code
        )
    return match.robot


def _check_fit(battery: Battery, match: Match | None) -> None:
    practice = match is None or match.importance == Match.Importance.PRACTICE
    if battery.state == BatteryState.IN_SERVICE or (battery.state == BatteryState.PRACTICE and practice):
        return
    raise DomainError(
        f"{battery.code} must not go out: {battery.get_state_display().lower()} ({battery.state_reason})",
        field="battery",
        value=battery.code,
        remedy="Take another battery; if it has been out already, say so and it is logged",
    )
