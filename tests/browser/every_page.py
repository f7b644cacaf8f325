"""Every page of the site in a real browser: accessible, no complaint in the console, nothing wider than a phone."""

from __future__ import annotations

from pathlib import Path
from typing import Any

from django.test import Client
from playwright.sync_api import Page

from tests.access.url_map import routes
from tests.world import World, make_world

AXE = (Path(__file__).parent / "vendor" / "axe.min.js").read_text(encoding="utf-8")
SERIOUS = {"serious", "critical"}


def page_urls(world: World) -> list[str]:
    """Pages that answer a mentor's GET with HTML."""
    client = Client()
    client.force_login(world.cast.mentor, backend="django.contrib.auth.backends.ModelBackend")
    urls = []
    for route in routes():
        if route.is_api:
            continue
        url = route.url(world.home)
        answer = client.get(url)
        if answer.status_code == 200 and answer.get("Content-Type", "").startswith("text/html"):
            urls.append(url)
    return urls


def sign_in(page: Page, base: str, world: World) -> None:
    client = Client()
    client.force_login(world.cast.mentor, backend="django.contrib.auth.backends.ModelBackend")
    page.context.add_cookies([{"name": "sessionid", "value": client.cookies["sessionid"].value, "url": base}])


def look_at_every_page(live_server: Any, page: Page, width: int, scheme: Any, other: Any) -> None:
    """Fail on anything that is wrong with any page at this width; all of them are named at once.

    Accessibility, which takes longest, is looked at in the first colour scheme only: each width has another one.
    """
    world = make_world()
    urls = page_urls(world)
    assert len(urls) > 30
    sign_in(page, live_server.url, world)
    page.set_viewport_size({"width": width, "height": 900})
    problems: list[str] = []

    def measure(url: str, shown: Any) -> None:
        if page.evaluate("document.documentElement.scrollWidth") > width:
            problems.append(f"{url}: wider than {width} px in {shown}")

    for url in urls:
        page.emulate_media(color_scheme=scheme)
        page.goto(live_server.url + url)
        measure(url, scheme)
        page.evaluate(AXE)
        for found in page.evaluate("axe.run()")["violations"]:
            if found["impact"] in SERIOUS:
                problems.append(f"{url}: {found['id']} {found['nodes'][0]['html'][:120]}")
        page.emulate_media(color_scheme=other)
        measure(url, other)
    assert problems == []
