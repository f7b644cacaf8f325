"""The team a command acts for."""

from __future__ import annotations

from django.core.management.base import CommandError

from shared.access import Scope, system_scope
from shared.models import Team


def scope_of(slug: str) -> Scope:
    """The scope of the team of that slug; says which slugs there are when there is none."""
    team = Team.objects.filter(slug=slug).first()
    if team is None:
        known = ", ".join(Team.objects.order_by("slug").values_list("slug", flat=True)) or "none yet"
        raise CommandError(f"No team has the slug {slug!r}. There are: {known}.")
    return system_scope(team)
