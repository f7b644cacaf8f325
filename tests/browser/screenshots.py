"""Pictures of the real pages with the demo world, for the README and for looking at a change.

``python -m tests.browser.screenshots OUT_DIR --base http://127.0.0.1:8000`` while ``manage.py demo`` serves.
"""

from __future__ import annotations

import argparse
import re
from pathlib import Path
from typing import Any
from urllib.parse import urljoin

from playwright.sync_api import Browser, Page

from tests.browsing import chromium

#: Picture name -> path under the team, or a path whose first link of a pattern is followed; a pattern that begins
#: with "=" is about the words of a link, one that begins with "#" is a place on the page itself.
PAGES: dict[str, tuple[str, str]] = {
    "home": ("", ""),
    "flags": ("flags/", ""),
    "flag": ("flags/", r"/flags/\d+/$"),
    "batteries": ("batteries/", ""),
    "battery": ("batteries/", r"/batteries/\d+/$"),
    "reading": ("batteries/", r"/batteries/\d+/$ > /batteries/\d+/reading/$"),
    "robots": ("robots/", ""),
    "build": ("robots/", r"/builds/\d+/$"),
    "power": ("robots/", r"/robots/\d+/$ > /robots/\d+/power/$"),
    "tree": ("robots/", r"/robots/\d+/$ > /robots/\d+/power/$ > ^#tree$"),
    "match": ("robots/", r"/robots/\d+/$ > /robots/\d+/power/$ > ^#match$"),
    "fixes": ("robots/", r"/builds/\d+/$ > /builds/\d+/fixes/$"),
    "cart": ("robots/", r"/builds/\d+/$ > /builds/\d+/cart/$"),
    "limits": ("robots/", r"/builds/\d+/$ > /builds/\d+/limits/$"),
    "compare": ("robots/", r"/builds/\d+/$ > /builds/\d+/compare/$"),
    "circuit": ("robots/", r"/builds/\d+/$ > /circuits/\d+/$"),
    "duties": ("duties/", ""),
    "duty": ("duties/", r"/duties/\d+/$"),
    "stores": ("parts/", ""),
    "part": ("parts/", r"/parts/\d+/$"),
    "spools": ("spools/", ""),
    "events": ("events/", ""),
    "event": ("events/", r"=second meet"),
    "pit": ("pit/", r"/pit/\d+/$"),
    "charging": ("charging/", ""),
    "rotation": ("pit/", r"/pit/\d+/$ > /rotation/$ > #chart-head"),
    "sheet": ("pit/", r"/pit/\d+/$ > /rotation/$ > /rotation/sheet/$"),
    "schedule": ("pit/", r"/pit/\d+/$ > /schedule/$"),
    "review": ("pit/", r"/pit/\d+/$ > /review/$"),
    "labels": ("labels/?kind=B", ""),
    "scan": ("scan/", ""),
    "workbook": ("workbook/", ""),
    "methods": ("methods/", ""),
    "method": ("methods/", r"/methods/[a-z-]+/$"),
    "jobs": ("jobs/", ""),
}


def sign_in(page: Page, base: str, name: str, password: str) -> str:
    """Sign in and return the path of the team's home."""
    page.goto(f"{base}/accounts/login/")
    page.fill("input[name=username]", name)
    page.fill("input[name=password]", password)
    page.click("button[type=submit]")
    match = re.search(r"/t/[a-z0-9-]+/", page.url) or re.search(r"/t/[a-z0-9-]+/", page.content())
    assert match, f"no team after signing in: {page.url}"
    return match.group(0)


def leads(pattern: str, href: str, words: str) -> bool:
    """Whether a link is the one a pattern means."""
    if pattern.startswith("="):
        return pattern[1:] in words
    return re.search(pattern, href) is not None


def shoot(browser: Browser, args: Any, width: int, scheme: Any) -> None:
    context = browser.new_context(viewport={"width": width, "height": 900}, color_scheme=scheme)
    page = context.new_page()
    home = sign_in(page, args.base, args.user, args.password)
    for name, (path, follow) in PAGES.items():
        if args.only and name not in args.only:
            continue
        page.goto(args.base + home + path)
        for pattern in filter(None, follow.split(" > ")):
            links = page.eval_on_selector_all(
                "a[href]", "as => as.map(a => [a.getAttribute('href'), a.textContent])"
            )
            target = next((href for href, words in links if leads(pattern, href, words)), None)
            target = pattern if pattern.startswith("#") else target
            if target is None:
                print(f"no link like {pattern} on {page.url}")
                break
            page.goto(urljoin(page.url, target))
        page.screenshot(path=str(Path(args.out) / f"{name}-{width}-{scheme}.png"), full_page=args.full)
    context.close()


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("out")
    parser.add_argument("--base", default="http://127.0.0.1:8000")
    parser.add_argument("--user", default="mentor")
    parser.add_argument("--password", required=True)
    parser.add_argument("--width", type=int, action="append")
    parser.add_argument("--scheme", action="append", choices=["light", "dark"])
    parser.add_argument("--only", action="append")
    parser.add_argument("--full", action="store_true")
    args = parser.parse_args()
    Path(args.out).mkdir(parents=True, exist_ok=True)
    with chromium() as browser:
        for width in args.width or [1280]:
            for scheme in args.scheme or ["light"]:
                shoot(browser, args, width, scheme)


if __name__ == "__main__":
    main()
