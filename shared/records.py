"""The one way to write a row of a team: validate whole, save, keep history, set off the sweeps it could change."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from typing import TypeVar

from django.core.exceptions import ValidationError
from django.db import transaction
from simple_history.utils import bulk_create_with_history

from shared import jobs
from shared.access import Can, Scope
from shared.errors import Conflict, DomainError
from shared.models import JobRun, TeamOwned
from shared.schedule import SWEEPS_AFTER

R = TypeVar("R", bound=TeamOwned)


def record_save(*, scope: Scope, instance: R, need: Can = Can.WORK, trigger: str = JobRun.Trigger.EDIT) -> R:
    """Validate and save one row of the team; raises ``ValidationError`` naming each wrong field."""
    scope.require(need)
    _claim_for_team(scope, instance)
    with transaction.atomic():
        instance.full_clean()
        _remember_author(scope, instance)
        instance.save()
        sweeps_after([instance], scope=scope, trigger=trigger)
    return instance


def record_create_many(
    *, scope: Scope, instances: Sequence[R], need: Can = Can.WORK, trigger: str = JobRun.Trigger.IMPORT
) -> list[R]:
    """Create many rows of one model at once, each validated, with history; all or none."""
    scope.require(need)
    if not instances:
        return []
    with transaction.atomic():
        for instance in instances:
            _claim_for_team(scope, instance)
            instance.full_clean()
        made: list[R] = bulk_create_with_history(
            instances, type(instances[0]), batch_size=500, default_user=scope.user
        )
        sweeps_after(instances[:1], scope=scope, trigger=trigger)
    return made


def record_archive(*, scope: Scope, instance: R, archived: bool = True, need: Can = Can.SUPPLY) -> R:
    """Take a row out of use without deleting it, or bring it back."""
    if not hasattr(instance, "archived"):
        raise DomainError(f"A {instance._meta.verbose_name} cannot be archived")
    instance.archived = archived
    return record_save(scope=scope, instance=instance, need=need)


def record_delete(*, scope: Scope, instance: TeamOwned, need: Can = Can.WORK) -> None:
    """Delete a row that nothing else stands on (a circuit of a draft, a mistyped reading); history keeps it."""
    scope.require(need)
    _claim_for_team(scope, instance)
    with transaction.atomic():
        _remember_author(scope, instance)
        sweeps_after([instance], scope=scope, trigger=JobRun.Trigger.EDIT)
        instance.delete()


def sweeps_after(instances: Iterable[TeamOwned], *, scope: Scope, trigger: str) -> None:
    """Queue, once the transaction commits, the sweeps whose answer these rows could change."""
    names: set[str] = set()
    for instance in instances:
        names.update(SWEEPS_AFTER.get(instance._meta.label, ()))
    for name in sorted(names):
        jobs.enqueue(name, team=scope.team, trigger=trigger, asked_by=scope.user)


def _claim_for_team(scope: Scope, instance: TeamOwned) -> None:
    if getattr(instance, "team_id", None) is None:
        instance.team = scope.team
    if instance.team_id != scope.team.pk:
        raise Conflict("This row belongs to another team", field="team", value=instance.team_id)


def _remember_author(scope: Scope, instance: TeamOwned) -> None:
    instance._history_user = scope.user  # type: ignore[attr-defined]  # read by simple_history when it saves


def errors_by_field(error: ValidationError) -> dict[str, list[str]]:
    """A validation error as {field: sentences}, whole-row errors under ''."""
    if hasattr(error, "error_dict"):
        return {("" if f == "__all__" else f): e for f, e in error.message_dict.items()}
    return {"": list(error.messages)}
