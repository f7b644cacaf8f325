"""Plans of an event: made at once, made better, made anew when they do not hold any more, and kept when they do."""

from __future__ import annotations

from datetime import timedelta
from itertools import pairwise
from typing import Any

import pytest
from django.db import IntegrityError, transaction
from django.utils import timezone

from builds.models import Match, Outing, RotationPlan, RotationStep
from builds.rotation.instant import instant_plan
from builds.rotation.judged import Judged
from builds.selectors.rotation import current_plan, plan_changes, plan_view, plans_of
from builds.services import rotation
from builds.services.rotation import plan_anew, plan_ask, plan_look, plan_work_out
from inventory.models import Battery, Charge
from shared.errors import NotAllowed
from shared.models import JobRun, Role
from tests.builds.pit_shop import Pit, make_pit

pytestmark = pytest.mark.django_db
State, Reason = RotationPlan.State, RotationPlan.Reason


@pytest.fixture
def pit() -> Pit:
    """Four batteries and two chargers for six matches an hour apart, the first in an hour from the real now."""
    return make_pit(now=timezone.now().replace(microsecond=0))


def work_out(pit: Pit) -> dict[str, int]:
    return plan_work_out(scope=pit.scope, event=pit.event, judged=pit.judged)


def view(pit: Pit) -> Any:
    """The current plan as it is read."""
    found = current_plan(pit.scope, pit.event)
    assert found is not None
    return found


def chosen(pit: Pit) -> list[str]:
    return [step.battery.code if step.battery else "-" for step in view(pit).steps]


def look(pit: Pit, minutes: float = 0.0) -> dict[str, int]:
    return plan_look(scope=pit.scope, judged_of=lambda event: pit.judged, now=pit.at(minutes))


def anew(pit: Pit, minutes: float = 0.0) -> tuple[str, str] | None:
    found = plan_anew(pit.scope, view(pit).plan, pit.judged, pit.at(minutes))
    return (str(found.reason), found.sentence) if found else None


class TestAsking:
    def test_the_first_answer_stands_at_once_and_a_job_is_queued(self, pit):
        plan = pit.plan()
        assert (plan.state, plan.reason, plan.instant, plan.current) == (
            State.WORKING,
            Reason.FIRST,
            True,
            True,
        )
        assert len(view(pit).ahead) == 6
        assert view(pit).without_battery == ()
        assert view(pit).headline.startswith(
            "All 6 matches have a fit and charged battery; least to spare is in"
        )
        run = JobRun.objects.get(name="rotation.plan")
        assert (run, run.arguments) == (plan.run, {"event_id": pit.event.pk})

    def test_the_best_one_takes_its_place(self, pit):
        plan = pit.plan()
        assert work_out(pit) == {"matches": 6, "proven": 1}
        plan.refresh_from_db()
        assert (plan.state, plan.instant, plan.proven, plan.gap_v) == (State.READY, False, True, 0.0)
        assert plan.worst_margin_v == pytest.approx(min(step.margin_v for step in view(pit).ahead), abs=1e-3)
        assert RotationPlan.objects.count() == 1
        assert RotationStep.objects.count() == 6
        assert plan.told["quality"] == "No better plan exists under these rules."

    def test_done_twice_it_changes_nothing(self, pit):
        pit.plan()
        work_out(pit)
        steps = list(RotationStep.objects.values_list("pk", flat=True))
        assert work_out(pit) == {"nothing": 1}
        assert list(RotationStep.objects.values_list("pk", flat=True)) == steps

    def test_what_changed_meanwhile_asks_again(self, pit, monkeypatch):
        first = pit.plan()

        def slow(*args: Any) -> Any:
            Match.objects.filter(pk=pit.matches[5].pk).update(starts_at=pit.at(400))
            return instant_plan(args[0], None)

        with monkeypatch.context() as patched:
            patched.setattr(rotation, "solve", slow)
            assert work_out(pit) == {"asked_again": 1}
        second = view(pit).plan
        assert second.pk != first.pk
        assert (second.reason, second.state) == (Reason.TIMES, State.WORKING)
        assert work_out(pit) == {"matches": 6, "proven": 1}

    def test_a_newer_plan_is_not_written_over(self, pit, monkeypatch):
        pit.plan()

        def slow(*args: Any) -> Any:
            pit.plan(why="A person asked")
            return instant_plan(args[0], None)

        with monkeypatch.context() as patched:
            patched.setattr(rotation, "solve", slow)
            assert work_out(pit) == {"overtaken": 1}
        assert view(pit).plan.state == State.WORKING
        assert view(pit).why == "A person asked"

    def test_earlier_plans_are_kept_and_one_is_current(self, pit):
        first, second = pit.plan(), pit.plan()
        assert [p.pk for p in plans_of(pit.scope, pit.event)] == [second.pk, first.pk]
        assert RotationPlan.objects.filter(current=True).get() == second
        assert len(plan_view(pit.scope, first, pit.event).steps) == 6
        first.refresh_from_db()
        assert (first.state, first.instant) == (State.READY, True), "nobody works on it any more"
        with pytest.raises(IntegrityError), transaction.atomic():
            RotationPlan.objects.update(current=True)

    def test_nothing_to_come_is_a_plan_that_is_ready(self, pit):
        plan = pit.plan(1000)
        assert (plan.state, plan.told["headline"]) == (State.READY, "No match is to come.")
        assert not JobRun.objects.filter(name="rotation.plan").exists()

    def test_an_auditor_may_not(self):
        pit = make_pit(1, 1, 1, role=Role.AUDITOR)
        with pytest.raises(NotAllowed):
            pit.plan()
        assert not RotationPlan.objects.exists()

    def test_the_search_that_fails_says_so_and_leaves_the_first_answer(self, pit):
        pit.plan()
        rotation.plan_failed(scope=pit.scope, event=pit.event, sentence="ValueError: no")
        assert view(pit).plan.state == State.FAILED
        assert len(view(pit).ahead) == 6


