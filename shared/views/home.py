"""The front door: straight to the team, or a choice where a person has several or none."""

from __future__ import annotations

from django.contrib.auth.decorators import login_required
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render

from shared.access import memberships_of


@login_required
def home(request: HttpRequest) -> HttpResponse:
    """Send a person with one team to its home page; let others choose."""
    memberships = list(memberships_of(request.user))
    if len(memberships) == 1:
        return redirect("team-home", team=memberships[0].team.slug)
    return render(request, "shared/choose_team.html", {"memberships": memberships})
