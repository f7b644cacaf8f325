"""Jobs through a real broker by real worker processes: done once, and never lost, SIGKILL included."""

from __future__ import annotations

import pytest

from shared import jobs
from shared.models import JobRun
from shared.tasks import nudge_due
from tests import worker_app
from tests.working import wait_for

pytestmark = [pytest.mark.worker, pytest.mark.django_db(transaction=True)]
State = JobRun.State


def ask(number: int = 0, *, sleep_s: float = 0.0) -> JobRun:
    arguments = {"sleep_s": sleep_s, "number": number}
    return jobs.enqueue(worker_app.PROBE, trigger=JobRun.Trigger.COMMAND, arguments=arguments)


def state_of(run: JobRun) -> str:
    run.refresh_from_db()
    return run.state


def test_a_queued_run_is_done_by_the_worker(start):
    start()
    run = ask()
    wait_for(lambda: state_of(run) == State.DONE, within_s=10, what="the run is done")
    assert run.counts == {"attempt": 1}
    assert run.progress_frac == 1.0


def test_a_run_queued_while_no_worker_runs_waits_for_one(start):
    run = ask()
    assert state_of(run) == State.QUEUED
    start()
    wait_for(lambda: state_of(run) == State.DONE, within_s=10, what="the run is done")
    assert run.attempts == 1


def test_a_run_whose_worker_is_killed_is_done_by_the_next(start):
    worker = start()
    run = ask(sleep_s=4)
    wait_for(lambda: state_of(run) == State.RUNNING, within_s=10, what="the run has begun")
    worker.kill()
    assert state_of(run) == State.RUNNING

    start()

    def done_after_a_look() -> bool:
        nudge_due()  # what the clock does every few seconds
        return state_of(run) == State.DONE

    wait_for(done_after_a_look, within_s=worker_app.LEASE_S + 15, what="the run is done by the second worker")
    assert run.counts == {"attempt": 2}


def test_doubled_nudges_and_two_workers_do_each_run_once(start):
    start(), start()
    runs = [ask(number, sleep_s=0.2) for number in range(8)]
    for run in runs:
        jobs.nudge(run.pk)
        jobs.nudge(run.pk)
    wait_for(lambda: all(state_of(run) == State.DONE for run in runs), within_s=20, what="all runs are done")
    assert [run.attempts for run in runs] == [1] * len(runs)


def test_a_worker_asked_to_end_finishes_what_it_has_in_hand(start):
    worker = start()
    run = ask(sleep_s=2)
    wait_for(lambda: state_of(run) == State.RUNNING, within_s=10, what="the run has begun")
    worker.stop()
    assert state_of(run) == State.DONE
    assert run.attempts == 1
