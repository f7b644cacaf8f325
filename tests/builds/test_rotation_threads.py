"""Plans asked for at once, by people and by real workers: one plan each, in order, nothing half written."""

from __future__ import annotations

import time
from typing import Any

import pytest
from django.utils import timezone

from builds.models import Outing, RotationPlan, RotationStep
from builds.services import rotation
from builds.services.outings import outing_start
from builds.services.rotation import plan_work_out
from compliance.selectors.rotation import judged_for
from compliance.services.rotation import plan_ask
from shared import jobs
from shared.models import JobRun
from shared.planning.rotation import solve
from shared.tasks import nudge_due
from tests import worker_app
from tests.builds.pit_shop import Pit, make_pit
from tests.inventory.test_ledger_threads import together
from tests.working import wait_for


def today(**values: Any) -> Pit:
    return make_pit(now=timezone.now().replace(microsecond=0), **values)


def whole(pit: Pit) -> None:
    """Every plan has a step for each match, and just one is current: the one asked for last."""
    plans = list(RotationPlan.objects.filter(event=pit.event).order_by("-asked_at", "-pk"))
    assert [plan.current for plan in plans] == [True] + [False] * (len(plans) - 1)
    for plan in plans:
        assert plan.steps.count() == len(pit.matches)


def state_of(run: JobRun) -> str:
    run.refresh_from_db()
    return run.state


@pytest.mark.postgres
@pytest.mark.django_db(transaction=True)
def test_six_asks_at_once_are_six_plans_in_order():
    pit = today(batteries=4, chargers=2, matches=5)
    assert together([lambda: plan_ask(scope=pit.scope, event=pit.event)] * 6) == {"done": 6}
    assert RotationPlan.objects.count() == 6
    whole(pit)
    assert JobRun.objects.filter(name="rotation.plan", state="queued").count() == 1


@pytest.mark.postgres
@pytest.mark.django_db(transaction=True)
def test_asks_and_searches_at_once_leave_one_best_plan():
    pit = today(batteries=4, chargers=2, matches=5)
    plan_ask(scope=pit.scope, event=pit.event)

    def ask() -> None:
        plan_ask(scope=pit.scope, event=pit.event)

    def search() -> None:
        plan_work_out(scope=pit.scope, event=pit.event, judged=judged_for(pit.scope, pit.event))

    assert together([ask, search, search, ask]) == {"done": 4}
    whole(pit)
    search()
    whole(pit)
    plan = RotationPlan.objects.get(current=True)
    assert (plan.state, plan.instant) == (RotationPlan.State.READY, False)


@pytest.mark.postgres
@pytest.mark.django_db(transaction=True)
def test_a_swap_waits_for_no_plan(monkeypatch):
    """While a plan is searched for and while one is worked out in the request, an outing is logged at once."""
    pit = today(batteries=4, chargers=2, matches=5)
    plan_ask(scope=pit.scope, event=pit.event)
    took: list[float] = []
    begun: list[bool] = []

    def swap() -> None:
        wait_for(lambda: begun, within_s=20, what="the search has begun")
        since = time.monotonic()
        outing_start(scope=pit.scope, battery=pit.batteries[0], robot=pit.robot, match=pit.matches[0])
        took.append(time.monotonic() - since)

    def search() -> None:
        plan_work_out(scope=pit.scope, event=pit.event, judged=judged_for(pit.scope, pit.event))

    def slowly(*args: Any) -> Any:
        begun.append(True)
        time.sleep(3.0)
        return solve(*args)

    monkeypatch.setattr(rotation, "solve", slowly)
    assert together([search, swap]) == {"done": 2}
    assert took[0] < 1.5
    assert Outing.objects.get().in_robot
    # The search saw that its question had changed, and asked again.
    assert RotationPlan.objects.count() == 2
    whole(pit)


@pytest.mark.worker
@pytest.mark.django_db(transaction=True)
def test_a_worker_makes_the_plan_better_and_makes_a_new_one_after_an_edit(start):
    pit = today(batteries=4, chargers=2, matches=5)
    start()
    plan = plan_ask(scope=pit.scope, event=pit.event)

    def ready() -> bool:
        plan.refresh_from_db()
        return plan.state == RotationPlan.State.READY

    wait_for(ready, within_s=40, what="the worker finds the best plan")
    assert plan.proven
    first = RotationStep.objects.get(plan=plan, match=pit.matches[0]).battery
    other = next(battery for battery in pit.batteries if battery != first)
    outing_start(scope=pit.scope, battery=other, robot=pit.robot, match=pit.matches[0])

    def anew() -> bool:
        nudge_due()  # what the clock does every few seconds
        return RotationPlan.objects.filter(current=True, reason="swap", state="ready").exists()

    wait_for(anew, within_s=60, what="a plan that knows of the swap")
    step = RotationStep.objects.get(plan__current=True, match=pit.matches[0])
    assert (step.battery, step.fixed) == (other, True)
    whole(pit)


@pytest.mark.worker
@pytest.mark.django_db(transaction=True)
def test_a_search_whose_worker_is_killed_is_done_by_the_next(start):
    pit = today(batteries=3, chargers=2, matches=4)
    plan = plan_ask(scope=pit.scope, event=pit.event)
    JobRun.objects.all().delete()
    worker = start()
    run = jobs.enqueue(
        worker_app.SLOW_PLAN, trigger=JobRun.Trigger.PERSON, team=pit.scope.team,
        arguments={"event_id": pit.event.pk},
    )  # fmt: skip
    wait_for(lambda: state_of(run) == JobRun.State.RUNNING, within_s=30, what="the search has begun")
    worker.kill()
    plan.refresh_from_db()
    assert (plan.state, plan.instant, plan.steps.count()) == (RotationPlan.State.WORKING, True, 4)

    start()

    def done_after_a_look() -> bool:
        nudge_due()
        return state_of(run) == JobRun.State.DONE

    wait_for(done_after_a_look, within_s=worker_app.PLAN_LEASE_S + 40, what="the second worker finishes")
    plan.refresh_from_db()
    assert (run.attempts, plan.state, plan.steps.count()) == (2, RotationPlan.State.READY, 4)
