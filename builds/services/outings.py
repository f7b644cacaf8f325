"""A battery goes into a robot and comes out again: entered as it happens, or noted later."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime

from django.db import transaction
from django.db.models import Q
from django.utils import timezone

from builds.models import Match, Outing, Robot
from inventory.models import Battery, BatteryState, Charge
from inventory.services.batteries import DOUBLE_TAP, charger_off, local_words
from inventory.services.quantities import checked_moment
from inventory.services.volts import LOWEST, REST, checked_volts
from shared.access import Can, Scope
from shared.errors import Conflict, DomainError
from shared.models import JobRun
from shared.records import record_save

#: Figures of an outing that are often known only later.
FIGURES = ("end_rest_v", "lowest_v", "used_ah")


def outing_start(
    *,
    scope: Scope,
    battery: Battery,
    robot: Robot | None = None,
    match: Match | None = None,
    start_rest_v: float | None = None,
    started_at: datetime | None = None,
    note: str = "",
    although_out_of_service: bool = False,
    trigger: str = JobRun.Trigger.EDIT,
) -> Outing:
    """A battery goes into a robot: it comes off its charger, and the battery that was in there comes out.

    A second tap and an entry sent again answer with the outing that stands. An entry that arrives late, when the
    robot has had another battery since, takes its place in the past and ends where the next one began.
    """
    scope.require(Can.WORK)
    checked_volts(start_rest_v, REST, field="start_rest_v")
    into = _robot_for(match, robot)
    with transaction.atomic():
        # Robots are locked before batteries, everywhere: swaps of one robot queue here.
        into = scope.get(Robot.objects.select_for_update(no_key=True), pk=into.pk)
        now = _hold(scope, battery)
        # Just now is when its turn has come: who waited for the lock was not there earlier.
        moment = checked_moment(started_at or timezone.now())
        standing = _standing(now, into, match, moment, exact=started_at is not None)
        if standing is None or (match is not None and standing.match_id is None):
            then = _as_it_was(now, moment) if started_at else now
            _check_goes(then, match, although_out_of_service)
        if standing is not None:
            return _filled(scope, standing, match, {"start_rest_v": start_rest_v}, trigger)
        # Ended in this order, so that neither constraint (one battery per robot, one robot per battery) is met.
        until = _make_room(scope, now, into, moment, trigger)
        if not Charge.objects.filter(battery=now, ended_at=None, started_at__gt=moment).exists():
            charger_off(scope, now, moment, trigger)
        return record_save(
            scope=scope,
            instance=Outing(
                team=scope.team,
                battery=now,
                robot=into,
                match=match,
                started_at=moment,
                in_robot=until is None,
                ended_at=until,
                start_rest_v=start_rest_v,
                by=scope.user,
                note=note,
            ),
            trigger=trigger,
        )


def outing_end(
    *,
    scope: Scope,
    outing: Outing,
    end_rest_v: float | None = None,
    lowest_v: float | None = None,
    used_ah: float | None = None,
    ended_at: datetime | None = None,
    trigger: str = JobRun.Trigger.EDIT,
) -> Outing:
    """The battery came out, with what is known of it. Of one that is out already only what is missing is filled in."""
    scope.require(Can.WORK)
    given = {"end_rest_v": end_rest_v, "lowest_v": lowest_v, "used_ah": used_ah}
    _check_figures(given)
    with transaction.atomic():
        _hold(scope, outing.battery)
        moment = checked_moment(ended_at or timezone.now())
        row = scope.get(Outing.objects.select_related("battery", "robot", "match"), pk=outing.pk)
        if row.ended_at is None:
            if moment < row.started_at:
                raise DomainError(
                    f"{row.battery.code} went out at {local_words(row.started_at)} and cannot come back before that",
                    field="ended_at",
                    value=local_words(moment),
                    remedy="Give the time it came out",
                )
            row.in_robot, row.ended_at = False, moment
            record_save(scope=scope, instance=row, trigger=trigger)
        return _filled(scope, row, None, given, trigger)


@dataclass(frozen=True)
class Whereabouts:
    """How a person who does not know the number of an outing names it: by its robot or by its battery."""

    robot: Robot | None = None
    battery: Battery | None = None

    def __str__(self) -> str:
        return f"{self.battery or self.robot}"


def outing_end_of(
    *,
    scope: Scope,
    where: Whereabouts,
    ended_at: datetime | None = None,
    end_rest_v: float | None = None,
    lowest_v: float | None = None,
    used_ah: float | None = None,
    trigger: str = JobRun.Trigger.EDIT,
) -> Outing:
    """The same for the battery in a robot, or the robot a battery is in, as it was at that moment."""
    scope.require(Can.WORK)
    moment = checked_moment(ended_at or timezone.now())
    rows = scope.rows(Outing).filter(started_at__lte=moment)
    if where.robot is not None:
        rows = rows.filter(robot=where.robot)
    if where.battery is not None:
        rows = rows.filter(battery=where.battery)
    row = rows.order_by("-in_robot", "-started_at").first() if (where.robot or where.battery) else None
    if row is None:
        raise Conflict(
            f"Nothing is noted to have gone out with {where}",
            field="battery" if where.battery else "robot",
            value=str(where),
            remedy="Enter that it went out first",
        )
    return outing_end(
        scope=scope, outing=row, ended_at=ended_at, end_rest_v=end_rest_v, lowest_v=lowest_v, used_ah=used_ah,
        trigger=trigger,
    )  # fmt: skip


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
    """Note an outing afterwards; ``although_out_of_service`` notes what should not have happened but did."""
    scope.require(Can.WORK)
    checked_volts(start_rest_v, REST, field="start_rest_v")
    _check_figures({"end_rest_v": end_rest_v, "lowest_v": lowest_v, "used_ah": used_ah})
    if match is not None:
        robot = _robot_for(match, robot)
    with transaction.atomic():
        now = _hold(scope, battery)
        moment = checked_moment(started_at or timezone.now())
        since = moment if started_at else moment - DOUBLE_TAP
        for row in Outing.objects.filter(battery=now, started_at__range=(since, moment)):
            if (row.robot_id, row.match_id) == (robot and robot.pk, match and match.pk):
                return row
        if not although_out_of_service:
            check_fit(now, match)
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


def _check_goes(battery: Battery, match: Match | None, although_out_of_service: bool) -> None:
    if match is not None and match.called_off:
        raise DomainError(
            f"Match {match.number} is called off",
            field="match",
            value=match.number,
            remedy="Choose another match, or say that it is played after all",
        )
    if not although_out_of_service:
        check_fit(battery, match)


def check_fit(battery: Battery, match: Match | None) -> None:
    """Refuse a battery that its state keeps from this match, or from practice."""
    practice = match is None or match.importance == Match.Importance.PRACTICE
    if battery.state == BatteryState.IN_SERVICE or (battery.state == BatteryState.PRACTICE and practice):
        return
    raise DomainError(
        f"{battery.code} must not go out: {battery.get_state_display().lower()} ({battery.state_reason})",
        field="battery",
        value=battery.code,
        remedy="Take another battery; if it has been out already, say so and it is logged",
    )


def _as_it_was(battery: Battery, moment: datetime) -> Battery:
    """The battery as it stood then: an entry that arrives late is judged by what was known when it was made."""
    then = battery.history.filter(history_date__lte=moment).order_by("-history_date").first()
    return battery if then is None else then.instance


def _hold(scope: Scope, battery: Battery) -> Battery:
    return scope.get(Battery.objects.select_for_update(no_key=True), pk=battery.pk)


def _robot_for(match: Match | None, robot: Robot | None) -> Robot:
    if match is not None and robot is not None and robot.pk != match.robot_id:
        raise DomainError(
            f"Match {match.number} is one of {match.robot}, not of {robot}", field="robot", value=robot.code
        )
    if match is not None:
        return match.robot
    if robot is None:
        raise DomainError(
            "Say into which robot it went",
            field="robot",
            remedy="Choose the match, or the robot for practice",
        )
    return robot


def _check_figures(given: dict[str, float | None]) -> None:
    for name, span in (("end_rest_v", REST), ("lowest_v", LOWEST)):
        checked_volts(given[name], span, field=name)


def _standing(
    battery: Battery, robot: Robot, match: Match | None, moment: datetime, *, exact: bool
) -> Outing | None:
    """The outing that this entry means once more."""
    mine = Outing.objects.filter(battery=battery, robot=robot)
    if exact and (sent_again := mine.filter(started_at=moment).first()) is not None:
        return sent_again
    inside = mine.filter(in_robot=True, started_at__lte=moment).first()
    if inside is not None and match in (None, inside.match):
        return inside
    # It was put in before anybody said for which match.
    return inside if inside is not None and inside.match_id is None else None


def _filled(
    scope: Scope, row: Outing, match: Match | None, figures: dict[str, float | None], trigger: str
) -> Outing:
    """An outing with what was not known of it yet; what stands is not written over in passing."""
    changed = False
    if match is not None and row.match_id is None:
        row.match, changed = match, True
    for name, value in figures.items():
        known = getattr(row, name)
        if value is None or known == value:
            continue
        if known is not None:
            raise Conflict(
                f"{row.battery.code} has {known:g} noted for that outing already",
                field=name,
                value=value,
                remedy="Correct the outing if that was wrong",
            )
        setattr(row, name, value)
        changed = True
    return record_save(scope=scope, instance=row, trigger=trigger) if changed else row


def _make_room(
    scope: Scope, battery: Battery, robot: Robot, moment: datetime, trigger: str
) -> datetime | None:
    """End what was in the robot; a moment if the robot has had another battery since: then this one is out again."""
    elsewhere = Outing.objects.filter(battery=battery, in_robot=True).exclude(robot=robot)
    there = elsewhere.select_related("robot").first()
    if there is not None and there.started_at <= moment:
        raise Conflict(
            f"{battery.code} is in {there.robot} since {local_words(there.started_at)}",
            field="battery",
            value=battery.code,
            remedy=f"Take it out of {there.robot} first, or scan another battery",
        )
    for former in Outing.objects.filter(robot=robot, in_robot=True, started_at__lte=moment):
        former.in_robot, former.ended_at = False, moment
        record_save(scope=scope, instance=former, trigger=trigger)
    later = Outing.objects.filter(Q(robot=robot) | Q(battery=battery), started_at__gt=moment)
    charged = Charge.objects.filter(battery=battery, started_at__gt=moment).order_by("started_at").first()
    after = later.order_by("started_at").first()
    ends = [row.started_at for row in (after, charged) if row is not None]
    return min(ends, default=None)
