"""What the job of tests.worker_app does; in its own module, since models need loaded apps to be imported."""

from __future__ import annotations

import time
from typing import Any

from shared.jobs import report_progress
from shared.models import JobRun


def slow_probe(run: JobRun) -> dict[str, Any]:
    """Works for `sleep_s` in small steps, holding its lease as a long sweep does."""
    until = time.monotonic() + float(run.arguments.get("sleep_s", 0))
    while time.monotonic() < until:
        time.sleep(0.2)
        report_progress(run, 0.5)
    return {"attempt": run.attempts}
