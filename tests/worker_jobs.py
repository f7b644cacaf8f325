"""What the jobs of tests.worker_app do; in its own module, since models need loaded apps to be imported."""

from __future__ import annotations

import time
from collections.abc import Sequence
from dataclasses import replace
from datetime import datetime
from typing import Any
from unittest import mock

from builds import tasks as builds_tasks
from builds.match_study import run_studies
from builds.services import match_studies
from compliance import tasks
from compliance.rotation_tasks import rotation_plan
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


def slow_studies(run: JobRun) -> builds_tasks.Answer:
    """The real studies of a build, short matches, a battery at a time, but stuck in the second at its first attempt."""
    done: list[Any] = []

    def slow(robot: Any, batteries: Sequence[Any], runs: int, progress: Any) -> list[dict[str, Any]]:
        if done and run.attempts == 1:
            time.sleep(600)
        done.append(batteries)
        return run_studies(replace(robot, match_s=1.0), batteries, runs, progress)

    with (
        mock.patch.object(match_studies, "run_studies", slow),
        mock.patch.object(match_studies, "BATTERIES_AT_ONCE", 1),
        # On a slow machine too the first attempt gets as far as the second battery.
        mock.patch.object(builds_tasks, "SLICE_S", 600.0),
    ):
        return builds_tasks.match_build(run)


def slow_plan(run: JobRun) -> dict[str, int]:
    """The real search for a rotation, but stuck at its first attempt."""
    if run.attempts == 1:
        time.sleep(600)
    return rotation_plan(run)
