"""Match studies as patient jobs: a share at a time, going on where the last slice stopped."""

from __future__ import annotations

from datetime import date

import pytest

from builds import tasks
from builds.models import Build, BuildState, Event, MatchStudy, Robot
from builds.selectors.match_studies import studies_of
from builds.services import match_studies
from builds.services.builds import build_copy
from builds.services.match_studies import match_studies_ask
from shared import jobs
from shared.models import JobRun
from tests.builds.match_shop import MatchShop, Simulator, make_match_shop, to_event

pytestmark = pytest.mark.django_db


@pytest.fixture
def simulator(monkeypatch) -> Simulator:
    made = Simulator()
    monkeypatch.setattr(match_studies, "run_studies", made)
    return made


@pytest.fixture
def shop() -> MatchShop:
    return make_match_shop()


def test_a_slice_ends_after_a_share_and_the_next_goes_on_where_it_stopped(shop, simulator, monkeypatch):
    monkeypatch.setattr(tasks, "SLICE_S", 0.0)
    monkeypatch.setattr(tasks, "REPORT_EVERY_S", 0.0)
    # A battery with so many matches is a share of its own.
    run = match_studies_ask(scope=shop.scope, build=shop.build, runs=600)
    first = jobs.perform(run.pk)
    assert first is not None
    assert (first.state, first.progress_frac, simulator.simulated) == ("queued", 0.5, ["New AGM"])
    assert studies_of(shop.scope, shop.build).run == run
    second = jobs.perform(run.pk)
    assert second is not None
    assert (second.state, simulator.simulated) == ("done", ["New AGM", "B01"])
    assert second.counts == {"builds": 1, "studies": 2, "simulated": 2}


def test_new_studies_have_the_plans_looked_at_once_they_are_done(shop, simulator, monkeypatch):
    monkeypatch.setattr(tasks, "SLICE_S", 0.0)
    run = match_studies_ask(scope=shop.scope, build=shop.build, runs=600)
    jobs.perform(run.pk)
    looks = JobRun.objects.filter(name="rotation.look", parent=run)
    assert not looks.exists()
    jobs.perform(run.pk)
    assert looks.get().team == shop.scope.team


def test_a_slice_that_kept_nothing_is_not_repeated(shop, simulator, monkeypatch):
    monkeypatch.setattr(tasks, "SLICE_S", 0.0)
    simulator.meanwhile = lambda: shop.change("MAIN", length_m=(shop["MAIN"].length_m or 1.0) + 0.1)
    done = jobs.perform(match_studies_ask(scope=shop.scope, build=shop.build, runs=600).pk)
    assert done is not None
    assert (done.state, done.counts["dropped"], len(simulator.asked)) == ("done", 2, 2)


def test_a_build_whose_simulation_fails_holds_no_other_up(shop, simulator):
    to_event(shop)
    other = Robot.objects.create(team=shop.scope.team, code="EGRET", name="Egret", season=shop["season"])
    build_copy(scope=shop.scope, build=shop.build, robot=other, label="rev A", dated=date(2026, 3, 1))
    Build.objects.update(state=BuildState.CURRENT)
    Event.objects.get().robots.set(Robot.objects.all())

    def fail() -> None:
        if len(simulator.asked) == 1:
            raise ValueError("no such robot")

    simulator.meanwhile = fail
    run = jobs.run_now(tasks.TEAM_JOB, trigger="command", team=shop.scope.team)
    assert (run.state, run.error) == ("failed", f"ValueError: {shop.build}: no such robot")
    assert set(MatchStudy.objects.values_list("build__robot__code", flat=True)) == {"EGRET"}
