"""Duty profiles: a profile and its phases are saved together, in the order in which they are given."""

from __future__ import annotations

from collections.abc import Sequence

from django.db import transaction

from builds.models import Circuit, DutyPhase, DutyProfile
from shared.access import Can, Scope
from shared.errors import Conflict, DomainError
from shared.models import JobRun
from shared.records import record_delete, record_save

#: More phases than a person can look over help nobody.
MOST_PHASES = 40
#: What a phase is, besides its place.
PHASE_FIELDS = ("name", "lasts_s", "draw_frac", "torque_frac")


def profile_save(
    *,
    scope: Scope,
    profile: DutyProfile,
    phases: Sequence[DutyPhase] | None = None,
    trigger: str = JobRun.Trigger.EDIT,
) -> DutyProfile:
    """Save a profile; given phases replace those on record, ``None`` leaves them as they are."""
    scope.require(Can.WORK)
    if phases is not None and not 1 <= len(phases) <= MOST_PHASES:
        raise DomainError(
            f"A duty profile has 1 to {MOST_PHASES} phases",
            field="phases",
            value=len(phases),
            remedy="Give one phase at least; after the last one the first follows again",
        )
    with transaction.atomic():
        record_save(scope=scope, instance=profile, trigger=trigger)
        if phases is not None:
            _replace(scope, profile, phases, trigger)
    return profile


def profile_delete(*, scope: Scope, profile: DutyProfile) -> None:
    """Delete a profile that no circuit follows; its history stays."""
    scope.require(Can.WORK)
    with transaction.atomic():
        users = scope.rows(Circuit).filter(profile=profile).select_related("build__robot")
        named = [f"{c.build} {c.code}" for c in users.order_by("build", "code")[:4]]
        if named:
            more = " and others" if len(named) == 4 else ""
            raise Conflict(
                f"{profile.code} is followed by {', '.join(named[:3])}{more}",
                field="profile",
                value=profile.code,
                remedy="Choose another profile there, or none, then delete it",
            )
        record_delete(scope=scope, instance=profile)


def _replace(scope: Scope, profile: DutyProfile, phases: Sequence[DutyPhase], trigger: str) -> None:
    """Row by row at the same place, so that the history of a phase tells what became of it."""
    on_record = {phase.place: phase for phase in profile.phases.select_for_update()}
    for place, given in enumerate(phases, start=1):
        row = on_record.pop(place, None)
        if row is not None and all(getattr(row, n) == getattr(given, n) for n in PHASE_FIELDS):
            continue
        row = row or DutyPhase(team=profile.team, profile=profile, place=place)
        for name in PHASE_FIELDS:
            setattr(row, name, getattr(given, name))
        record_save(scope=scope, instance=row, trigger=trigger)
    for surplus in on_record.values():
        record_delete(scope=scope, instance=surplus)
