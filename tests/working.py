"""Real worker processes for tests, on the test database and the broker of the run."""

from __future__ import annotations

import os
import signal
import subprocess
import sys
import time
from collections.abc import Callable
from pathlib import Path

from django.db import connection

REPOSITORY = Path(__file__).resolve().parents[1]


def wait_for(condition: Callable[[], object], *, within_s: float, what: str) -> None:
    """Look again and again until the condition holds; fail, saying what was awaited, when it does not."""
    until = time.monotonic() + within_s
    while not condition():
        if time.monotonic() > until:
            raise AssertionError(f"not within {within_s:g} s: {what}")
        time.sleep(0.05)


def test_database_url() -> str:
    """DATABASE_URL of the run, with the name of the test database in it."""
    return f"{os.environ['DATABASE_URL'].rpartition('/')[0]}/{connection.settings_dict['NAME']}"


class Worker:
    """One worker process of its own, as production runs it, with two children."""

    def __init__(self, log: Path) -> None:
        self.log = log
        with log.open("wb") as out:
            self.process = subprocess.Popen(
                [sys.executable, "-m", "celery", "-A", "tests.worker_app", "worker", "-c", "2", "-l", "INFO"],
                cwd=REPOSITORY,
                env={**os.environ, "DATABASE_URL": test_database_url()},
                stdin=subprocess.DEVNULL,
                stdout=out,
                stderr=subprocess.STDOUT,
                start_new_session=True,
            )

    def wait_until_ready(self) -> None:
        wait_for(
            lambda: " ready." in self.log.read_text(), within_s=30, what=f"a ready worker, see {self.log}"
        )

    def kill(self) -> None:
        """SIGKILL for the worker and its children at once, as when the machine loses power."""
        if self.process.poll() is None:
            os.killpg(self.process.pid, signal.SIGKILL)
        self.process.wait()

    def stop(self) -> None:
        """SIGTERM: what is in hand is finished."""
        self.process.terminate()
        self.process.wait(timeout=30)
