"""What every test runs under (cheap passwords, no files, no broker), and the gates for tests with servers.

A test marked `browser`, `postgres`, `redis` or `worker` is skipped, with the reason named, until the variable
of its gate is set; one marked `spice` where ngspice is not installed. A gate that is open while its server is not
configured is an error, never a skip. What needs neither a gate nor the database is marked `pure`, and a test that
reads rows but judges something no database can change is marked `once`: of both, once is enough.
"""

from __future__ import annotations

import os
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from pathlib import Path

import pytest
from celery import current_app
from django.conf import settings
from django.core.cache import cache
from hypothesis import settings as hypothesis_settings
from playwright.sync_api import Browser, Page

from tests import browsing, spice
from tests.working import Worker

BROWSER = os.environ.get("LOADSTOCK_TEST_BROWSER") == "1"
SERVICES = os.environ.get("LOADSTOCK_TEST_SERVICES") == "1"
NO_SKIPS = os.environ.get("LOADSTOCK_TEST_NO_SKIPS") == "1"
EXPLORE = os.environ.get("LOADSTOCK_TEST_EXPLORE") == "1"

# The same examples every time, so that a run says something about the change and not about luck; exploring is
# asked for. No deadline: a busy machine is not a fault of the code.
hypothesis_settings.register_profile("loadstock", deadline=None, derandomize=not EXPLORE)
hypothesis_settings.load_profile("loadstock")


@dataclass(frozen=True)
class Gate:
    """Why a marker's tests are passed over, and what an open gate requires."""

    is_open: bool
    skip_reason: str
    server_variable: str = ""
    server_schemes: tuple[str, ...] = ()

    def problem(self) -> str | None:
        """What is missing although the gate is open."""
        address = os.environ.get(self.server_variable, "")
        if not self.is_open or not self.server_variable or address.startswith(self.server_schemes):
            return None
        wanted = " or ".join(f"{scheme}..." for scheme in self.server_schemes)
        return f"LOADSTOCK_TEST_SERVICES=1 also needs {self.server_variable} ({wanted})"


_SERVICES_REASON = "needs {}: set LOADSTOCK_TEST_SERVICES=1 and {}"
GATES = {
    "spice": Gate(spice.NGSPICE is not None, spice.MISSING),
    "browser": Gate(BROWSER, "needs Chromium: set LOADSTOCK_TEST_BROWSER=1"),
    "postgres": Gate(
        SERVICES,
        _SERVICES_REASON.format("a PostgreSQL server", "DATABASE_URL"),
        "DATABASE_URL",
        ("postgres://", "postgresql://"),
    ),
    "redis": Gate(
        SERVICES, _SERVICES_REASON.format("a Redis server", "REDIS_URL"), "REDIS_URL", ("redis://", "unix://")
    ),
    "worker": Gate(
        SERVICES,
        _SERVICES_REASON.format("a real worker and Redis", "REDIS_URL"),
        "REDIS_URL",
        ("redis://", "unix://"),
    ),
}


def pytest_configure(config: pytest.Config) -> None:
    settings.PASSWORD_HASHERS = ["django.contrib.auth.hashers.MD5PasswordHasher"]
    settings.SECURE_SSL_REDIRECT = False
    settings.STORAGES = {
        "default": {"BACKEND": "django.core.files.storage.InMemoryStorage"},
        # Pages are tested without collecting their static files first.
        "staticfiles": {"BACKEND": "django.contrib.staticfiles.storage.StaticFilesStorage"},
    }
    if not SERVICES:
        # A message sent by a test stays in this process and is never read by a worker of the same checkout.
        current_app.conf.update(broker_url="memory://", broker_transport_options={})
    if BROWSER:
        # The browser's driver runs an event loop in this thread; the ORM would refuse to work beside it.
        os.environ["DJANGO_ALLOW_ASYNC_UNSAFE"] = "true"


def needs_database(item: pytest.Item) -> bool:
    """Whether a test reads or writes rows; one that does not says the same whatever database is set."""
    fixtures = set(getattr(item, "fixturenames", ()))
    asked = {"db", "transactional_db", "live_server", "django_db_setup"} & fixtures
    return bool(asked) or item.get_closest_marker("django_db") is not None


@pytest.hookimpl(tryfirst=True)  # before -m picks
def pytest_collection_modifyitems(items: list[pytest.Item]) -> None:
    # The browser's few tests take longest: begun last, they would leave the other processes idle.
    items.sort(key=lambda item: item.get_closest_marker("browser") is None)
    for item in items:
        gated = {mark.name for mark in item.iter_markers()} & GATES.keys()
        if not gated and not needs_database(item):
            item.add_marker(pytest.mark.pure)
        for name in gated:
            gate = GATES[name]
            if gate.problem():
                raise pytest.UsageError(gate.problem())
            if not gate.is_open:
                item.add_marker(pytest.mark.skip(reason=gate.skip_reason))


@pytest.hookimpl(trylast=True)
def pytest_sessionfinish(session: pytest.Session, exitstatus: int) -> None:
    """In the full run nothing may be passed over: there a skip is a failure."""
    reporter = session.config.pluginmanager.get_plugin("terminalreporter")
    if NO_SKIPS and exitstatus == pytest.ExitCode.OK and reporter and reporter.stats.get("skipped"):
        reporter.write_line("Tests were skipped although LOADSTOCK_TEST_NO_SKIPS=1 forbids it.", red=True)
        session.exitstatus = pytest.ExitCode.TESTS_FAILED


@pytest.fixture(autouse=True)
def _jobs_on_time() -> None:
    """Pages ask at most twice a minute whether jobs are late; when that falls due must not decide a query count."""
    cache.set("late-jobs", [], 3600)


@pytest.fixture(scope="session")
def browser() -> Iterator[Browser]:
    """One Chromium for the whole run."""
    with browsing.chromium() as running:
        yield running


@pytest.fixture
def page(browser: Browser) -> Iterator[Page]:
    """A fresh page without cookies. The test fails at its end if the page complained of anything."""
    context = browser.new_context()
    opened = context.new_page()
    complaints = browsing.listen_for_complaints(opened)
    yield opened
    context.close()
    assert complaints == []


@pytest.fixture
def start(tmp_path: Path) -> Iterator[Callable[[], Worker]]:
    """Starts workers on an emptied queue; whatever still runs at the end of the test is killed."""
    current_app.control.purge()
    started: list[Worker] = []

    def start_one() -> Worker:
        worker = Worker(tmp_path / f"worker{len(started)}.log")
        started.append(worker)
        worker.wait_until_ready()
        return worker

    yield start_one
    for worker in started:
        worker.kill()
