"""What the jobs of this app do: keep the match studies up to date.

Each function is named in ``shared.schedule.JOBS``, takes the run's row and returns the counts for it. All may be
run twice or at once: a study that is kept is not made again, and what a killed worker had finished stays.
"""

from __future__ import annotations

import time
from collections.abc import Callable

from django.utils import timezone

from builds.match_study import RUNS
from builds.models import Build
from builds.selectors.match_studies import studied_builds, studies_missing
from builds.services.match_studies import match_studies_update
from shared import jobs
from shared.access import system_scope
from shared.models import JobRun, Team

TEAM_JOB = "match.team"
REPORT_EVERY_S = 1.0


def match_build(run: JobRun) -> dict[str, int]:
    """The studies of the build named in the run's arguments, with as many runs as asked for."""
    assert run.team is not None
    builds = Build.objects.filter(pk=run.arguments["build_id"])
    return match_studies_update(
        scope=system_scope(run.team), builds=builds, runs=_runs(run), progress=_reporting(run)
    )


def match_team(run: JobRun) -> dict[str, int]:
    """The studies of the builds that the team's edits keep studied."""
    assert run.team is not None
    return match_studies_update(
        scope=system_scope(run.team),
        builds=studied_builds([run.team.pk], timezone.localdate()),
        runs=_runs(run),
        progress=_reporting(run),
    )


def match_all(run: JobRun) -> dict[str, int]:
    """Queue the studies of every team where some are missing: an edit may have been lost, or the method changed."""
    today = timezone.localdate()
    teams = list(Team.objects.filter(archived=False).order_by("pk"))
    counts = {"teams": len(teams), "queued": 0, "missing": 0}
    for done, team in enumerate(teams, start=1):
        missing = studies_missing(system_scope(team), today, RUNS)
        if missing:
            jobs.enqueue(TEAM_JOB, team=team, trigger=JobRun.Trigger.PARENT, parent=run)
            counts["queued"] += 1
            counts["missing"] += missing
        jobs.report_progress(run, done / len(teams))
    return counts


def _runs(run: JobRun) -> int:
    return int(run.arguments.get("runs", RUNS))


def _reporting(run: JobRun) -> Callable[[float], None]:
    """Progress for the run's row, at most once a second: the simulation tells it far more often."""
    last_s = time.monotonic() - REPORT_EVERY_S

    def report(frac: float) -> None:
        nonlocal last_s
        now_s = time.monotonic()
        if now_s - last_s >= REPORT_EVERY_S or frac >= 1.0:
            last_s = now_s
            jobs.report_progress(run, frac)

    return report
