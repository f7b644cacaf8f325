"""Who belongs to a team: add, change the role, remove. A team always keeps one mentor."""

from __future__ import annotations

from django.contrib.auth.password_validation import validate_password
from django.core.exceptions import ValidationError
from django.db import transaction
from django.db.models import QuerySet

from shared.access import Can, Scope
from shared.errors import Conflict, DomainError
from shared.models import Membership, Role, Team, User


def members(scope: Scope) -> QuerySet[Membership]:
    """The team's people by name."""
    return scope.rows(Membership).select_related("user").order_by("user__username")


def member_add(
    *, scope: Scope, username: str, role: str, full_name: str = "", password: str = ""
) -> Membership:
    """Take a person into the team; makes their sign-in when the name is new and a password is given."""
    scope.require(Can.GOVERN)
    _check_role(role)
    with transaction.atomic():
        user = User.objects.filter(username=username).first()
        if user is None:
            user = _sign_in_made(username, full_name, password)
        if scope.rows(Membership).filter(user=user).exists():
            raise Conflict(
                f"{username} belongs to the team already",
                field="username",
                value=username,
                remedy="Change the role in the list",
            )
        return Membership.objects.create(team=scope.team, user=user, role=role)


def member_set_role(*, scope: Scope, member: Membership, role: str) -> Membership:
    """Give a member another role."""
    scope.require(Can.GOVERN)
    _check_role(role)
    with transaction.atomic():
        if role != Role.MENTOR:
            _keep_a_mentor(scope, member)
        member.role = role
        member.save()
    return member


def member_remove(*, scope: Scope, member: Membership) -> None:
    """End a membership; the person's entries keep their name."""
    scope.require(Can.GOVERN)
    with transaction.atomic():
        _keep_a_mentor(scope, member)
        member.delete()


def _check_role(role: str) -> None:
    if role not in Role.values:
        raise DomainError(
            f"{role!r} is no role", field="role", value=role, remedy=f"Choose one of {', '.join(Role.values)}"
        )


def _keep_a_mentor(scope: Scope, leaving: Membership) -> None:
    """The team's row is locked, so that two mentors cannot leave each other alone at the same moment."""
    Team.objects.select_for_update().get(pk=scope.team.pk)
    others = scope.rows(Membership).filter(role=Role.MENTOR).exclude(pk=leaving.pk)
    if leaving.role == Role.MENTOR and not others.exists():
        raise Conflict(
            "This is the team's only mentor", field="role", remedy="Make somebody else a mentor first"
        )


def _sign_in_made(username: str, full_name: str, password: str) -> User:
    if not password:
        raise DomainError(
            f"Nobody signs in as {username}",
            field="password",
            remedy="Check the name, or give a first password to make the sign-in",
        )
    first, _, last = full_name.strip().partition(" ")
    user = User(username=username, first_name=first, last_name=last)
    try:
        user.full_clean(exclude=["password"])
        validate_password(password, user)
    except ValidationError as wrong:
        field = "username" if hasattr(wrong, "error_dict") else "password"
        raise DomainError(" ".join(wrong.messages), field=field) from wrong
    user.set_password(password)
    user.save()
    return user
