"""Match studies: made where something is missing, kept while it holds, harmless when made twice."""

from __future__ import annotations

from collections.abc import Callable
from datetime import date, timedelta
from typing import Any

import pytest
from django.db import connection
from django.http import Http404
from django.test.utils import CaptureQueriesContext
from django.utils import timezone

from builds import tasks
from builds.match_study import RUNS
from builds.models import Build, BuildState, Event, MatchStudy, Robot
from builds.selectors.match_studies import studied_builds, studies_missing, studies_of
from builds.services import match_studies
from builds.services.builds import build_copy
from builds.services.circuits import circuit_save
from builds.services.match_studies import match_studies_ask, match_studies_update
from inventory.models import Battery, Reading
from shared import jobs
from shared.errors import DomainError, NotAllowed
from shared.models import JobRun, Role
from shared.records import record_save
from shared.schedule import JOBS, SWEEPS_AFTER
from tests.builds.match_shop import MatchShop, Simulator, make_match_shop, to_event
from tests.inventory.stockroom import make_scope

pytestmark = pytest.mark.django_db
OTHER = "match.team"


@pytest.fixture
def simulator(monkeypatch) -> Simulator:
    made = Simulator()
    monkeypatch.setattr(match_studies, "run_studies", made)
    return made


@pytest.fixture
def shop() -> MatchShop:
    return make_match_shop()


def update(shop: MatchShop, **more: Any) -> dict[str, int]:
    return match_studies_update(scope=shop.scope, builds=shop.builds, **more)


# --- made once ---------------------------------------------------------------------------------------
def test_each_battery_in_service_and_a_new_one_are_studied(shop, simulator):
    assert update(shop) == {"builds": 1, "studies": 2, "simulated": 2}
    assert simulator.asked == [(["New AGM", "B01"], RUNS)]
    new, measured = MatchStudy.objects.order_by("battery_id")
    if new.battery_id is not None:
        new, measured = measured, new
    assert (new.battery, measured.battery) == (None, shop["B01"])
    assert {new.build, measured.build} == {shop.build}
    assert (measured.runs, measured.duration_s) == (RUNS, 150.0)
    assert measured.seed == new.seed > 0
    assert measured.outcome["summary"]["brownout_frac"] == 0.25


def test_what_is_unchanged_is_never_simulated_again(shop, simulator):
    update(shop)
    before = list(MatchStudy.objects.order_by("pk").values())
    assert update(shop)["simulated"] == 0
    assert len(simulator.asked) == 1
    assert list(MatchStudy.objects.order_by("pk").values()) == before


def test_a_reading_makes_only_its_battery_anew_and_leaves_one_study_each(shop, simulator):
    update(shop)
    shop.change("reading", resistance_mohm=19.0)
    assert update(shop)["simulated"] == 1
    assert simulator.simulated == ["New AGM", "B01", "B01"]
    assert MatchStudy.objects.count() == 2
    assert MatchStudy.objects.get(battery=shop["B01"]).key == shop.keys()["B01"]


def test_an_edited_circuit_makes_all_anew(shop, simulator):
    update(shop)
    shop.change("MAIN", length_m=1.1)
    assert update(shop)["simulated"] == 2
    assert set(MatchStudy.objects.values_list("key", flat=True)) == set(shop.keys().values())


def test_matches_last_as_long_as_the_season_says(shop, simulator):
    update(shop)
    shop.change("season", match_s=120.0)
    assert update(shop)["simulated"] == 2
    assert set(MatchStudy.objects.values_list("duration_s", flat=True)) == {120.0}


def test_more_runs_replace_fewer_and_fewer_never_more(shop, simulator):
    update(shop, runs=50)
    assert update(shop, runs=200)["simulated"] == 2
    assert update(shop, runs=50)["simulated"] == 0
    assert set(MatchStudy.objects.values_list("runs", flat=True)) == {200}