class TestFixed:
    def test_what_happened_stays_as_it_was(self, pit):
        pit.plan()
        pit.went_out(pit.batteries[3], 45, pit.matches[0], until=75, lowest_v=9.5)
        pit.plan(80)
        first, *rest = view(pit).steps
        assert (first.fixed, first.battery, first.done.battery) == (True, pit.batteries[3], pit.batteries[3])
        assert first.lowest_v == 9.5
        assert all(not step.fixed for step in rest)

    def test_a_match_called_off_needs_no_battery(self, pit):
        pit.plan()
        Match.objects.filter(pk=pit.matches[2].pk).update(called_off=True)
        pit.plan()
        assert [step.match.number for step in view(pit).steps] == ["1", "2", "4", "5", "6"]

    def test_the_charge_that_runs_is_the_one_before_the_next_match(self, pit):
        for battery in pit.batteries[1:]:
            Battery.objects.filter(pk=battery.pk).update(state="quarantine", state_reason="Hot")
        pit.went_out(pit.batteries[0], -90, None, until=-70, used_ah=3.6)
        charge = pit.charged(pit.batteries[0], -60, None, pit.chargers[1])
        pit.plan()
        step = view(pit).steps[0]
        assert (step.battery, step.charger) == (pit.batteries[0], pit.chargers[1])
        assert step.charge_from == charge.started_at
        assert (step.charge_until - pit.at(-60)).total_seconds() / 60 == pytest.approx(99.6)


