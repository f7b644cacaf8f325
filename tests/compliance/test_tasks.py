"""The jobs: which teams they judge, how they share work out, and that a failure of one is no failure of all."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import datetime
from typing import Any

import pytest
from django.utils.module_loading import import_string

from compliance import tasks
from compliance.models import Flag
from compliance.rules.base import Finding
from compliance.sweeps import registry
from inventory.models import Part
from shared import jobs
from shared.models import JobRun, Team
from shared.schedule import JOBS
from tests.compliance.findings import finding
from tests.inventory.stockroom import make_part, make_team

pytestmark = pytest.mark.django_db


class Judge:
    """Finders of all three sweeps that flag every part of the teams, and note which teams they were asked for."""

    def __init__(self) -> None:
        self.asked: list[tuple[str, tuple[int, ...]]] = []
        self.broken = ""

    def finder_of(self, sweep: str) -> Any:
        def find(team_ids: Sequence[int], *, now: datetime) -> tuple[list[Finding], dict[str, int]]:
            self.asked.append((sweep, tuple(team_ids)))
            if sweep == self.broken:
                raise ZeroDivisionError("a wire without area")
            parts = list(Part.objects.filter(team_id__in=team_ids))
            return [finding(part, rule=f"{sweep}-rule") for part in parts], {"parts": len(parts)}

        return find


@pytest.fixture
def judge(monkeypatch) -> Judge:
    made = Judge()
    monkeypatch.setattr("compliance.services.flags.finder_of", made.finder_of)
    return made


@pytest.fixture
def league(judge, monkeypatch) -> list[Team]:
    """Five teams with a part each, two to a chunk."""
    monkeypatch.setattr(tasks, "TEAMS_PER_CHUNK", 2)
    teams = [make_team() for _ in range(5)]
    for team in teams:
        make_part(team, "FUSE30")
    return teams


def ids(teams: Sequence[Team]) -> tuple[int, ...]:
    return tuple(team.pk for team in teams)


def test_every_job_names_a_function_that_exists():
    for job in JOBS.values():
        assert callable(import_string(job.function))


@pytest.mark.parametrize("sweep", registry.SWEEPS)
def test_a_sweep_of_a_team_judges_that_team_only(judge, league, sweep):
    run = jobs.enqueue(f"sweep.{sweep}", trigger="person", team=league[1])
    done = jobs.perform(run.pk)
    assert done is not None
    assert (done.state, done.error) == ("done", "")
    assert judge.asked == [(sweep, ids(league[1:2]))]
    assert done.counts == {
        "teams": 1, "parts": 1, "open": 1, "opened": 1, "reopened": 0, "escalated": 0, "eased": 0, "cleared": 0,
    }  # fmt: skip
    assert Flag.objects.get().run_id == run.pk


def test_few_teams_are_swept_in_one_go_and_archived_ones_not_at_all(judge, league):
    Team.objects.filter(pk__in=ids(league[2:])).update(archived=True)
    done = jobs.perform(jobs.enqueue("sweep.all", trigger="schedule").pk)
    assert done is not None
    assert judge.asked == [(sweep, ids(league[:2])) for sweep in ("batteries", "loads", "stock")]
    assert (done.counts["teams"], done.counts["open"]) == (2, 6)
    assert JobRun.objects.count() == 1


def test_many_teams_are_shared_out_and_together_the_same_is_done(judge, league):
    parent = jobs.perform(jobs.enqueue("sweep.all", trigger="schedule").pk)
    assert parent is not None
    assert parent.counts == {"teams": 5, "chunks": 3}
    assert judge.asked == []
    assert not Flag.objects.exists()
    shares = list(jobs.run_due())
    assert [(run.name, run.state, run.trigger, run.parent_id) for run in shares] == [
        ("sweep.chunk", "done", "parent", parent.pk)
    ] * 3
    assert [t for sweep, t in judge.asked if sweep == "loads"] == [
        ids(league[:2]), ids(league[2:4]), ids(league[4:]),
    ]  # fmt: skip
    assert Flag.objects.count() == 15


def test_chunks_that_begin_alike_are_not_taken_for_one(judge, league):
    many = list(range(10**6, 10**6 + 50))
    runs = {
        jobs.enqueue("sweep.chunk", trigger="parent", arguments={"team_ids": [*many, last]}).pk
        for last in (1, 2, 2)
    }
    assert len(runs) == 2
    assert all(len(key) <= 200 for key in JobRun.objects.values_list("dedupe_key", flat=True))


def test_a_parent_done_twice_queues_each_share_once(judge, league):
    first = jobs.perform(jobs.enqueue("sweep.all", trigger="schedule").pk)
    again = jobs.perform(jobs.enqueue("sweep.all", trigger="schedule").pk)
    assert first is not None
    assert again is not None
    assert JobRun.objects.filter(name="sweep.chunk").count() == 3


def test_a_command_does_all_of_it_itself(judge, league):
    run = jobs.run_now("sweep.all", trigger="command")
    assert run.state == "done"
    assert run.counts["teams"] == 5
    assert Flag.objects.count() == 15
    assert JobRun.objects.count() == 1


def test_sweeping_twice_changes_nothing(judge, league):
    jobs.run_now("sweep.all", trigger="command")
    before = list(Flag.objects.order_by("pk").values())
    again = jobs.run_now("sweep.all", trigger="command")
    assert (again.counts["opened"], again.counts["open"]) == (0, 15)
    assert list(Flag.objects.order_by("pk").values()) == before


def test_what_fails_is_told_and_the_rest_is_done(judge, league):
    judge.broken = "batteries"
    run = jobs.run_now("sweep.all", trigger="command", team=league[0])
    assert run.state == "failed"
    assert "batteries of teams" in run.error
    assert "ZeroDivisionError: a wire without area" in run.error
    assert set(Flag.objects.values_list("sweep", flat=True)) == {"loads", "stock"}


def test_the_lease_is_held_and_progress_shown_between_chunks(judge, league, monkeypatch):
    seen: list[float] = []
    held = jobs.report_progress

    def watch(run: JobRun, frac: float) -> None:
        held(run, frac)
        run.refresh_from_db()
        assert run.lease_until is not None
        seen.append(run.progress_frac)

    monkeypatch.setattr(jobs, "report_progress", watch)
    jobs.run_now("sweep.loads", trigger="command")
    assert seen == pytest.approx([1 / 3, 2 / 3, 1])


def test_a_lease_is_short_enough_that_a_dead_worker_is_noticed_soon():
    assert {job.lease_s for name, job in JOBS.items() if name.startswith("sweep.")} == {120}
