"""Who may see and change what: the one place where rows are scoped to a team and roles become permissions."""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum
from typing import TypeVar

from django.contrib.auth.models import AnonymousUser
from django.db.models import Model, QuerySet
from django.http import Http404

from shared.errors import NotAllowed
from shared.models import Membership, Role, Team, User


class Can(StrEnum):
    """What a person may do in a team."""

    READ = "read"
    WORK = "work"  # everyday entries: readings, charges, stock in and out, circuits
    SUPPLY = "supply"  # offers, suppliers, events, import, archiving
    GOVERN = "govern"  # members, rule packs, waivers


CAPABILITIES: dict[str, frozenset[Can]] = {
    Role.AUDITOR: frozenset({Can.READ}),
    Role.MEMBER: frozenset({Can.READ, Can.WORK}),
    Role.LEAD: frozenset({Can.READ, Can.WORK, Can.SUPPLY}),
    Role.MENTOR: frozenset({Can.READ, Can.WORK, Can.SUPPLY, Can.GOVERN}),
}

M = TypeVar("M", bound=Model)


@dataclass(frozen=True)
class Scope:
    """A person acting in a team. Services take it; every query of team rows goes through ``rows``."""

    user: User | None
    team: Team
    role: str

    def can(self, what: Can) -> bool:
        return what in CAPABILITIES.get(self.role, frozenset())

    def require(self, what: Can) -> None:
        """Raise ``NotAllowed`` when the role does not allow it."""
        if not self.can(what):
            role = Role(self.role).label if self.role in Role.values else self.role
            raise NotAllowed(
                f"Your role in {self.team.name} is {role}, which may not do this",
                remedy="Ask a mentor of the team to do it or to change your role",
            )

    def rows(self, model: type[M] | QuerySet[M]) -> QuerySet[M]:
        """The team's rows of a model (or of a queryset)."""
        queryset = model if isinstance(model, QuerySet) else model._default_manager.all()
        return queryset.filter(team_id=self.team.pk)

    def get(self, model: type[M] | QuerySet[M], **lookup: object) -> M:
        """One row of the team, or 404: a row of another team looks the same as none."""
        row = self.rows(model).filter(**lookup).first()
        if row is None:
            raise Http404("No such row in this team.")
        return row


def teams_of(user: User | AnonymousUser) -> QuerySet[Team]:
    """The teams a person belongs to, by name."""
    if not user.is_authenticated:
        return Team.objects.none()
    return Team.objects.filter(memberships__user=user, archived=False).order_by("name")


def memberships_of(user: User | AnonymousUser) -> QuerySet[Membership]:
    """A person's role in each of their teams, by name of the team."""
    if not isinstance(user, User):
        return Membership.objects.none()
    return (
        Membership.objects.filter(user=user, team__archived=False)
        .select_related("team")
        .order_by("team__name")
    )


def scope_for(user: User | AnonymousUser, slug: str) -> Scope:
    """The person's scope in the team of that slug; a stranger gets 404, so that names of teams do not leak."""
    if not isinstance(user, User):
        raise Http404("No such team.")
    membership = (
        Membership.objects.select_related("team")
        .filter(user=user, team__slug=slug, team__archived=False)
        .first()
    )
    if membership is None:
        raise Http404("No such team.")
    return Scope(user=user, team=membership.team, role=membership.role)


def system_scope(team: Team) -> Scope:
    """The scope of a command or job that acts for the team itself."""
    return Scope(user=None, team=team, role=Role.MENTOR)