class TestAnew:
    """The surprises of a day, each with its reason; and what is none."""

    @pytest.fixture
    def planned(self, pit: Pit) -> Pit:
        pit.plan()
        work_out(pit)
        return pit

    def test_nothing_happened(self, planned):
        assert anew(planned, 5) is None
        assert look(planned, 5) == {"plans": 1, "anew": 0}

    def test_a_match_moved_up(self, planned):
        Match.objects.filter(pk=planned.matches[3].pk).update(starts_at=planned.at(220))
        assert anew(planned) == ("times", "Match 4 is 20 min earlier.")
        assert look(planned) == {"plans": 1, "anew": 1}
        assert view(planned).plan.reason == Reason.TIMES
        assert view(planned).why == "Match 4 is 20 min earlier."

    def test_the_schedule_slips(self, planned):
        for match in planned.matches[2:]:
            Match.objects.filter(pk=match.pk).update(starts_at=match.starts_at + timedelta(minutes=30))
        assert anew(planned) == ("times", "Matches 3, 4, 5, 6 are 30 min later.")

    def test_a_match_added(self, planned):
        planned.add_match(500, number="SF1", importance="knockout")
        assert anew(planned) == ("matches", "Match SF1 was added.")

    def test_a_match_called_off(self, planned):
        Match.objects.filter(pk=planned.matches[5].pk).update(called_off=True)
        assert anew(planned) == ("matches", "Match 6 is not played.")

    def test_a_match_counts_for_more(self, planned):
        Match.objects.filter(pk=planned.matches[5].pk).update(strength=5)
        assert anew(planned) == ("matches", "Match 6 counts differently.")

    def test_a_battery_pulled(self, planned):
        Battery.objects.filter(pk=planned.batteries[0].pk).update(state="quarantine", state_reason="Dropped")
        assert anew(planned) == ("cart", "P01 must not go out as planned any more.")
        look(planned)
        assert "P01" not in chosen(planned)

    def test_a_battery_joined(self, planned):
        planned.add_battery(12)
        assert anew(planned) == ("cart", "P05 joined the cart.")

    def test_a_battery_left(self, planned):
        planned.event.batteries.set(planned.batteries[1:])
        assert anew(planned) == ("cart", "P01 left the cart.")

    def test_a_verdict_spoke_against_one(self, planned):
        class No:
            may_match = may_practice = False
            sentence, state, settles = "Its resistance has doubled.", "retire", ""

        planned.judged = Judged({planned.batteries[1].pk: No()})
        assert anew(planned) == ("cart", "P02 must not go out as planned any more.")

    def test_a_charger_broke(self, planned):
        planned.event.chargers.set(planned.chargers[:1])
        assert anew(planned) == ("cart", "The chargers are others than before.")

    def test_a_swap_as_planned_is_no_reason(self, planned):
        battery = view(planned).steps[0].battery
        planned.went_out(battery, 45, planned.matches[0])
        assert anew(planned, 50) is None
        Outing.objects.update(in_robot=False, ended_at=planned.at(75))
        assert anew(planned, 76) is None

    def test_another_battery_than_planned(self, planned):
        steps = view(planned).steps
        other = next(b for b in planned.batteries if b != steps[0].battery)
        planned.went_out(other, 45, planned.matches[0])
        assert anew(planned, 50) == ("swap", f"Match 1 got {other.code} instead of {steps[0].battery.code}.")
        look(planned, 50)
        assert view(planned).steps[0].fixed
        assert view(planned).steps[0].battery == other

    def test_an_outing_taken_back(self, planned):
        planned.went_out(view(planned).steps[0].battery, 30, planned.matches[0])
        planned.plan(31)
        Outing.objects.all().delete()
        assert anew(planned, 35) == ("swap", "Match 1 needs a battery again.")

    def test_practice_with_a_planned_battery(self, planned):
        planned.went_out(view(planned).steps[1].battery, 10, None)
        assert anew(planned, 12) == ("swap", f"{view(planned).steps[1].battery.code} went out for practice.")

    def test_a_charge_as_planned_is_no_reason_and_a_missed_one_is(self, planned):
        steps = view(planned).steps
        charged = next(step for step in steps if step.charger is not None)
        before = [
            s for s in steps if s.match.starts_at < charged.match.starts_at and s.battery == charged.battery
        ][-1]
        ended = before.match.starts_at + timedelta(minutes=10)
        planned.went_out(before.battery, 0, before.match, in_robot=False)
        Outing.objects.update(started_at=before.match.starts_at - timedelta(minutes=15), ended_at=ended)
        for other in steps:
            if other.match.starts_at < charged.match.starts_at and other != before:
                out = planned.went_out(other.battery, 0, other.match, in_robot=False)
                Outing.objects.filter(pk=out.pk).update(
                    started_at=other.match.starts_at - timedelta(minutes=15),
                    ended_at=other.match.starts_at + timedelta(minutes=10),
                )
        on = (charged.charge_from - planned.now) / timedelta(minutes=1)
        assert anew(planned, on + 1) is None
        late = (charged.swap_by - planned.now) / timedelta(minutes=1)
        found = anew(planned, late)
        assert found is None or found[0] in ("swap", "cart")
        Charge.objects.create(team=planned.scope.team, battery=charged.battery, charger=charged.charger,
                              started_at=charged.charge_from)  # fmt: skip
        assert anew(planned, on + 1) is None

    def test_a_battery_nobody_charged_is_late(self):
        pit = make_pit(1, 1, 2, gap_min=240, now=timezone.now().replace(microsecond=0))
        pit.plan()
        work_out(pit)
        assert view(pit).steps[1].charger == pit.chargers[0]
        pit.went_out(pit.batteries[0], 45, pit.matches[0], until=70, used_ah=3.0)
        assert anew(pit, 120) is None
        assert anew(pit, 250) == ("swap", "P01 will not be ready for match 2 as planned.")

    def test_a_past_event_is_left_alone(self, planned):
        assert look(planned, 3 * 24 * 60) == {"plans": 0, "anew": 0}


