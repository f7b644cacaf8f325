"""What the jobs of tests.worker_app do; in its own module, since models need loaded apps to be imported."""

from __future__ import annotations

import time
from collections.abc import Sequence
from datetime import datetime
from typing import Any
from unittest import mock

from compliance import tasks
from compliance.rules.base import Finding
from compliance.sweeps.registry import Find, finder_of
from shared.jobs import report_progress
from shared.models import JobRun


def slow_probe(run: JobRun) -> dict[str, Any]:
    """Works for `sleep_s` in small steps, holding its lease as a long sweep does."""
    until = time.monotonic() + float(run.arguments.get("sleep_s", 0))
    while time.monotonic() < until:
        time.sleep(0.2)
        report_progress(run, 0.5)
    return {"attempt": run.attempts}


def slow_sweep(run: JobRun) -> dict[str, int]:
    """The real stock sweep, a team to a chunk, but stuck in the second team at its first attempt."""
    stuck_at = run.arguments["stuck_at"] if run.attempts == 1 else None

    def slow(sweep: str) -> Find:
        def find(team_ids: Sequence[int], *, now: datetime) -> tuple[list[Finding], dict[str, int]]:
            answer = finder_of(sweep)(team_ids, now=now)
            if stuck_at in team_ids:
                time.sleep(600)
            return answer

        return find

    with (
        mock.patch("compliance.services.flags.finder_of", slow),
        mock.patch.object(tasks, "TEAMS_PER_CHUNK", 1),
    ):
        return tasks.sweep_stock(run)
