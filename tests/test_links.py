"""Every link on every page leads somewhere: a walk over the whole site as a mentor."""

from __future__ import annotations

import re
from collections import deque

import pytest
from django.test import Client
from django.urls import reverse

from tests.world import make_world

pytestmark = pytest.mark.django_db
HREF = re.compile(r'(?:href|hx-get)="([^"#]+)')
MOST_PAGES = 400


def test_every_link_resolves() -> None:
    world = make_world()
    client = Client(raise_request_exception=False)
    client.force_login(world.cast.mentor, backend="django.contrib.auth.backends.ModelBackend")
    start = reverse("team-home", kwargs={"team": world.home.team.slug})
    seen: dict[str, str] = {start: "(start)"}
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
            if target not in seen:
                seen[target] = url
                queue.append(target)
    assert broken == []
    assert len(seen) > 40, sorted(seen)