def test_a_battery_out_of_service_is_not_studied_and_its_study_is_kept(shop, simulator):
    update(shop)
    shop.change("B01", state="quarantine", state_reason="swollen")
    assert update(shop) == {"builds": 1, "studies": 1, "simulated": 0}
    assert MatchStudy.objects.count() == 2


def test_an_answer_that_an_edit_overtook_is_dropped(shop, simulator):
    simulator.meanwhile = lambda: shop.change("DRIVE-1", length_m=2.0)
    assert update(shop) == {"builds": 1, "studies": 2, "simulated": 0, "dropped": 2}
    assert not MatchStudy.objects.exists()
    simulator.meanwhile = lambda: None
    assert update(shop)["simulated"] == 2


def test_what_another_worker_wrote_meanwhile_is_left_alone(shop, simulator):
    first = Simulator()

    def other_worker() -> None:
        simulator.meanwhile = lambda: None
        match_studies_update(scope=shop.scope, builds=shop.builds)

    simulator.meanwhile = other_worker
    counts = update(shop)
    assert counts == {"builds": 1, "studies": 2, "simulated": 0, "dropped": 2}
    assert MatchStudy.objects.count() == 2
    assert first.asked == []


def test_a_build_that_is_deleted_meanwhile_does_no_harm(shop, simulator):
    def deleted() -> None:
        for code in ("DRIVE-1", "DRIVE-2", "PUMP", "CPU", "RADIO", "MAIN"):
            shop[code].delete()
        shop.build.delete()

    simulator.meanwhile = deleted
    assert update(shop)["simulated"] == 0
    assert not MatchStudy.objects.exists()


def test_shares_are_written_one_by_one(shop, simulator, monkeypatch):
    """What a killed worker had finished stays; the next one does the rest."""
    monkeypatch.setattr(match_studies, "BATTERIES_AT_ONCE", 1)

    def killed_in_the_second() -> None:
        if len(simulator.asked) == 2:
            raise SystemExit("killed")

    simulator.meanwhile = killed_in_the_second
    with pytest.raises(SystemExit):
        update(shop)
    assert MatchStudy.objects.count() == 1
    simulator.meanwhile = lambda: None
    assert update(shop)["simulated"] == 1
    assert simulator.simulated == ["New AGM", "B01", "B01"]


# --- asked for ---------------------------------------------------------------------------------------
def test_a_person_asks_for_a_build_once(shop, simulator):
    first = match_studies_ask(scope=shop.scope, build=shop.build)
    assert match_studies_ask(scope=shop.scope, build=shop.build) == first
    assert (first.name, first.trigger, first.asked_by) == ("match.build", "person", shop.scope.user)
    done = jobs.perform(first.pk)
    assert done is not None
    assert (done.state, done.error) == ("done", "")
    assert done.counts == {"builds": 1, "studies": 2, "simulated": 2}


def test_the_wish_for_more_runs_is_another_run_and_is_heeded(shop, simulator):
    jobs.perform(match_studies_ask(scope=shop.scope, build=shop.build).pk)
    jobs.perform(match_studies_ask(scope=shop.scope, build=shop.build, runs=500).pk)
    assert set(MatchStudy.objects.values_list("runs", flat=True)) == {500}


@pytest.mark.parametrize("runs", [0, 19, 2001])
def test_too_few_or_too_many_runs_are_refused(shop, runs):
    with pytest.raises(DomainError, match="Choose from 20 to 2000") as refused:
        match_studies_ask(scope=shop.scope, build=shop.build, runs=runs)
    assert refused.value.field == "runs"
    assert not JobRun.objects.exists()


def test_an_auditor_may_not_ask_and_a_stranger_finds_no_build(shop):
    with pytest.raises(NotAllowed):
        match_studies_ask(scope=make_scope(shop.scope.team, Role.AUDITOR), build=shop.build)
    with pytest.raises(Http404):
        match_studies_ask(scope=make_match_shop().scope, build=shop.build)


