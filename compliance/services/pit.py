"""What the pit logs in one go: a swap, with the voltages of what came out and what went in, and the plan made anew."""

from __future__ import annotations

import logging
from dataclasses import dataclass, replace
from datetime import datetime

from django.db import transaction
from django.db.models import Q
from django.utils import timezone

from builds.models import Event, Match, Outing, Robot, RotationPlan
from builds.selectors.rotation import current_plan
from builds.services.events import matches_shift
from builds.services.outings import outing_end, outing_start
from builds.services.rotation import hold_plans
from compliance.selectors.pit import pit
from compliance.selectors.pit_swap import Caution, swap_cautions
from compliance.services.rotation import plan_ask
from inventory.models import Battery, BatteryIncident, BatteryState
from inventory.services.batteries import battery_set_state
from inventory.services.incidents import incident_log
from shared.access import Can, Scope
from shared.errors import Conflict, DomainError

log = logging.getLogger(__name__)


@dataclass(frozen=True)
class Swapped:
    """A swap as it was logged: what went in, what came out, what to mind, what it changed in the plan."""

    outing: Outing
    out: Outing | None
    cautions: tuple[Caution, ...]
    changes: tuple[str, ...]

    @property
    def sentence(self) -> str:
        """What happened, in words."""
        robot = self.outing.robot.name if self.outing.robot else "the robot"
        where = f"{robot} for match {self.outing.match.number}" if self.outing.match else robot
        said = f"{self.outing.battery.code} is in {where}{_volts(self.outing.start_rest_v)}."
        if self.out is not None:
            said += f" {self.out.battery.code} came out{_volts(self.out.end_rest_v)}."
        return said


def swap(
    *,
    scope: Scope,
    event: Event,
    battery: Battery,
    match: Match | None = None,
    robot: Robot | None = None,
    start_rest_v: float | None = None,
    out_end_rest_v: float | None = None,
    out_lowest_v: float | None = None,
    started_at: datetime | None = None,
    although_unfit: bool = False,
) -> Swapped:
    """Log that a battery went into a robot, and what the one that came out reads.

    One that is not fit or not charged is refused unless ``although_unfit`` says that it went in anyway.
    """
    scope.require(Can.WORK)
    robot = _robot(event, match, robot)
    moment = started_at or timezone.now()
    cautions = swap_cautions(pit(scope, event, moment), battery, match, start_rest_v)
    with transaction.atomic():
        # Plans are locked before robots, robots before batteries, everywhere: two swaps of one robot queue here.
        hold_plans(scope, event)
        scope.get(Robot.objects.select_for_update(no_key=True), pk=robot.pk)
        former = _in_robot(scope, robot, moment)
        _hold(scope, {battery.pk} | ({former.battery_id} if former else set()))
        again = former is not None and former.battery_id == battery.pk and former.match_id == _pk(match)
        if not although_unfit and not again:
            _refuse(battery, cautions)
        out = None
        if former is not None and not again:
            out = outing_end(
                scope=scope,
                outing=former,
                end_rest_v=out_end_rest_v,
                lowest_v=out_lowest_v,
                ended_at=started_at,
            )
        outing = outing_start(
            scope=scope,
            battery=battery,
            robot=robot,
            match=match,
            start_rest_v=start_rest_v,
            started_at=started_at,
            although_out_of_service=although_unfit,
        )
    why = f"{battery.code} went into {robot.name}."
    changes = replanned(scope, event, RotationPlan.Reason.SWAP, why)
    return Swapped(outing, out, () if again else cautions, changes)


def _hold(scope: Scope, batteries: set[int]) -> None:
    """Both batteries of a swap at once and in one order, before anything is written of either."""
    list(scope.rows(Battery).filter(pk__in=batteries).select_for_update(no_key=True).order_by("pk"))


def _in_robot(scope: Scope, robot: Robot, moment: datetime) -> Outing | None:
    """What was in the robot at that moment: an entry of the phone may arrive after the next swap."""
    rows = scope.rows(Outing).filter(robot=robot, started_at__lte=moment).select_related("battery")
    rows = rows.filter(Q(in_robot=True) | Q(ended_at__gt=moment))
    return rows.order_by("-started_at").first()


@dataclass(frozen=True)
class Pulled:
    """A battery that left the rotation, and what that changed."""

    battery: Battery
    incident: BatteryIncident
    changes: tuple[str, ...] = ()

    @property
    def sentence(self) -> str:
        """What happened and what to do, in words."""
        why = self.incident.get_kind_display().lower()
        return f"{self.battery.code} is pulled ({why}). Put it aside; nobody charges or uses it."


