"""A worker killed in the middle of a sweep loses nothing: what it had finished stays, the rest is done by the next."""

from __future__ import annotations

import pytest

from compliance.models import Flag, FlagEvent
from shared import jobs
from shared.models import JobRun, Team
from shared.tasks import nudge_due
from tests import worker_app
from tests.inventory.stockroom import make_part, make_team
from tests.working import wait_for

pytestmark = [pytest.mark.worker, pytest.mark.django_db(transaction=True)]


def short_team() -> Team:
    """A team whose two parts are below their floor, and one that is not."""
    team = make_team()
    for code, floor in (("FUSE30", 5), ("LUG6", 2), ("TIE", 0)):
        make_part(team, code, minimum_stock=floor)
    return team


def flagged(team: Team) -> list[str]:
    return list(
        Flag.objects.filter(team=team).order_by("subject_label").values_list("subject_label", flat=True)
    )


def state_of(run: JobRun) -> str:
    run.refresh_from_db()
    return run.state


def test_a_sweep_whose_worker_is_killed_is_done_by_the_next(start):
    first, second, third = (short_team() for _ in range(3))
    worker = start()
    run = jobs.enqueue(
        worker_app.SLOW_SWEEP, trigger=JobRun.Trigger.COMMAND, arguments={"stuck_at": second.pk}
    )
    wait_for(lambda: flagged(first), within_s=15, what="the first team is swept")
    worker.kill()
    assert state_of(run) == JobRun.State.RUNNING
    assert flagged(first) == ["FUSE30", "LUG6"]
    assert flagged(second) == flagged(third) == []

    start()

    def done_after_a_look() -> bool:
        nudge_due()  # what the clock does every few seconds
        return state_of(run) == JobRun.State.DONE

    wait_for(
        done_after_a_look, within_s=worker_app.LEASE_S + 20, what="the sweep is done by the second worker"
    )
    assert run.attempts == 2
    assert [flagged(team) for team in (first, second, third)] == [["FUSE30", "LUG6"]] * 3
    assert set(FlagEvent.objects.values_list("kind", flat=True)) == {"opened"}
    assert FlagEvent.objects.count() == 6
    assert (run.counts["teams"], run.counts["open"], run.counts["opened"]) == (3, 6, 4)


def test_a_league_is_shared_out_and_done_by_two_workers(start):
    teams = [short_team() for _ in range(4)]
    for team in teams:
        jobs.enqueue("sweep.chunk", trigger=JobRun.Trigger.PARENT, arguments={"team_ids": [team.pk]})
    start(), start()
    for run in JobRun.objects.all():
        jobs.nudge(run.pk)
        jobs.nudge(run.pk)
    wait_for(
        lambda: not JobRun.objects.exclude(state__in=["done", "failed"]).exists(),
        within_s=30,
        what="all shares are done",
    )
    assert set(JobRun.objects.values_list("state", "attempts", "error")) == {("done", 1, "")}
    assert [flagged(team) for team in teams] == [["FUSE30", "LUG6"]] * 4