def test_progress_is_reported_and_the_lease_held(shop, simulator, monkeypatch):
    monkeypatch.setattr(match_studies, "BATTERIES_AT_ONCE", 1)
    seen: list[float] = []
    held = jobs.report_progress

    def watch(run: JobRun, frac: float) -> None:
        held(run, frac)
        run.refresh_from_db()
        assert run.lease_until is not None
        seen.append(run.progress_frac)

    monkeypatch.setattr(jobs, "report_progress", watch)
    monkeypatch.setattr(tasks, "REPORT_EVERY_S", 0.0)
    jobs.perform(match_studies_ask(scope=shop.scope, build=shop.build).pk)
    assert seen == pytest.approx([0.25, 0.5, 0.75, 1.0])
    seen.clear()
    monkeypatch.setattr(tasks, "REPORT_EVERY_S", 60.0)
    jobs.perform(match_studies_ask(scope=shop.scope, build=shop.build, runs=300).pk)
    assert seen == pytest.approx([0.25, 1.0]), "the first and the last; not one write per step"


# --- set off -----------------------------------------------------------------------------------------
def test_an_edited_circuit_queues_the_teams_studies_once_after_a_while(shop):
    for length in (1.1, 1.2):
        shop["DRIVE-1"].length_m = length
        circuit_save(scope=shop.scope, circuit=shop["DRIVE-1"])
    run = JobRun.objects.get(name=OTHER)
    assert (run.team, run.trigger) == (shop.scope.team, JobRun.Trigger.EDIT)
    assert (run.not_before - run.asked_at).total_seconds() == pytest.approx(JOBS[OTHER].debounce_s)


@pytest.mark.parametrize(
    "name",
    ["W3", "F40", "MOTOR", "AGM", "B01", "reading", "test", "season", "robot", "build", "profile", "push"],
)
def test_every_row_that_enters_sets_them_off(shop, name):
    record_save(scope=shop.scope, instance=shop[name])
    assert JobRun.objects.filter(name=OTHER).count() == 1


def test_the_table_of_what_sets_them_off_leaves_out_what_does_not_enter():
    assert {label for label, names in SWEEPS_AFTER.items() if OTHER in names} == {
        "inventory.WireType", "inventory.ProtectiveDevice", "inventory.DevicePoint", "inventory.Component",
        "inventory.BatteryModel", "inventory.Battery", "inventory.Reading", "inventory.CapacityTest",
        "builds.Season", "builds.Robot", "builds.Build", "builds.Circuit", "builds.DutyProfile", "builds.DutyPhase",
        "builds.Event",
    }  # fmt: skip


def test_edits_keep_studied_what_goes_to_an_event_or_was_studied_before(shop, simulator):
    today = timezone.localdate()

    def chosen() -> list[Build]:
        return list(studied_builds([shop.scope.team.pk], today))

    assert chosen() == []
    event = to_event(shop)
    assert chosen() == [shop.build]
    assert list(studied_builds([shop.scope.team.pk], event.ends_on)) == [shop.build]
    assert list(studied_builds([shop.scope.team.pk], event.ends_on + timedelta(days=1))) == []
    event.delete()
    update(shop)
    assert chosen() == [shop.build], "studied before: somebody asked"
    shop.change("build", state=BuildState.PAST)
    assert chosen() == []


def test_the_teams_job_does_the_robots_of_its_own_team(shop, simulator):
    other = make_match_shop()
    to_event(shop), to_event(other)
    run = jobs.run_now(OTHER, trigger="command", team=shop.scope.team)
    assert (run.state, run.counts) == ("done", {"builds": 1, "studies": 2, "simulated": 2})
    assert set(MatchStudy.objects.values_list("team", flat=True)) == {shop.scope.team.pk}


