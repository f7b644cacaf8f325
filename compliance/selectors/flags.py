"""Flags as readers want them: the most serious first, and whether somebody has waived them for now."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date
from typing import TYPE_CHECKING, TypeAlias, TypedDict

from django.db.models import Case, Count, Exists, IntegerField, OuterRef, Q, QuerySet, Subquery, Value, When
from django.utils import timezone

from compliance.models import Flag, FlagEvent, FlagState, Waiver
from compliance.rules.base import SEVERITY_ORDER
from shared.access import Scope

if TYPE_CHECKING:
    from django_stubs_ext import WithAnnotations


class Standing(TypedDict):
    """What readers are told of a flag besides its columns."""

    waived: bool
    waived_until: date | None
    severity_rank: int


MarkedFlag: TypeAlias = "WithAnnotations[Flag, Standing]"
MarkedFlags: TypeAlias = "QuerySet[MarkedFlag, MarkedFlag]"

#: Orders flags by severity in the database.
SEVERITY_RANK = Case(
    *(When(severity=severity, then=Value(rank)) for severity, rank in SEVERITY_ORDER.items()),
    default=Value(len(SEVERITY_ORDER)),
    output_field=IntegerField(),
)


def with_waivers(flags: QuerySet[Flag], today: date | None = None) -> MarkedFlags:
    """The flags with ``waived`` and ``waived_until``, and ``severity_rank`` (0 is the most serious)."""
    standing = Waiver.objects.filter(
        flag=OuterRef("pk"), withdrawn_at__isnull=True, until__gte=today or timezone.localdate()
    )
    return flags.annotate(
        waived=Exists(standing),
        waived_until=Subquery(standing.values("until")[:1]),
        severity_rank=SEVERITY_RANK,
    )


def flags_open(scope: Scope, today: date | None = None) -> MarkedFlags:
    """The team's open flags, the most serious first, of equals the oldest; waived ones among them, marked."""
    return by_severity(with_waivers(scope.rows(Flag).filter(state=FlagState.OPEN), today))


def flags_open_of(team_ids: Sequence[int], today: date | None = None) -> MarkedFlags:
    """The same for several teams, team by team; for commands and jobs."""
    flags = Flag.objects.filter(team_id__in=team_ids, state=FlagState.OPEN).select_related("team")
    return with_waivers(flags, today).order_by("team__slug", SEVERITY_RANK, "opened_at", "pk")


def by_severity(flags: MarkedFlags) -> MarkedFlags:
    """The most serious first, of equals the oldest."""
    return flags.order_by(SEVERITY_RANK, "opened_at", "pk")


def flag_counts(scope: Scope, today: date | None = None) -> dict[str, int]:
    """How many open flags count in each severity, and besides them how many are ``waived``; one query."""
    counts: dict[str, int] = with_waivers(scope.rows(Flag).filter(state=FlagState.OPEN), today).aggregate(
        **{s: Count("pk", filter=Q(severity=s, waived=False)) for s in SEVERITY_ORDER},
        waived_flags=Count("pk", filter=Q(waived=True)),
    )
    counts["waived"] = counts.pop("waived_flags")
    return {str(name): number for name, number in counts.items()}


def flags_of(scope: Scope, kind: str, subject_id: int, today: date | None = None) -> MarkedFlags:
    """All flags of one subject, open ones first."""
    flags = scope.rows(Flag).filter(subject_kind=kind, subject_id=subject_id)
    # "open" sorts behind "cleared".
    return with_waivers(flags, today).order_by("-state", SEVERITY_RANK, "-opened_at", "pk")


def flag_history(scope: Scope, flag: Flag) -> QuerySet[FlagEvent]:
    """What happened to a flag, the latest first, with who did it."""
    return (
        FlagEvent.objects.filter(flag=flag, flag__team_id=scope.team.pk)
        .select_related("by", "run")
        .order_by("-at", "-pk")
    )
