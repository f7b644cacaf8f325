"""Rows become a problem to plan: what enters as what, what is assumed, and that nothing can make it one of no sense."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
import pytest
from hypothesis import HealthCheck, Phase, given, settings
from hypothesis import strategies as st

from builds.match_study import study_inputs
from builds.models import Build, Handling, Match, MatchStudy
from builds.rotation.assemble import assemble_problem
from builds.rotation.judged import Judged
from builds.rotation.situation import IMPORTANCE, STRENGTH, Situation
from builds.rotation.voltages import NEW, NONE, PUSH, STAND_IN, STUDY
from builds.rotation.words import assumed_words
from builds.selectors.studies import battery_case, network_of
from builds.studies import solved
from inventory.models import Battery, BatteryState, Reading
from shared.planning.rotation import blocks, solve
from tests.builds.pit_shop import Pit, make_pit

pytestmark = pytest.mark.django_db


@dataclass(frozen=True)
class Verdict:
    may_match: bool
    may_practice: bool
    sentence: str = "Its resistance has doubled."
    state: str = "watch"
    settles: str = ""


def assembled_of(found: Situation) -> Any:
    return assemble_problem(found)


@pytest.fixture
def pit() -> Pit:
    return make_pit(batteries=3, chargers=2, matches=4)


def test_what_enters_as_what(pit):
    Handling.objects.create(team=pit.scope.team, event=pit.event, ready_before_min=12, back_after_min=8, cool_min=25,
                            rest_min=3, least_charge_frac=0.8)  # fmt: skip
    Match.objects.filter(pk=pit.matches[3].pk).update(importance="final", strength=5)
    problem = assembled_of(pit.stands()).problem
    assert list(problem.start_min) == [60, 120, 180, 240]
    assert list(problem.weight) == [1.0, 1.0, 1.0, IMPORTANCE[Match.Importance.FINAL] * STRENGTH[5]]
    assert (problem.ready_before_min, problem.back_after_min, problem.cool_min) == (12, 8, 25)
    assert (problem.rest_min, problem.least_charge_frac) == (3, 0.8)
    assert list(problem.charger_a) == [6.0, 6.0]
    assert list(problem.charger_absorption_min) == [60.0, 60.0]
    assert list(problem.capacity_ah) == [18.0, 18.0, 18.0]
    assert list(problem.charge_frac) == [1.0, 1.0, 1.0]
    assert list(problem.used_ah) == [3.0] * 4
    assert list(problem.wear) == [1, 1, 1]


@pytest.mark.parametrize("charge", [1.0, 0.8])
def test_the_voltage_of_the_push_is_the_one_of_the_power_page(pit, charge):
    """Solved for all batteries and charges at once, it is what the solved build says of each alone."""
    found = pit.stands()
    volts = found.volts.robots[pit.robot.pk]
    build = Build.objects.get(robot=pit.robot)
    net = network_of(pit.scope, build)
    for b, battery in enumerate(pit.batteries):
        case = battery_case(pit.scope, build, net, battery, charge)
        alone = solved.solved_build(build.pk, net, case).scenarios[1].board_v
        assert volts.lowest_v[b, found.levels.index(charge)] == pytest.approx(alone, abs=1e-9)
    assert volts.source == (PUSH,) * 3


def test_the_limit_is_the_highest_level_with_what_is_lost_on_the_way(pit):
    volts = pit.stands().volts.robots[pit.robot.pk]
    assert 9.0 < volts.limit_v < 9.2, "the radio needs 9 V; the controller, with 6.8 V, does not decide"
    assert volts.limit_words.startswith("Link needs 9 V")


def _study(pit: Pit, battery: Battery, p05: float, collapsed: int = 0) -> MatchStudy:
    build = Build.objects.get(robot=pit.robot)
    (inputs,) = study_inputs(pit.scope, Build.objects.filter(pk=build.pk))
    key = next(case.key for case in inputs.cases if case.battery.battery_id == battery.pk)
    return MatchStudy.objects.create(
        team=pit.scope.team, build=build, battery=battery, key=key, runs=100, duration_s=150, computed_at=pit.now,
        outcome={"summary": {"used_ah": 2.5, "collapsed_runs": collapsed},
                 "board": {"lowest_v": {"p05": p05, "p50": p05 + 0.4}}},
    )  # fmt: skip


def test_a_match_study_counts_and_moves_with_the_push_and_calibrates_the_others(pit):
    plain = pit.stands().volts.robots[pit.robot.pk].lowest_v
    _study(pit, pit.batteries[0], float(plain[0, -1]) + 0.5)
    found = pit.stands()
    volts = found.volts.robots[pit.robot.pk]
    assert volts.source == (STUDY, PUSH, PUSH)
    assert volts.usual_v == pytest.approx(0.4)
    assert np.allclose(volts.lowest_v, plain + 0.5), "the others are moved by as much as the studied one is"
    assert found.rows.expected.of(pit.robot.pk, pit.batteries[0].pk).source == "study"


def test_a_study_of_another_day_does_not_count(pit):
    _study(pit, pit.batteries[0], 11.0)
    Reading.objects.filter(battery=pit.batteries[0]).update(resistance_mohm=20)
    assert pit.stands().volts.robots[pit.robot.pk].source == (PUSH,) * 3


def test_matches_that_collapse_are_none_to_plan_with(pit):
    _study(pit, pit.batteries[0], 10.0, collapsed=5)
    assert pit.stands().volts.robots[pit.robot.pk].lowest_v[0].max() == 0.0
    MatchStudy.objects.all().delete()
    _study(pit, pit.batteries[0], 10.0, collapsed=4)
    assert pit.stands().volts.robots[pit.robot.pk].lowest_v[0].max() == 10.0


def test_a_battery_never_measured_is_as_weak_as_the_weakest(pit):
    pit.add_battery(None)
    found = pit.stands()
    volts = found.volts.robots[pit.robot.pk]
    assert volts.source == (PUSH, PUSH, PUSH, STAND_IN)
    assert volts.lowest_v[3].tolist() == volts.lowest_v[2].tolist()
    assert any("never measured: P04" in words for words in assumed_words(found))


def test_with_none_measured_a_new_battery_stands_in(pit):
    Reading.objects.all().delete()
    volts = pit.stands().volts.robots[pit.robot.pk]
    assert volts.source == (NEW,) * 3
    assert (volts.lowest_v[:, -1] > 9).all()


def test_with_nothing_known_the_plan_still_stands_on_charge_and_wear(pit):
    Build.objects.update(state="past")
    found = pit.stands()
    assert found.volts.of(pit.robot.pk, 3, len(found.levels)).source == (NONE,) * 3
    assert (blocks(assembled_of(found).problem).battery >= 0).all()
    assert any("chosen by charge and wear" in words for words in assumed_words(found))


def test_who_may_go_out(pit):
    Match.objects.filter(pk=pit.matches[0].pk).update(importance="practice")
    Battery.objects.filter(pk=pit.batteries[0].pk).update(state=BatteryState.PRACTICE, state_reason="Old")
    pit.judged = Judged({pit.batteries[1].pk: Verdict(False, True), pit.batteries[2].pk: Verdict(True, True)})
    fit = np.asarray(assembled_of(pit.stands()).problem.fit)
    assert fit.tolist() == [[True, False, False, False], [True, False, False, False], [True] * 4]
    told = assumed_words(pit.stands())
    assert "P02 goes out for practice only." in told
    pit.judged = Judged({pit.batteries[1].pk: Verdict(False, False)})
    assert "P02 stays out: Its resistance has doubled." in assumed_words(pit.stands())


def test_one_nobody_can_judge_may_go_out_after_its_equals_and_that_is_said(pit):
    Reading.objects.update(resistance_mohm=13.0)
    plain = np.asarray(assembled_of(pit.stands()).problem.lowest_v)
    settles = "Measure it three times, a week apart."
    pit.judged = Judged({pit.batteries[0].pk: Verdict(True, True, state="unknown", settles=settles)})
    Match.objects.filter(pk=pit.matches[0].pk).update(importance="final")
    found = pit.stands()
    problem = assembled_of(found).problem
    assert np.allclose(np.asarray(problem.lowest_v)[0], plain[0] - 0.1)
    assert np.allclose(np.asarray(problem.lowest_v)[1:], plain[1:])
    assert np.asarray(problem.fit).all()
    assert solve(problem).battery[0] != 0, "the final goes to one that was judged"
    assert (
        "P01 cannot be judged yet and counts as one that may go out, with 0.1 V less expected of it. "
        "Measure it three times, a week apart."
    ) in assumed_words(found)


def test_what_happened_is_left_out_and_how_it_left_the_batteries_counts(pit):
    first, second = pit.batteries[:2]
    pit.went_out(first, 45, pit.matches[0], until=70, used_ah=3.6)
    pit.went_out(second, 105, pit.matches[1])
    found = pit.stands(110)  # match 2 begins at 120
    problem = assembled_of(found).problem
    assert [m.pk for m in found.ahead] == [m.pk for m in pit.matches[2:]]
    assert [(m.number, o.battery.code) for m, o in found.behind] == [("1", "P01"), ("2", "P02")]
    assert list(problem.charge_frac) == pytest.approx([0.8, 0.8, 1.0]), (
        "3.6 Ah measured, so 3.6 expected of the next"
    )
    # Back 10 min after the match began, then 20 min to cool: 40 min from now.
    assert list(problem.free_min) == [0.0, 40.0, 0.0]


def test_a_match_nobody_noted_is_behind_and_said(pit):
    found = pit.stands(65)
    assert [m.number for m in found.ahead] == ["2", "3", "4"]
    assert any("No battery was noted for match 1" in words for words in assumed_words(found))


def test_a_match_whose_battery_came_back_unused_is_ahead_again(pit):
    pit.went_out(pit.batteries[0], 30, pit.matches[0], until=40)
    assert [m.number for m in pit.stands(45).ahead] == ["1", "2", "3", "4"]


def test_a_running_charge_is_waited_for_unless_a_match_needs_the_battery_first(pit):
    battery = pit.batteries[0]
    pit.went_out(battery, -90, None, until=-70, used_ah=3.6)
    pit.charged(battery, -60, None, pit.chargers[0])  # done at 39.6; the first match swaps at 45
    done = assembled_of(pit.stands())
    assert done.charging == {0}
    assert done.problem.charge_frac[0] == 1.0
    assert done.problem.free_min[0] == pytest.approx(39.6 + 5)
    assert list(done.problem.charger_free_min) == pytest.approx([39.6, 0.0])
    Handling.objects.create(team=pit.scope.team, event=pit.event, ready_before_min=30)
    early = assembled_of(pit.stands())
    assert early.charging == frozenset()
    assert early.problem.free_min[0] == 0.0
    assert 0.9 < early.problem.charge_frac[0] < 1.0


def test_a_charger_with_somebody_elses_battery_is_busy(pit):
    guest = pit.add_battery(charged=False)
    pit.event.batteries.set(pit.batteries[:3])
    pit.charged(guest, -30, None, pit.chargers[0])
    problem = assembled_of(pit.stands()).problem
    # Taken as half empty: 9 Ah at 6 A, 99 min, and 60 of absorption, 30 of which are over.
    assert list(problem.charger_free_min) == pytest.approx([129.0, 0.0])


def test_chargers_and_batteries_of_the_event_only(pit):
    pit.event.chargers.set(pit.chargers[:1])
    pit.event.batteries.set(pit.batteries[:2])
    problem = assembled_of(pit.stands()).problem
    assert (problem.chargers, problem.batteries) == (1, 2)


def test_the_key_is_the_same_while_nothing_happens_and_another_after_anything(pit):
    key = pit.stands().key
    assert pit.stands(5).key == key, "time alone is no fact"
    seen = {key}
    for change in (
        lambda: Match.objects.filter(pk=pit.matches[2].pk).update(starts_at=pit.at(190)),
        lambda: Match.objects.filter(pk=pit.matches[2].pk).update(called_off=True),
        lambda: pit.charged(pit.batteries[0], -5, None, pit.chargers[0]),
        lambda: pit.went_out(pit.batteries[1], 0, pit.matches[0]),
        lambda: Reading.objects.filter(battery=pit.batteries[2]).update(resistance_mohm=25),
        pit.add_charger,
        lambda: Battery.objects.filter(pk=pit.batteries[2].pk).update(state="quarantine", state_reason="Hot"),
        lambda: Handling.objects.create(team=pit.scope.team, event=pit.event, cool_min=30),
    ):
        change()
        key = pit.stands(5).key
        assert key not in seen
        seen.add(key)


def test_the_queries_do_not_grow(pit, django_assert_max_num_queries):
    most = 40
    with django_assert_max_num_queries(most) as first:
        pit.stands()
    for i in range(5):
        battery = pit.add_battery(15 + i)
        pit.add_charger()
        match = pit.add_match(600 + 30 * i)
        pit.went_out(battery, -90, None, until=-60, used_ah=2.0)
        pit.charged(battery, -60, None, pit.chargers[-1])
        assert match
    with django_assert_max_num_queries(most) as second:
        pit.stands()
    assert len(second) == len(first)


class TestAnything:
    """Whatever was noted, there is a problem of sense, and a plan that obeys the clock."""

    battery = st.fixed_dictionaries(
        {
            "mohm": st.none() | st.floats(5, 60),
            "charged": st.booleans(),
            "outing": st.none() | st.tuples(st.floats(-300, -20), st.none() | st.floats(0, 30)),
            "charge": st.none() | st.tuples(st.floats(-15, 0), st.booleans()),
            "state": st.sampled_from(["service", "practice", "quarantine"]),
        }
    )

    @settings(
        max_examples=10,
        deadline=None,
        suppress_health_check=list(HealthCheck),
        phases=[Phase.explicit, Phase.generate],
    )
    @given(
        carts=st.lists(battery, max_size=4),
        chargers=st.lists(st.none() | st.floats(1, 20), max_size=3),
        starts=st.lists(st.floats(-60, 600), max_size=5),
        least=st.floats(0.0, 1.0),
        data=st.data(),
    )
    def test_there_is_a_plan(self, carts, chargers, starts, least, data):
        pit = make_pit(0, 0, 0)
        Handling.objects.create(team=pit.scope.team, event=pit.event, least_charge_frac=least)
        for current in chargers:
            pit.add_charger(current)
        for start in starts:
            pit.add_match(start, importance=data.draw(st.sampled_from(Match.Importance.values)))
        for given_ in carts:
            reason = "" if given_["state"] == "service" else "Because"
            battery = pit.add_battery(
                given_["mohm"], charged=given_["charged"], state=given_["state"], state_reason=reason
            )
            if given_["outing"]:
                since, used = given_["outing"]
                pit.went_out(battery, since, until=since + 15, used_ah=used)
            free = [c for c in pit.chargers if not c.charges.filter(ended_at=None).exists()]
            if given_["charge"] and free and given_["charge"][1]:
                pit.charged(battery, given_["charge"][0], None, free[0])
        assembled = assembled_of(pit.stands())
        plan = blocks(assembled.problem)
        for m, match in enumerate(assembled.situation.ahead):
            if plan.battery[m] >= 0:
                row = assembled.situation.cart[int(plan.battery[m])]
                assert any(pit.judged.may(row.battery))
                assert plan.ready_min[m] <= assembled.problem.start[m]
                assert plan.charge_frac[m] >= min(least, 1.0) - 1e-6
                assert match.starts_at >= pit.now
        assert pit.stands().key == assembled.situation.key
