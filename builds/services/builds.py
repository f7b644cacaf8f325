"""Builds: which one is current, and new ones that start as a copy of another."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date
from typing import TypeVar

from django.db import transaction
from simple_history.utils import bulk_create_with_history

from builds.models import Build, BuildLine, BuildState, Circuit, Robot
from builds.models.robots import NO_BATTERY, NO_BATTERY_REMEDY
from shared.access import Can, Scope
from shared.errors import Conflict, DomainError
from shared.models import JobRun, TeamOwned
from shared.records import record_save, sweeps_after

R = TypeVar("R", bound=TeamOwned)


def build_make_current(*, scope: Scope, build: Build, trigger: str = JobRun.Trigger.EDIT) -> Build:
    """Make a build the one its robot runs with (and the sweeps judge); the one before becomes past."""
    scope.require(Can.WORK)
    with transaction.atomic():
        _hold(scope, build.robot_id)
        now = scope.get(Build, pk=build.pk)
        if now.state == BuildState.CURRENT:
            return now
        now.state = BuildState.CURRENT
        if now.lacks_battery():
            raise DomainError(NO_BATTERY, field="battery_model", remedy=NO_BATTERY_REMEDY)
        for other in scope.rows(Build).filter(robot_id=now.robot_id, state=BuildState.CURRENT):
            other.state = BuildState.PAST
            record_save(scope=scope, instance=other, trigger=trigger)
        return record_save(scope=scope, instance=now, trigger=trigger)


def build_copy(
    *,
    scope: Scope,
    build: Build,
    label: str,
    dated: date,
    robot: Robot | None = None,
    trigger: str = JobRun.Trigger.EDIT,
) -> Build:
    """Start a new draft from a build: its circuits with what feeds them, and its further parts."""
    scope.require(Can.WORK)
    with transaction.atomic():
        old = scope.get(Build.objects.select_related("robot"), pk=build.pk)
        new = _copy_of(old, robot=robot or old.robot, label=label, dated=dated, state=BuildState.DRAFT)
        record_save(scope=scope, instance=new, trigger=trigger)
        _copy_circuits(scope, list(scope.rows(Circuit).filter(build=old).order_by("pk")), new)
        lines = [_copy_of(line, build=new) for line in scope.rows(BuildLine).filter(build=old)]
        _create(scope, lines)
        sweeps_after([new], scope=scope, trigger=trigger)
    return new


def _copy_circuits(scope: Scope, circuits: Sequence[Circuit], new: Build) -> None:
    """Copy level by level from the battery outwards, so that each copy is born fed from its feeder's copy."""
    copies: dict[int, Circuit] = {}
    waiting = list(circuits)
    while waiting:
        ready = [c for c in waiting if c.fed_from_id is None or c.fed_from_id in copies]
        if not ready:
            raise Conflict(
                "These circuits feed each other in a ring", field="fed_from", value=waiting[0].code
            )
        made = [
            _copy_of(c, build=new, fed_from=copies[c.fed_from_id] if c.fed_from_id else None) for c in ready
        ]
        _create(scope, made)
        copies.update(zip((c.pk for c in ready), made, strict=True))
        waiting = [c for c in waiting if c.pk not in copies]


def _copy_of(row: R, **changes: object) -> R:
    """An unsaved copy of a row with some values changed."""
    values = {f.attname: getattr(row, f.attname) for f in row._meta.concrete_fields if not f.primary_key}
    copy = type(row)(**values)
    for name, value in changes.items():
        setattr(copy, name, value)
    return copy


def _create(scope: Scope, rows: Sequence[TeamOwned]) -> None:
    # The rows are copies of rows that passed validation, so they are not validated one by one again.
    if rows:
        bulk_create_with_history(rows, type(rows[0]), batch_size=500, default_user=scope.user)


def _hold(scope: Scope, robot_id: int) -> Robot:
    """The robot's row, locked: changes of which build is current queue behind each other."""
    return scope.get(Robot.objects.select_for_update(no_key=True), pk=robot_id)
