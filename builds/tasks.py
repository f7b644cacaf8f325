"""What the jobs of this app do: keep the match studies up to date.

Each function is named in ``shared.schedule.JOBS``, takes the run's row and returns the counts for it. All may be
run twice or at once: a study that is kept is not made again, and what a killed worker had finished stays.
"""

from __future__ import annotations

import time
from collections.abc import Callable

from django.db.models import QuerySet
from django.utils import timezone

from builds.match_study import RUNS
from builds.models import Build
from builds.selectors.match_studies import studied_builds, studies_missing
from builds.services.match_studies import match_studies_update
from shared import jobs
from shared.access import system_scope
from shared.models import JobRun, Team

TEAM_JOB = "match.team"
#: Plans rest on what studies say.
LOOK_JOB = "rotation.look"
REPORT_EVERY_S = 1.0
#: A worker may be the only one: after so long the next share of studies waits until all other due runs are done.
SLICE_S = 5.0

Answer = dict[str, int] | jobs.Unfinished


def match_build(run: JobRun) -> Answer:
    """The studies of the build named in the run's arguments, with as many runs as asked for."""
    return _slice(run, Build.objects.filter(pk=run.arguments["build_id"]))


def match_team(run: JobRun) -> Answer:
    """The studies of the builds that the team's edits keep studied."""
    assert run.team is not None
    return _slice(run, studied_builds([run.team.pk], timezone.localdate()))


def _slice(run: JobRun, builds: QuerySet[Build]) -> Answer:
    """Some seconds' work on the studies of these builds; what then is left waits for the run's next turn."""
    assert run.team is not None
    counts = match_studies_update(
        scope=system_scope(run.team),
        builds=builds,
        runs=_runs(run),
        progress=_reporting(run),
        slice_s=SLICE_S,
    )
    left, simulated = counts.pop("left", 0), counts["simulated"]
    counts["simulated"] += run.counts.get("simulated", 0)
    # Nothing kept: others are at the same work, or edits go on and have queued their own run.
    if left and simulated:
        return jobs.Unfinished(counts)
    if counts["simulated"]:
        jobs.enqueue(LOOK_JOB, team=run.team, trigger=JobRun.Trigger.PARENT, parent=run)
    return counts


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
