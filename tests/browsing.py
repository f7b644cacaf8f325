"""A real browser for tests: Debian's Chromium without a window, and everything a page complains of."""

from __future__ import annotations

import os
import shutil
from collections.abc import Iterator
from contextlib import contextmanager

from playwright.sync_api import Browser, BrowserType, Page, Request, sync_playwright

LAUNCH = [
    "--no-sandbox",  # CI runs as root
    "--disable-gpu",
    "--disable-quic",
    "--no-first-run",
    "--disable-background-networking",
    "--disable-component-update",
    "--disable-sync",
    "--disable-dev-shm-usage",
]


def executable() -> str:
    """Chromium from the environment variable, else from the path."""
    found = (
        os.environ.get("LOADSTOCK_CHROMIUM") or shutil.which("chromium") or shutil.which("chromium-browser")
    )
    if not found:
        raise RuntimeError("No Chromium: install the package chromium, or name it in LOADSTOCK_CHROMIUM.")
    return found


def launch(kind: BrowserType, *more: str, env: dict[str, str | float | bool] | None = None) -> Browser:
    """A browser of its own; ``more`` are switches beside those that every test has."""
    return kind.launch(executable_path=executable(), headless=True, args=[*LAUNCH, *more], env=env)


@contextmanager
def chromium() -> Iterator[Browser]:
    with sync_playwright() as driver:
        browser = launch(driver.chromium)
        try:
            yield browser
        finally:
            browser.close()


def listen_for_complaints(page: Page) -> list[str]:
    """A list that fills with console errors (blocked content among them), script errors and lost requests."""
    complaints: list[str] = []
    page.on(
        "console",
        lambda message: complaints.append(f"console: {message.text}") if message.type == "error" else None,
    )
    page.on("pageerror", lambda error: complaints.append(f"script: {error}"))
    page.on("requestfailed", lambda request: lost(request, complaints))
    return complaints


def lost(request: Request, complaints: list[str]) -> None:
    """Note a request that failed; one that the browser drops because the page is left is no fault of the page."""
    if request.failure != "net::ERR_ABORTED":
        complaints.append(f"request: {request.url} {request.failure}")
