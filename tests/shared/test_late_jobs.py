"""When a background job counts as late, and when it does not yet."""

from __future__ import annotations

from datetime import timedelta

import pytest
from django.utils import timezone

from shared import jobs
from shared.models import JobRun, Team
from shared.schedule import JOBS

pytestmark = pytest.mark.django_db
NIGHTLY = "sweep.all"


def finished(ago: timedelta) -> None:
    then = timezone.now() - ago
    JobRun.objects.create(
        name=NIGHTLY, dedupe_key=str(ago), state="done", trigger="schedule",
        asked_at=then, not_before=then, started_at=then, finished_at=then,
    )  # fmt: skip


def aged_team(age: timedelta) -> None:
    team = Team.objects.create(name="Gull Point", slug="gull-point")
    Team.objects.filter(pk=team.pk).update(created_at=timezone.now() - age)


def test_a_new_set_up_is_not_late() -> None:
    assert jobs.late_jobs(timezone.now()) == []
    aged_team(timedelta(hours=1))
    assert jobs.late_jobs(timezone.now()) == []


def test_a_job_that_never_ran_is_late_after_twice_its_period() -> None:
    aged_team(timedelta(days=3))
    (sentence,) = jobs.late_jobs(timezone.now())
    assert sentence == f"{JOBS[NIGHTLY].title}: never finished."


def test_a_job_is_late_by_its_last_good_run() -> None:
    aged_team(timedelta(days=30))
    finished(timedelta(days=3))
    (sentence,) = jobs.late_jobs(timezone.now())
    assert "last finished" in sentence
    finished(timedelta(hours=20))
    assert jobs.late_jobs(timezone.now()) == []


def test_runs_that_wait_ask_for_the_worker() -> None:
    aged_team(timedelta(hours=1))
    then = timezone.now() - timedelta(minutes=11)
    JobRun.objects.create(
        name="sweep.loads", dedupe_key="x", state="queued", trigger="edit", asked_at=then, not_before=then
    )
    (sentence,) = jobs.late_jobs(timezone.now())
    assert "is a worker running?" in sentence