def battery_pull(
    *,
    scope: Scope,
    event: Event,
    battery: Battery,
    kind: str,
    note: str = "",
    happened_at: datetime | None = None,
) -> Pulled:
    """Take a battery out of the rotation for a reason; it stays aside until a qualified adult has looked at it."""
    with transaction.atomic():
        hold_plans(scope, event)
        incident = incident_log(scope=scope, battery=battery, kind=kind, note=note, happened_at=happened_at)
        now = scope.get(Battery, pk=battery.pk)
        if now.state not in (BatteryState.QUARANTINE, BatteryState.RETIRED):
            reason = f"{incident.get_kind_display()}, pulled at {event.name}"
            now = battery_set_state(scope=scope, battery=now, state=BatteryState.QUARANTINE, reason=reason)
    done = Pulled(now, incident)
    changes = replanned(scope, event, RotationPlan.Reason.BATTERIES, f"{battery.code} is pulled.")
    return replace(done, changes=changes)


@dataclass(frozen=True)
class Moved:
    """Matches that moved, and what that changed; none when they had moved already."""

    matches: tuple[Match, ...]
    minutes: int
    changes: tuple[str, ...] = ()

    @property
    def sentence(self) -> str:
        """What happened, in words."""
        if not self.matches:
            return "Somebody moved it already: nothing moved twice."
        first = self.matches[0]
        more = f" and {len(self.matches) - 1} after it" if len(self.matches) > 1 else ""
        which = "later" if self.minutes > 0 else "earlier"
        starts = f"{timezone.localtime(first.starts_at):%H:%M}"
        return f"Match {first.number}{more}: {abs(self.minutes)} min {which}. It starts at {starts}."


def match_move(
    *,
    scope: Scope,
    event: Event,
    match: Match,
    minutes: int,
    later: bool = False,
    seen: datetime | None = None,
) -> Moved:
    """Move a match, or it and all later ones of the day, by minutes; ``seen``: when the person read the schedule.

    Two people who heard the same announcement move it once: the second is told.
    """
    was = _start_seen(match, seen) if seen is not None else None
    moved = matches_shift(scope=scope, event=event, from_match=match, minutes=minutes, later=later, was=was)
    done = Moved(tuple(moved), minutes)
    return replace(done, changes=replanned(scope, event, RotationPlan.Reason.TIMES, done.sentence))


def _start_seen(match: Match, seen: datetime) -> datetime:
    """When the match was to start, as the schedule stood at that moment."""
    then = match.history.filter(history_date__lte=seen).order_by("-history_date").first()
    return then.starts_at if then is not None else match.starts_at


def replanned(scope: Scope, event: Event, reason: str, why: str = "") -> tuple[str, ...]:
    """Make the plan anew where there is one; says what changed. What was logged stands even if no plan can be made."""
    before = current_plan(scope, event)
    if before is None:
        return ()
    try:
        plan_ask(scope=scope, event=event, reason=reason, why=why)
    except DomainError as refused:
        return (f"The plan is as it was: {refused.sentence}",)
    except (
        Exception
    ):  # an entry of the pit is a fact, and a plan is help: the job that looks at plans tries again
        log.exception("the plan of event %s was not made anew", event.pk)
        return ("The plan is as it was: it could not be made anew. What was entered stands.",)
    after = current_plan(scope, event)
    return after.changes if after is not None and after.plan.pk != before.plan.pk else ()


def _robot(event: Event, match: Match | None, robot: Robot | None) -> Robot:
    if match is not None:
        if match.event_id != event.pk:
            raise Conflict(f"Match {match.number} is not one of {event}", field="match", value=match.number)
        return match.robot
    if robot is None:
        raise DomainError(
            "Say into which robot it went",
            field="robot",
            remedy="Choose the match, or the robot for practice",
        )
    return robot


def _refuse(battery: Battery, cautions: tuple[Caution, ...]) -> None:
    stops = [caution.sentence for caution in cautions if caution.stops]
    if stops:
        raise DomainError(
            " ".join(stops),
            field="although_unfit",
            value=battery.code,
            remedy="Take another battery; if it is in the robot already, say that it went in anyway",
        )


def _pk(match: Match | None) -> int | None:
    return match.pk if match else None


def _volts(volts: float | None) -> str:
    return f" at {volts:g} V" if volts is not None else ""