def test_the_night_queues_teams_where_something_is_missing(shop, simulator):
    idle, other = make_match_shop(), make_match_shop()
    to_event(shop), to_event(other)
    match_studies_update(scope=other.scope, builds=other.builds)
    run = jobs.run_now("match.all", trigger="schedule")
    assert run.counts == {"teams": 3, "queued": 1, "missing": 2}
    queued = JobRun.objects.get(state=JobRun.State.QUEUED)
    assert (queued.name, queued.team, queued.parent) == (tasks.TEAM_JOB, shop.scope.team, run)
    assert idle.scope.team != shop.scope.team
    done = [(run.name, run.state) for run in jobs.run_due(leave=["rotation.look"])]
    assert done == [(tasks.TEAM_JOB, "done")]
    assert jobs.run_now("match.all", trigger="schedule").counts["queued"] == 0


# --- read --------------------------------------------------------------------------------------------
def test_the_studies_of_a_build_tell_what_holds_and_what_cannot_be_studied(shop, simulator):
    found = studies_of(shop.scope, shop.build)
    assert [(row.label, row.study, row.fresh) for row in found.rows[:2]] == [
        ("New AGM", None, False), ("B01", None, False),
    ]  # fmt: skip
    assert (found.missing, found.run, found.cannot) == (2, None, "")
    assert (found.rows[2].label, found.rows[2].reason) == ("B02", "it was never measured")
    update(shop)
    run = match_studies_ask(scope=shop.scope, build=shop.build)
    shop.change("reading", resistance_mohm=19.0)
    found = studies_of(shop.scope, shop.build)
    assert [(row.label, row.fresh) for row in found.rows[:2]] == [("New AGM", True), ("B01", False)]
    assert found.rows[1].summary == {"brownout_frac": 0.25, "lowest_v": 7.0}
    assert "19.0 mΩ" in found.rows[1].words
    assert (found.missing, found.run) == (1, run)


def test_a_build_without_circuits_says_so(shop, simulator):
    empty = Build.objects.create(
        team=shop.scope.team, robot=shop["robot"], label="rev B", dated=date(2026, 3, 1)
    )
    found = studies_of(shop.scope, empty)
    assert (found.cannot, found.missing) == ("No circuit of it has a wire type, a length and a load.", 0)
    assert match_studies_update(scope=shop.scope, builds=Build.objects.filter(pk=empty.pk))["simulated"] == 0


def queries(act: Callable[[], object]) -> int:
    with CaptureQueriesContext(connection) as caught:
        act()
    return len(caught)


def test_the_number_of_queries_grows_neither_with_batteries_nor_with_builds(shop, simulator):
    to_event(shop)
    update(shop)
    today = timezone.localdate()

    def count() -> tuple[int, int]:
        return (
            queries(lambda: studies_of(shop.scope, shop.build)),
            queries(lambda: studies_missing(shop.scope, today, RUNS)),
        )

    few = count()
    for number in range(3, 9):
        battery = Battery.objects.create(
            team=shop.scope.team, code=f"B0{number}", model=shop["AGM"], acquired_on=date(2025, 1, 10)
        )
        Reading.objects.create(team=shop.scope.team, battery=battery, taken_at=timezone.now(), resistance_mohm=14,
                               method="pulse2", instrument="Meter A")  # fmt: skip
        robot = Robot.objects.create(
            team=shop.scope.team, code=f"EGRET-{number}", name="Egret", season=shop["season"]
        )
        build_copy(scope=shop.scope, build=shop.build, robot=robot, label="rev A", dated=date(2026, 3, 1))
    Build.objects.update(state=BuildState.CURRENT)
    Event.objects.get().robots.set(Robot.objects.all())
    assert studies_missing(shop.scope, today, RUNS) == 7 * 8 - 2
    assert count() == few
    assert few == (14, 13)


def test_the_list_leaves_the_traces_in_the_database(shop, simulator, django_assert_num_queries):
    update(shop)
    rows = studies_of(shop.scope, shop.build).rows
    with django_assert_num_queries(1):
        assert rows[0].study is not None
        assert rows[0].study.outcome["trace"] == {"t_s": []}
