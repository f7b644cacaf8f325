"""What every page's frame needs: team, role, navigation, and whether the background jobs are late."""

from __future__ import annotations

from typing import Any

from django.core.cache import cache
from django.http import HttpRequest
from django.urls import reverse
from django.utils import timezone

from shared.access import Scope, teams_of
from shared.jobs import late_jobs
from shared.models import Role

#: (label, URL name, key): the one navigation of the pages.
NAV: tuple[tuple[str, str, str], ...] = (
    ("Home", "team-home", "home"),
    ("Flags", "flag-list", "flags"),
    ("Batteries", "battery-list", "batteries"),
    ("Robots", "robot-list", "robots"),
    ("Stores", "part-list", "stores"),
    ("Events", "event-list", "events"),
    ("Pit", "pit-list", "pit"),
    ("Import and export", "workbook", "workbook"),
    ("Methods", "method-list", "methods"),
    ("Jobs", "job-list", "jobs"),
)

LATE_CACHE_S = 30


def frame(request: HttpRequest) -> dict[str, Any]:
    """Context for ``web/base.html``."""
    scope: Scope | None = getattr(request, "scope", None)
    if scope is None:
        return {"nav": [], "team": None, "role": "", "teams": [], "late_jobs": [], "demo_data": False}
    late = cache.get("late-jobs")
    if late is None:
        late = late_jobs(timezone.now())
        cache.set("late-jobs", late, LATE_CACHE_S)
    return {
        "team": scope.team,
        "role": Role(scope.role).label,
        "scope": scope,
        "nav": [(label, reverse(name, kwargs={"team": scope.team.slug}), key) for label, name, key in NAV],
        "nav_key": getattr(request, "nav_key", ""),
        "teams": list(teams_of(request.user)),
        "late_jobs": late,
        "demo_data": scope.team.is_demo,
    }
