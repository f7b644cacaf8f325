"""Every link on every page leads somewhere: a walk over the whole site as a mentor."""

from __future__ import annotations

import re
from collections import deque

import pytest
from django.test import Client
from django.urls import reverse
from django.utils import timezone

from compliance.services.flags import flags_sync
from compliance.sweeps.registry import SWEEPS
from shared.models import Team, User
from tests.compliance.demo_world import demo_world
from tests.world import make_world

# Whether a link leads somewhere no database changes; every page is opened on PostgreSQL by test_url_map.py.
pytestmark = [pytest.mark.django_db, pytest.mark.once]
HREF = re.compile(r'(?:href|hx-get)="([^"#]+)')
MOST_PAGES = 400
#: Of URLs that differ only in their numbers, so many are opened.
MOST_OF_A_KIND = 4


def walk(user: User, team: Team) -> tuple[list[str], set[str]]:
    """Follow links from the team's home; returns what is broken and what was seen."""
    client = Client(raise_request_exception=False)
    client.force_login(user, backend="django.contrib.auth.backends.ModelBackend")
    start = reverse("team-home", kwargs={"team": team.slug})
    seen: dict[str, str] = {start: "(start)"}
    kinds: dict[str, int] = {}
    queue = deque([start])
    broken: list[str] = []
    while queue and len(seen) < MOST_PAGES:
        url = queue.popleft()
        answer = client.get(url)
        if answer.status_code not in (200, 302):
            broken.append(f"{url} answers {answer.status_code} (linked from {seen[url]})")
        if not answer.get("Content-Type", "").startswith("text/html"):
            continue
        for link in HREF.findall(answer.content.decode()):
            link = link.replace("&amp;", "&")
            target = (
                link if link.startswith("/") else (url.split("?")[0] + link if link.startswith("?") else "")
            )
            if not target or target.startswith(("/static/", "/admin/", "/accounts/logout", "/api/")):
                continue
            kind = re.sub(r"\d+", "#", target)
            if target not in seen and kinds.get(kind, 0) < MOST_OF_A_KIND:
                kinds[kind] = kinds.get(kind, 0) + 1
                seen[target] = url
                queue.append(target)
    return broken, set(seen)


def test_every_link_resolves() -> None:
    world = make_world()
    broken, seen = walk(world.cast.mentor, world.home.team)
    assert broken == []
    assert len(seen) > 40, sorted(seen)


def test_every_link_of_the_demo_resolves() -> None:
    with demo_world() as teams:
        now = timezone.now()
        for sweep in SWEEPS:
            flags_sync(sweep=sweep, team_ids=[t.pk for t in teams], now=now)
        broken, seen = walk(User.objects.get(username="mentor"), Team.objects.get(slug=teams[0].slug))
    assert broken == []
    assert len(seen) > 60, sorted(seen)
