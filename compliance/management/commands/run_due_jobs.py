"""`manage.py run_due_jobs`: what worker and clock do, once, in this process and without a broker."""

from __future__ import annotations

from typing import Any

from django.conf import settings
from django.core.management.base import BaseCommand, CommandError

from shared import jobs
from shared.models import JobRun
from shared.schedule import JOBS


class Command(BaseCommand):
    help = (
        "Start the scheduled jobs whose time has come, do every run that is due, and end. "
        "For a machine without a worker: call it every few minutes. Beside a worker it does no harm."
    )

    def handle(self, *args: Any, **options: Any) -> None:
        for name in settings.SCHEDULED_JOBS:
            if _has_come(name):
                jobs.enqueue(name, trigger=JobRun.Trigger.SCHEDULE)
        runs = []
        for run in jobs.run_due():
            self.stdout.write(_line(run))
            runs.append(run)
        failed = sum(run.state == JobRun.State.FAILED for run in runs)
        self.stdout.write(f"{len(runs)} runs, {failed} of them failed." if runs else "No run was due.")
        if failed:
            raise CommandError("Some runs failed; their rows say why.")


def _has_come(name: str) -> bool:
    """Whether the job's time has come since it was last started by the clock (or it never was)."""
    every = JOBS[name].every
    last = (
        JobRun.objects.filter(name=name, trigger=JobRun.Trigger.SCHEDULE)
        .order_by("-asked_at")
        .values_list("asked_at", flat=True)
        .first()
    )
    return every is not None and (last is None or every.is_due(last)[0])


def _line(run: JobRun) -> str:
    team = f" of {run.team}" if run.team else ""
    seconds = f"{run.duration_s:.1f} s" if run.duration_s is not None else "no time"
    counts = ", ".join(f"{number} {name.replace('_', ' ')}" for name, number in run.counts.items())
    end = run.error if run.state == JobRun.State.FAILED else counts
    return f"{JOBS[run.name].title}{team}: {run.get_state_display().lower()} in {seconds}. {end}".rstrip()
