"""A whole schedule in at once: shown first, then all or nothing; the same one again moves times and doubles nothing."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime

from django.core.exceptions import ValidationError
from django.db import transaction
from django.utils import timezone

from builds.models import Event, Match, Outing, Robot
from builds.schedule_in import NAMES, Problem, ScheduleRow, read_schedule
from builds.services.events import match_save
from shared.access import Can, Scope
from shared.errors import DomainError
from shared.models import JobRun
from shared.records import errors_by_field

ADD, CHANGE, SAME = "add", "change", "same"


@dataclass(frozen=True)
class Entry:
    """One row of the schedule as it would be written. ``what``: add, change or same; ``changes`` in words."""

    row: int
    match: Match
    what: str
    was: datetime | None = None
    changes: tuple[str, ...] = ()


@dataclass(frozen=True)
class SchedulePlan:
    """What bringing a schedule in would do; with any problem it does nothing."""

    entries: tuple[Entry, ...]
    problems: tuple[Problem, ...]
    left: tuple[Match, ...]

    def count(self, what: str) -> int:
        return sum(entry.what == what for entry in self.entries)

    @property
    def headline(self) -> str:
        """What would happen, in a sentence."""
        if self.problems:
            few = len(self.problems) == 1
            return f"{len(self.problems)} thing{'' if few else 's'} to mend first; nothing was brought in."
        parts = [f"{self.count(ADD)} new", f"{self.count(CHANGE)} changed", f"{self.count(SAME)} as they are"]
        total = len(self.entries)
        return f"{total} match{'es' if total != 1 else ''}: {', '.join(parts)}."


def schedule_plan(*, scope: Scope, event: Event, text: str) -> SchedulePlan:
    """What a schedule would do to an event; writes nothing."""
    scope.require(Can.WORK)
    read = read_schedule(text, event.starts_on, event.ends_on)
    robots = list(event.robots.order_by("code"))
    standing = {
        (match.robot_id, match.number.casefold()): match
        for match in scope.rows(Match).filter(event=event).select_related("robot", "event")
    }
    out = Outing.objects.filter(match__event=event, ended_at__isnull=False)
    played = set(out.values_list("match_id", flat=True))
    problems, entries = list(read.problems), []
    met: dict[tuple[int, str], int] = {}
    for row in read.rows:
        robot = _robot(row, robots, problems)
        if robot is None:
            continue
        key = (robot.pk, row.number.casefold())
        if key in met:
            problems.append(
                Problem(row.row, NAMES["number"], row.number, f"{robot} has this match in row {met[key]} already.",
                        "Give each match of a robot its own number.")
            )  # fmt: skip
            continue
        met[key] = row.row
        entries.append(_entry(scope, event, row, robot, standing.get(key), played))
    problems += _refused(entries)
    left = tuple(match for key, match in standing.items() if key not in met)
    return SchedulePlan(tuple(entries), tuple(sorted(problems, key=lambda p: p.row)), left)


@transaction.atomic
def schedule_import(
    *, scope: Scope, event: Event, text: str, trigger: str = JobRun.Trigger.IMPORT
) -> SchedulePlan:
    """Bring a schedule in, all of it; raises ``DomainError`` with the first problem if there is any."""
    scope.require(Can.WORK)
    # Two people bringing in the same sheet queue here, so that the second one changes nothing.
    held = scope.get(Event.objects.select_for_update(no_key=True), pk=event.pk)
    list(scope.rows(Match).filter(event=held).select_for_update(no_key=True).order_by("pk"))
    plan = schedule_plan(scope=scope, event=held, text=text)
    if plan.problems:
        first = plan.problems[0]
        raise DomainError(first.sentence, field="schedule", value=first.value, remedy=first.remedy)
    for entry in plan.entries:
        if entry.what != SAME:
            match_save(scope=scope, match=entry.match, trigger=trigger)
    return plan


def _robot(row: ScheduleRow, robots: Sequence[Robot], problems: list[Problem]) -> Robot | None:
    """The robot a row means: by code or name, or the only one that goes."""
    if not row.robot and len(robots) == 1:
        return robots[0]
    said = row.robot.casefold()
    for robot in robots:
        if said and said in (robot.code.casefold(), robot.name.casefold()):
            return robot
    going = ", ".join(robot.code for robot in robots) or "none yet: add them on the event first"
    message = "No robot of the event is called that." if row.robot else "It does not say which robot plays."
    problems.append(Problem(row.row, NAMES["robot"], row.robot, message, f"Robots that go: {going}."))
    return None


def _entry(
    scope: Scope,
    event: Event,
    row: ScheduleRow,
    robot: Robot,
    standing: Match | None,
    played: set[int],
) -> Entry:
    starts_at = timezone.make_aware(row.starts_at)
    if standing is None:
        match = Match(team=scope.team, event=event, robot=robot, number=row.number, starts_at=starts_at)
        _fill(match, row)
        return Entry(row.row, match, ADD)
    if standing.pk in played:
        # A sheet handed out again has the times as they were once meant.
        return Entry(row.row, standing, SAME, changes=("played already, left as it is",))
    was = standing.starts_at
    if was.replace(second=0, microsecond=0) == starts_at:
        starts_at = was  # a schedule tells no seconds
    before = {name: getattr(standing, name) for name in ("importance", "strength", "carrier")}
    standing.starts_at = starts_at
    _fill(standing, row)
    changes = [] if was == starts_at else [f"was at {timezone.localtime(was):%a %H:%M}"]
    changes += [
        f"{name} was {value or 'empty'}" for name, value in before.items() if getattr(standing, name) != value
    ]
    return Entry(row.row, standing, CHANGE if changes else SAME, was, tuple(changes))


def _fill(match: Match, row: ScheduleRow) -> None:
    """What the row says besides its time; an empty cell leaves what stands."""
    match.importance = row.importance or match.importance
    match.strength = row.strength if row.strength is not None else match.strength
    match.carrier = row.carrier if row.carrier is not None else match.carrier


#: Field of a match -> column of the schedule.
_COLUMNS: Mapping[str, str] = {"starts_at": "time", **{name: name for name in NAMES}}


def _refused(entries: Sequence[Entry]) -> list[Problem]:
    """What the matches themselves refuse."""
    found = []
    for entry in entries:
        try:
            entry.match.clean_fields(exclude=["team", "event", "robot"])
        except ValidationError as error:
            for name, sentences in errors_by_field(error).items():
                column = NAMES.get(_COLUMNS.get(name, ""), name)
                value = str(getattr(entry.match, name, ""))
                found += [Problem(entry.row, column, value, s, "Change this cell.") for s in sentences]
    return found
