"""Flags follow what the sweeps find; a mentor may waive one for a time, with a reason."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date, datetime

from django.db import transaction
from django.utils import timezone

from compliance.models import Flag, FlagEvent, FlagState, Waiver
from compliance.services.clearing import reasons
from compliance.services.flag_diff import SAID, Diff, Key, Known, diff
from compliance.services.flag_writes import FlagWriter
from compliance.sweeps.registry import Find, finder_of
from shared.access import Can, Scope
from shared.columns import without_collection
from shared.errors import Conflict, DomainError
from shared.models import JobRun, Team
from shared.records import record_save


def flags_sync(
    *, sweep: str, team_ids: Sequence[int], now: datetime, run: JobRun | None = None, find: Find | None = None
) -> dict[str, int]:
    """Judge the teams' rows and bring their flags in line; returns what was looked at and what became of the flags.

    The teams are locked first and judged after: of two sweeps at once the second sees what the first wrote,
    and finds nothing left to do. Run again on the same rows it writes nothing.
    """
    find = find or finder_of(sweep)
    with transaction.atomic(), without_collection():
        ids = _lock_teams(team_ids)
        findings, looked_at = find(ids, now=now)
        known = _flags_known(sweep, ids)
        result = diff(known, findings)
        why = reasons(result.gone, team_ids=ids)
        FlagWriter(sweep=sweep, now=now, run=run).write(result, why)
    return {**{name: int(number) for name, number in looked_at.items()}, **_counts(known, result)}


def _lock_teams(team_ids: Sequence[int]) -> list[int]:
    """Lock in the order of the keys, so that two sweeps never wait for each other. Rows may still be added to a
    team meanwhile. SQLite has no row locks: there a transaction that writes is alone from its start."""
    teams = Team.objects.filter(pk__in=team_ids).order_by("pk").select_for_update(no_key=True)
    return list(teams.values_list("pk", flat=True))


def _flags_known(sweep: str, team_ids: Sequence[int]) -> dict[Key, Known]:
    """The flags on record. What cleared ones once said is not read: there are ever more of them."""
    rows = Flag.objects.filter(team_id__in=team_ids, sweep=sweep)
    columns = ("rule_code", "subject_kind", "subject_id", "pk", "team_id", "state")
    known: dict[Key, Known] = {}
    for *key, pk, team, state in rows.filter(state=FlagState.CLEARED).values_list(*columns):
        known[key[0], key[1], key[2]] = Known(pk, team, state, "", ())
    for code, kind, subject, pk, team, state, *said in rows.filter(state=FlagState.OPEN).values_list(
        *columns, *SAID
    ):
        known[code, kind, subject] = Known(pk, team, state, said[0], tuple(said))
    return known


def _counts(known: dict[Key, Known], result: Diff) -> dict[str, int]:
    was_open = sum(flag.state == FlagState.OPEN for flag in known.values())
    return {
        "open": was_open + len(result.opened) + len(result.reopened) - len(result.gone),
        "opened": len(result.opened),
        "reopened": len(result.reopened),
        "escalated": len(result.escalated),
        "eased": len(result.eased),
        "cleared": len(result.gone),
    }


def flag_waive(*, scope: Scope, flag: Flag, reason: str, until: date) -> Waiver:
    """Take responsibility for an open flag until a day; a waiver that has run out makes way by itself."""
    scope.require(Can.GOVERN)
    _check_waiver(reason, until)
    now = timezone.now()
    with transaction.atomic():
        locked = scope.get(Flag.objects.select_for_update(), pk=flag.pk)
        if locked.state != FlagState.OPEN:
            raise Conflict(
                "This flag has cleared", field="flag", value=str(locked), remedy="There is nothing to waive"
            )
        _make_way(scope, locked, now)
        waiver = record_save(
            scope=scope,
            instance=Waiver(team=scope.team, flag=locked, reason=reason.strip(), until=until, by=scope.user),
            need=Can.GOVERN,
        )
        _tell(scope, locked, FlagEvent.Kind.WAIVED, f"until {until}: {waiver.reason}"[:400], now)
    return waiver


def waiver_withdraw(*, scope: Scope, waiver: Waiver) -> Waiver:
    """End a waiver before its day; its flag counts again at once."""
    scope.require(Can.GOVERN)
    now = timezone.now()
    with transaction.atomic():
        standing = scope.get(Waiver.objects.select_for_update(), pk=waiver.pk)
        if standing.withdrawn_at is not None:
            raise Conflict(
                "This waiver was withdrawn already", field="waiver", value=str(standing.pk),
                remedy="Look at the flag again",
            )  # fmt: skip
        return _withdraw(scope, standing, now, "withdrawn")


def _check_waiver(reason: str, until: date) -> None:
    if not reason.strip():
        raise DomainError(
            "A waiver needs a reason", field="reason", value=reason, remedy="Say why it is safe"
        )
    today = timezone.localdate()
    if until < today:
        raise DomainError(
            f"The waiver would have ended on {until}", field="until", value=until,
            remedy=f"Choose {today} or a later day",
        )  # fmt: skip


def _make_way(scope: Scope, flag: Flag, now: datetime) -> None:
    standing = scope.rows(Waiver).filter(flag=flag, withdrawn_at__isnull=True).first()
    if standing is None:
        return
    if standing.until >= timezone.localdate():
        raise Conflict(
            f"This flag is waived until {standing.until}", field="flag", value=str(flag),
            remedy="Withdraw that waiver first",
        )  # fmt: skip
    _withdraw(scope, standing, now, f"ran out on {standing.until}")


def _withdraw(scope: Scope, waiver: Waiver, now: datetime, detail: str) -> Waiver:
    waiver.withdrawn_at = now
    waiver._history_user = scope.user  # type: ignore[attr-defined]  # read by simple_history when it saves
    # Not validated again: who gave it may have been deleted since, and it must be possible to end it.
    waiver.save(update_fields=["withdrawn_at", "updated_at"])
    _tell(scope, waiver.flag, FlagEvent.Kind.WAIVER_ENDED, detail, now)
    return waiver


def _tell(scope: Scope, flag: Flag, kind: str, detail: str, now: datetime) -> None:
    FlagEvent.objects.create(
        flag=flag, at=now, kind=kind, severity=flag.severity, detail=detail, by=scope.user
    )
