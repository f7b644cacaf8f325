"""Celery's view of the job rows: do one, or look for due ones. Both are safe to run twice or at once."""

from __future__ import annotations

from celery import shared_task
from django.utils import timezone

from shared import jobs
from shared.models import JobRun


@shared_task(name="shared.tasks.run_job")
def run_job(run_id: int) -> None:
    """Do the run of that row, if it is still to be done; a patient one after all others that are due."""
    for other_id in jobs.due_before(run_id, timezone.now()):
        jobs.perform(other_id)
    jobs.perform(run_id)


@shared_task(name="shared.tasks.nudge_due")
def nudge_due() -> int:
    """Nudge again for rows whose message was lost or whose worker died."""
    ids = list(jobs.due(timezone.now()).values_list("pk", flat=True)[:500])
    for run_id in ids:
        jobs.nudge(run_id)
    return len(ids)


@shared_task(name="shared.tasks.start_scheduled")
def start_scheduled(name: str) -> None:
    """Queue a scheduled job."""
    jobs.enqueue(name, trigger=JobRun.Trigger.SCHEDULE)
