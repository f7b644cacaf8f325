"""Match studies and real processes: a killed worker leaves nothing half done, and two at once make one study."""

from __future__ import annotations

from typing import Any

import pytest

from builds.models import Circuit, MatchStudy
from builds.services import match_studies
from builds.services.circuits import circuit_save
from builds.services.match_studies import match_studies_update
from shared import jobs
from shared.models import JobRun
from shared.tasks import nudge_due
from tests import worker_app
from tests.builds.match_shop import make_match_shop
from tests.inventory.test_ledger_threads import together
from tests.working import wait_for


def kept() -> dict[str, str]:
    return {
        str(study.battery or "new"): study.key for study in MatchStudy.objects.select_related("battery").all()
    }


def state_of(run: JobRun) -> str:
    run.refresh_from_db()
    return run.state


@pytest.mark.worker
@pytest.mark.django_db(transaction=True)
def test_studies_whose_worker_is_killed_are_finished_by_the_next(start):
    shop = make_match_shop()
    keys = shop.keys()
    worker = start()
    run = jobs.enqueue(
        worker_app.SLOW_STUDIES, trigger=JobRun.Trigger.PERSON, team=shop.scope.team,
        arguments={"build_id": shop.build.pk, "runs": 20},
    )  # fmt: skip
    wait_for(kept, within_s=30, what="the first battery is studied")
    worker.kill()
    assert state_of(run) == JobRun.State.RUNNING
    assert kept() == {"new": keys["New AGM"]}, "whole or not at all"
    first = MatchStudy.objects.get()

    start()

    def done_after_a_look() -> bool:
        nudge_due()  # what the clock does every few seconds
        return state_of(run) == JobRun.State.DONE

    wait_for(done_after_a_look, within_s=worker_app.LEASE_S + 30, what="the second worker finishes")
    assert run.attempts == 2
    assert kept() == {"new": keys["New AGM"], "B01": keys["B01"]}
    assert run.counts == {"builds": 1, "studies": 2, "simulated": 1}
    assert MatchStudy.objects.get(battery=None).computed_at == first.computed_at, "made once"


@pytest.mark.postgres
@pytest.mark.django_db(transaction=True)
def test_six_at_once_keep_one_study_of_each_battery(monkeypatch):
    shop = make_match_shop()
    monkeypatch.setattr(match_studies, "run_studies", _simulated)
    acts = [lambda: match_studies_update(scope=shop.scope, builds=shop.builds)] * 6
    assert together(acts) == {"done": 6}
    assert kept() == {"new": shop.keys()["New AGM"], "B01": shop.keys()["B01"]}


@pytest.mark.postgres
@pytest.mark.django_db(transaction=True)
def test_studies_and_edits_at_once_end_with_what_the_edits_left(monkeypatch):
    shop = make_match_shop()
    monkeypatch.setattr(match_studies, "run_studies", _simulated)

    def edit() -> None:
        circuit = Circuit.objects.get(pk=shop["MAIN"].pk)
        circuit.length_m = (circuit.length_m or 0.0) + 0.25
        circuit_save(scope=shop.scope, circuit=circuit)

    ends = together([edit, lambda: match_studies_update(scope=shop.scope, builds=shop.builds)] * 3)
    assert ends == {"done": 6}
    match_studies_update(scope=shop.scope, builds=shop.builds)
    assert set(kept().values()) == set(shop.keys().values())


def _simulated(robot: Any, batteries: Any, runs: int, progress: Any) -> list[dict[str, Any]]:
    return [{"summary": {"brownout_frac": 0.0}} for _ in batteries]