class TestChanges:
    def test_little_changes_when_a_match_slips(self, pit):
        pit.plan()
        work_out(pit)
        before = chosen(pit)
        old = view(pit)
        Match.objects.filter(pk=pit.matches[5].pk).update(starts_at=pit.at(370))
        pit.plan(1)
        assert chosen(pit) == before, "the first answer keeps what still holds"
        work_out(pit)
        assert chosen(pit) == before
        assert view(pit).changes == ()
        told = plan_changes(old, view(pit))
        assert [(c.kind, c.sentence) for c in told] == [("time", "Match 6 is 10 min later.")]

    def test_only_what_must_changes_when_a_battery_is_pulled(self, pit):
        pit.plan()
        work_out(pit)
        old, before = view(pit), chosen(pit)
        pulled = pit.batteries[0]
        Battery.objects.filter(pk=pulled.pk).update(state="quarantine", state_reason="Dropped")
        look(pit)
        work_out(pit)
        now = chosen(pit)
        assert pulled.code in before
        assert pulled.code not in now
        changed = [step for step in view(pit).steps if step.changed]
        assert {s.was for s in changed} <= {pulled, *pit.batteries}
        assert len(changed) == sum(a != b for a, b in zip(before, now, strict=True)) == len(view(pit).changes)
        told = plan_changes(old, view(pit))
        assert [c.match.pk for c in told] == [s.match.pk for s in changed]
        swapped: list[Any] = list(told)
        for c in swapped:
            assert c.sentence == f"Match {c.match.number}: {c.now.code} instead of {c.was.code}."

    def test_added_and_called_off(self, pit):
        pit.plan()
        work_out(pit)
        old = view(pit)
        pit.add_match(420, number="F1", importance="final")
        Match.objects.filter(pk=pit.matches[4].pk).update(called_off=True)
        pit.plan(1)
        work_out(pit)
        kinds = {(c.kind, c.match.number) for c in plan_changes(old, view(pit))}
        assert {("added", "F1"), ("off", "5")} <= kinds

    def test_nothing_before_nothing_changed(self, pit):
        pit.plan()
        assert plan_changes(None, view(pit)) == ()
        assert view(pit).changes == ()


def test_the_plan_obeys_the_clock(pit):
    """Every battery is ready when its match needs it, and no charger has two at once."""
    pit.plan()
    work_out(pit)
    steps = view(pit).steps
    for step in steps:
        assert step.ready_at <= step.swap_by + timedelta(minutes=1)
        if step.charger:
            assert step.charge_from < step.charge_until <= step.ready_at
    busy = sorted((s.charger.pk, s.charge_from, s.charge_until) for s in steps if s.charger)
    for (charger, _, until), (next_charger, since, _) in pairwise(busy):
        assert charger != next_charger or since >= until - timedelta(minutes=1)


def test_reading_a_plan_takes_few_queries(pit, django_assert_num_queries):
    pit.plan()
    with django_assert_num_queries(4):
        current_plan(pit.scope, pit.event)


def test_asking_takes_queries_that_do_not_grow(pit, django_assert_max_num_queries):
    with django_assert_max_num_queries(100) as first:
        plan_ask(scope=pit.scope, event=pit.event, judged=pit.judged)
    for i in range(4):
        pit.add_battery(14 + i)
        pit.add_match(500 + 60 * i)
    with django_assert_max_num_queries(100) as second:
        plan_ask(scope=pit.scope, event=pit.event, judged=pit.judged)
    assert abs(len(second) - len(first)) <= 2
