"""A column that names the person who did something."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from shared.models import Team, User
from shared.workbook.declare import col
from shared.workbook.spec import Kind


def members(team: Team) -> Mapping[str, object]:
    """Sign-in name -> person, for everybody in the team."""
    return {user.username: user for user in User.objects.filter(memberships__team=team)}


def by_column(what: str) -> dict[str, Any]:
    return col(
        "by",
        heading="By",
        kind=Kind.REFERENCE,
        reference="members",
        lookup=members,
        path="by__username",
        explanation=f"Who {what}: the name they sign in with",
        example="sam",
    )
