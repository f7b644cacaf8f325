"""Runs of the background jobs as a team sees them, and the wish of a person to have one now."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Any

from django.db.models import F, Q, QuerySet, Window
from django.db.models.functions import RowNumber
from django.utils import timezone

from shared import jobs
from shared.access import Can, Scope
from shared.errors import DomainError
from shared.models import JobRun
from shared.schedule import JOBS, SWEEPS_AFTER, Job

#: Jobs that a team can ask for: those that an edit of its rows sets off.
TEAM_JOBS: dict[str, Job] = {
    name: job for name, job in JOBS.items() if any(name in names for names in SWEEPS_AFTER.values())
}


@dataclass(frozen=True)
class JobState:
    """A job and how it last went for a team."""

    name: str
    job: Job
    last_good: JobRun | None
    last: JobRun | None
    may_ask: bool


def team_runs(scope: Scope) -> QuerySet[JobRun]:
    """Runs that looked at this team: its own, and those over every team. Newest first."""
    everyone = Q(team__isnull=True, parent__isnull=True)
    return JobRun.objects.filter(Q(team=scope.team) | everyone).select_related("asked_by", "team")


def runs_waiting(scope: Scope) -> list[JobRun]:
    """The team's own runs that are queued or at work."""
    return list(scope.rows(JobRun).filter(state__in=[JobRun.State.QUEUED, JobRun.State.RUNNING]))


def job_states(scope: Scope) -> list[JobState]:
    """Each job with its last good and its last run, in two queries."""
    runs = team_runs(scope)
    good = _newest(runs.filter(state=JobRun.State.DONE))
    last = _newest(runs)
    asks = scope.can(Can.SUPPLY)
    return [
        JobState(name, job, _later(name, good), _later(name, last), asks and name in TEAM_JOBS)
        for name, job in JOBS.items()
        if name in TEAM_JOBS or job.every is not None
    ]


def _later(name: str, newest: dict[str, JobRun]) -> JobRun | None:
    """The job's own newest run, or the newest of the job that does this one too."""
    runs = [newest[n] for n in (name, JOBS[name].done_by) if n in newest]
    return max(runs, key=lambda run: (run.asked_at, run.pk), default=None)


def _newest(runs: QuerySet[JobRun]) -> dict[str, JobRun]:
    numbered = runs.order_by().annotate(
        place=Window(RowNumber(), partition_by=F("name"), order_by=[F("asked_at").desc(), F("pk").desc()])
    )
    return {run.name: run for run in numbered.filter(place=1)}


def ask_for(*, scope: Scope, names: Sequence[str]) -> list[JobRun]:
    """Queue runs of these jobs for the team at once; a run that is queued already is used."""
    scope.require(Can.SUPPLY)
    for name in names:
        if name not in TEAM_JOBS:
            raise DomainError(
                f"No job that a team can ask for is called {name}",
                field="name",
                value=name,
                remedy=f"Choose one of {', '.join(TEAM_JOBS)}",
            )
    return [
        jobs.enqueue(name, team=scope.team, trigger=JobRun.Trigger.PERSON, asked_by=scope.user)
        for name in names
    ]


def progress(run: JobRun, now: datetime) -> dict[str, Any]:
    """How far a run is, as ``web/_progress.html`` shows it."""
    finished = run.state in (JobRun.State.DONE, JobRun.State.FAILED)
    waited_s = (now - max(run.asked_at, run.not_before)).total_seconds()
    message = run.error
    if run.state == JobRun.State.QUEUED and waited_s > 30:
        message = f"It has waited {waited_s:.0f} s: is a worker running?"
    percent = round(100 * run.progress_frac)
    return {
        "label": JOBS[run.name].title if run.name in JOBS else run.name,
        "state": run.get_state_display().lower(),
        "done": percent,
        "total": 100 if percent and not finished else 0,
        "message": message or ("Reload the page to see what it found." if finished else ""),
        "finished": finished,
    }


def under_way(scope: Scope) -> list[tuple[JobRun, dict[str, Any]]]:
    """The team's runs that are queued or at work, each with how far it is."""
    now = timezone.now()
    return [(run, progress(run, now)) for run in runs_waiting(scope)]
