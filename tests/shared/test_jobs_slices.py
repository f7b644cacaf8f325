"""Patient jobs: a slice at a time, everything else that is due first, one row from the wish to the end."""

from __future__ import annotations

from datetime import timedelta

import pytest
from django.utils import timezone

from shared import jobs
from shared.models import JobRun
from shared.schedule import JOBS, Job
from shared.tasks import run_job
from tests import sliced_jobs

pytestmark = pytest.mark.django_db
LONG, SHORT = "probe.long", "probe.short"
PERSON = JobRun.Trigger.PERSON


@pytest.fixture(autouse=True)
def probes(monkeypatch):
    monkeypatch.setitem(JOBS, LONG, Job("tests.sliced_jobs.long", "Long", patient=True))
    monkeypatch.setitem(JOBS, SHORT, Job("tests.sliced_jobs.short", "Short"))
    monkeypatch.setattr(jobs, "PATIENT_JOBS", frozenset({LONG}))
    monkeypatch.setattr(sliced_jobs, "done", [])
    return sliced_jobs.done


def test_what_is_short_is_done_before_a_patient_run_that_was_asked_for_earlier(probes):
    long = jobs.enqueue(LONG, trigger=PERSON, arguments={"slices": 1})
    short = jobs.enqueue(SHORT, trigger=PERSON)
    assert list(jobs.due(timezone.now())) == [short, long]
    run_job(long.pk)
    assert probes == ["short", "slice 1"]


def test_between_two_slices_a_run_asked_for_meanwhile_is_done(probes):
    long = jobs.enqueue(LONG, trigger=PERSON, arguments={"slices": 3})
    run_job(long.pk)
    long.refresh_from_db()
    assert (long.state, long.counts, long.lease_until, long.attempts) == ("queued", {"slices": 1}, None, 0)
    jobs.enqueue(SHORT, trigger=PERSON)
    run_job(long.pk), run_job(long.pk)
    long.refresh_from_db()
    assert (long.state, long.counts, long.progress_frac) == ("done", {"slices": 3}, 1.0)
    assert probes == ["slice 1", "short", "slice 2", "slice 3"]


def test_a_short_run_waits_for_no_other(probes):
    jobs.enqueue(LONG, trigger=PERSON, arguments={"slices": 1})
    run_job(jobs.enqueue(SHORT, trigger=PERSON).pk)
    assert probes == ["short"]


def test_a_run_of_the_same_that_an_edit_queued_meanwhile_does_the_rest(probes):
    first = jobs.enqueue(LONG, trigger=PERSON, arguments={"slices": 2})
    claimed = jobs.claim(first.pk, timezone.now())
    second = jobs.enqueue(LONG, trigger=PERSON, arguments={"slices": 2})
    assert claimed is not None
    assert jobs._do(claimed).state == "done"
    assert second != first
    assert list(jobs.due(timezone.now())) == [second]


def test_a_run_whose_lease_ran_out_is_neither_queued_again_nor_ended_by_its_first_worker(probes):
    run = jobs.enqueue(LONG, trigger=PERSON, arguments={"slices": 2})
    late = jobs.claim(run.pk, timezone.now())
    JobRun.objects.update(lease_until=timezone.now() - timedelta(seconds=1))
    heir = jobs.claim(run.pk, timezone.now())
    assert late is not None
    assert heir is not None
    jobs._do(late)
    now = JobRun.objects.get()
    assert (now.state, now.attempts, now.started_at) == ("running", 2, heir.started_at)


def test_done_at_once_means_to_the_end(probes):
    run = jobs.run_now(LONG, trigger=JobRun.Trigger.COMMAND, arguments={"slices": 3})
    assert (run.state, probes) == ("done", ["slice 1", "slice 2", "slice 3"])


def test_without_a_worker_every_slice_is_done(probes):
    jobs.enqueue(LONG, trigger=PERSON, arguments={"slices": 2})
    assert [run.state for run in jobs.run_due()] == ["queued", "done"]


def test_match_studies_are_patient_and_sweeps_are_not():
    assert {name for name, job in JOBS.items() if job.patient} == {"match.team", "match.build", LONG}
