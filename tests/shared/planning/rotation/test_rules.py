"""What a plan keeps to: what happened, who is fit, one battery per charger, and as little change as can be."""

from dataclasses import replace
from types import SimpleNamespace
from typing import Any

import numpy as np
import pytest

from shared.planning.rotation import Plan, Problem, ProblemError, blocks, check, solve
from tests.shared.planning.rotation.days import a_day, event_day, random_day


def plans(problem: Problem, previous: Plan | None = None) -> list[Plan]:
    found = [blocks(problem, previous), solve(problem, previous)]
    for plan in found:
        assert check(problem, plan, previous).faults == ()
    return found


def test_a_battery_is_charged_between_its_matches():
    """3 of 18 Ah at 6 A: 93 min until full; here 70 min are left of 180 - 15 - 5 and 60 + 10 + 20 min."""
    day = a_day(start_min=[60, 180], capacity_ah=[18], levels=[0.85, 0.9, 1.0], lowest_v=[8.0, 8.5, 9.0])
    for plan in plans(day):
        assert plan.battery.tolist() == [0, 0]
        assert plan.charge_frac.tolist() == [1.0, 0.9]
        assert plan.lowest_v[1] == 8.5
        assert plan.charger.tolist() == [-1, 0]
        assert plan.charge_from_min[1] == 90
        assert plan.charge_until_min[1] == 105  # 14.7 min to 90 %
        assert plan.ready_min[1] == 110


def test_a_longer_gap_lets_it_charge_full():
    plan = solve(a_day(start_min=[60, 203], capacity_ah=[18]))
    assert plan.charge_frac.tolist() == [1.0, 1.0]
    assert plan.charge_until_min[1] == 90 + 93 == 203 - 15 - 5


def test_without_a_charger_what_is_left_must_do():
    day = a_day(
        capacity_ah=[18],
        charger_a=[],
        least_charge_frac=0.6,
        levels=[0.6, 0.8, 1.0],
        lowest_v=[7.5, 8.0, 9.0],
    )
    for plan in plans(day):
        # 1, then 0.833 and 0.633, counted down to a step.
        assert plan.charge_frac.tolist() == [1.0, 0.8, 0.6]
        assert plan.charger.tolist() == [-1, -1, -1]


def test_what_happened_is_fixed_and_what_nobody_noted_is_left_out():
    day = a_day(start_min=[60, 120, 180, 240], now_min=130, fixed=[1, -1, -1, -1], free_min=[130, 0])
    for plan in plans(day):
        assert plan.planned.tolist() == [False, False, True, True]
        assert plan.battery[:2].tolist() == [1, -1]
        assert plan.uncovered.tolist() == []
        assert np.isnan(plan.margin_v[:2]).all()
        assert (plan.charge_from_min[plan.charger >= 0] >= 130).all()


def test_a_battery_is_not_free_before_it_is_back_from_what_is_fixed():
    day = a_day(
        start_min=[60, 80], now_min=60, fixed=[0, -1], fit=[[True, True], [False, False]], back_after_min=30
    )
    for plan in plans(day):
        assert plan.uncovered.tolist() == [1]


def test_a_late_swap_still_goes_out():
    """Ten minutes before a match, the quarter of an hour for it has gone; what is ready goes at once."""
    for plan in plans(a_day(start_min=[60], now_min=50.5)):
        assert plan.uncovered.tolist() == []


def test_only_fit_batteries_go_out():
    day = a_day(fit=[[True, False, False], [False, True, True]])
    for plan in plans(day):
        assert plan.battery.tolist() == [0, 1, 1]


def test_important_matches_get_the_better_battery():
    day = a_day(start_min=[60, 70], lowest_v=[[[8, 9]] * 2, [[8.5, 9.5]] * 2], weight=[1, 3])
    for plan in plans(day):
        assert plan.battery.tolist() == [0, 1]


def test_below_the_level_an_important_match_asks_for_more_too():
    day = a_day(start_min=[60, 70], lowest_v=[[[6.5, 6.5]] * 2, [[6.6, 6.6]] * 2], weight=[1, 3])
    for plan in plans(day):
        assert plan.battery.tolist() == [0, 1]
        assert plan.stages[1].value == -1200


def test_between_batteries_nobody_can_tell_apart_wear_is_evened():
    """The first match is the worst with either; in the others the second battery is better by less than a step."""
    lowest = np.array([[[8.0, 8.0]] + [[9.02, 9.02]] * 3, [[8.0, 8.0]] + [[9.08, 9.08]] * 3])
    plan = solve(a_day(start_min=[60, 300, 540, 780], wear=[5, 7], lowest_v=lowest))
    assert plan.proven
    assert np.bincount(plan.battery).tolist() == [3, 1]
    clear = lowest + np.array([[[0.0]], [[0.05]]])
    clearly = solve(a_day(start_min=[60, 300, 540, 780], wear=[5, 7], lowest_v=clear))
    assert np.bincount(clearly.battery, minlength=2).tolist() == [0, 4]


def test_robots_whose_matches_overlap_share_the_cart():
    day = a_day(
        start_min=[60, 60, 65, 200, 200, 205], robot=[0, 1, 2] * 2, capacity_ah=[18] * 3, charger_a=[6, 6]
    )
    for plan in plans(day):
        assert plan.uncovered.size == 0
        assert sorted(plan.battery[:3].tolist()) == sorted(plan.battery[3:].tolist()) == [0, 1, 2]


def test_matches_of_the_same_minute_may_come_in_any_order():
    day = random_day(np.random.default_rng(3), matches=6, batteries=4, chargers=2)
    start = np.array([60, 60, 60, 200, 200, 200.0])
    day = replace(day, start_min=start, weight=[1, 2, 3, 1, 2, 3], now_min=0.0)
    order = np.array([2, 0, 1, 5, 3, 4])
    along: dict[str, Any] = {
        name: np.asarray(getattr(day, name))[order] for name in ("weight", "limit_v", "used_ah")
    }
    across: dict[str, Any] = {name: np.asarray(getattr(day, name))[:, order] for name in ("lowest_v", "fit")}
    turned = replace(day, **along, **across)
    assert [s.value for s in solve(day).stages] == [s.value for s in solve(turned).stages]


@pytest.mark.parametrize("seed", range(25))
def test_no_charger_has_two_batteries_at_once(seed):
    rng = np.random.default_rng(seed)
    day = random_day(rng, matches=10, batteries=5, chargers=int(rng.integers(1, 4)))
    for plan in plans(day):
        for charger in range(day.chargers):
            on = np.flatnonzero(plan.charger == charger)
            on = on[np.argsort(plan.charge_from_min[on])]
            assert (plan.charge_until_min[on][:-1] <= plan.charge_from_min[on][1:]).all()


def test_one_charger_is_one_charge_at_a_time():
    """Two batteries come back together; the one charger can do only one of them before the next two matches."""
    day = a_day(start_min=[60, 60, 130, 130], levels=[0.95, 1.0], least_charge_frac=0.95, cool_min=0)
    assert [plan.uncovered.size for plan in plans(day)] == [1, 1]
    two = replace(day, charger_a=[6, 6], charger_absorption_min=[60, 60], charger_free_min=[0, 0])
    assert [plan.uncovered.size for plan in plans(two)] == [0, 0]
    later = replace(two, charger_free_min=[0, 100])
    assert [plan.uncovered.size for plan in plans(later)] == [1, 1]


def test_the_faster_charger_goes_to_the_shorter_gap():
    """75 min do at 10 A (63 min) and not at 4 A (110 min); 175 min do at either."""
    day = a_day(
        start_min=[60, 60, 165, 265], charger_a=[4, 10], charger_absorption_min=[60, 45], cool_min=0,
        levels=[1.0], least_charge_frac=1.0, lowest_v=[9.0],
    )  # fmt: skip
    for plan in plans(day):
        assert plan.uncovered.size == 0
        assert plan.charger[2] == 1


# --- made anew -----------------------------------------------------------------------------------


def test_nothing_changes_while_nothing_need():
    day = event_day(2, batteries=8, matches=10, chargers=3)
    plan = solve(day)
    again = solve(day, plan)
    assert again.proven
    assert again.changes == 0
    assert again.battery.tolist() == plan.battery.tolist()


def test_fewest_changes_come_before_margin():
    better = a_day(start_min=[60, 300], lowest_v=[[[8, 9]] * 2, [[8.5, 9.5]] * 2])
    assert solve(better).battery.tolist() == [1, 1]
    kept = solve(better, SimpleNamespace(battery=[0, 0]))
    assert kept.battery.tolist() == [0, 0]
    assert kept.proven


def test_but_not_before_the_floor():
    day = a_day(start_min=[60, 300], lowest_v=[[[6, 6.9]] * 2, [[8.5, 9.5]] * 2])
    changed = solve(day, SimpleNamespace(battery=[0, 0]))
    assert changed.battery.tolist() == [1, 1]
    assert changed.changes == 2
    lower = solve(replace(day, floor_v=-0.1), SimpleNamespace(battery=[0, 0]))
    assert lower.changes == 0


def test_a_battery_that_is_pulled_changes_its_matches_only():
    day = a_day(start_min=[60, 100, 140, 180, 220, 260, 300, 340], capacity_ah=[18] * 5, charger_a=[6] * 3)
    before = np.array([0, 1, 2, 3, 0, 1, 2, 3])
    assert solve(day, SimpleNamespace(battery=before)).changes == 0
    pulled = np.arange(5)[:, None] == 2
    anew = solve(replace(day, fit=~np.repeat(pulled, 8, axis=1)), SimpleNamespace(battery=before))
    assert anew.proven
    assert anew.changes == 2
    assert (anew.battery == before).tolist() == (before != 2).tolist()


def test_a_battery_that_left_the_cart_counts_as_none():
    day = a_day(start_min=[60])
    plan = solve(day, SimpleNamespace(battery=[5]))
    assert plan.battery.tolist() != [-1]
    assert plan.changes == 1


# --- proof, time and words -----------------------------------------------------------------------


def test_the_same_problem_gets_the_same_plan():
    day = event_day(7, batteries=8, matches=12, chargers=2)
    one, other = solve(day), solve(day)
    for name in ("battery", "charger", "charge_from_min", "charge_until_min"):
        assert np.array_equal(getattr(one, name), getattr(other, name), equal_nan=True)


def test_out_of_time_the_instant_plan_stands_and_says_what_is_left():
    day = event_day(0)
    plan = solve(day, limit_s=0.0)
    assert check(day, plan).faults == ()
    assert not plan.proven
    assert plan.worst_margin_v == blocks(day).worst_margin_v
    best = solve(day, limit_s=60.0)
    assert best.proven
    assert best.gap_v == 0.0
    assert plan.stages[1].value + 1000 * plan.gap_v >= best.stages[1].value


def test_an_empty_cart_and_an_empty_schedule():
    nobody = a_day(capacity_ah=[])
    for plan in plans(nobody):
        assert plan.uncovered.tolist() == [0, 1, 2]
    assert solve(nobody).proven
    for plan in plans(a_day(start_min=[])):
        assert plan.battery.tolist() == []
        assert np.isnan(plan.worst_margin_v)
    assert solve(a_day(start_min=[])).proven


@pytest.mark.parametrize(
    ("field", "changes"),
    [
        ("start_min", {"start_min": [60, 50, 180]}),
        ("weight", {"weight": 0.0}),
        ("limit_v", {"limit_v": float("nan")}),
        ("used_ah", {"used_ah": -1.0}),
        ("levels", {"levels": [1.0, 0.85]}),
        ("levels", {"levels": [0.9, 1.0]}),
        ("lowest_v", {"lowest_v": float("nan")}),
        ("capacity_ah", {"capacity_ah": [18, 0]}),
        ("charge_frac", {"charge_frac": 1.1}),
        ("free_min", {"free_min": float("nan")}),
        ("wear", {"wear": -1.0}),
        ("charger_a", {"charger_a": [0.0]}),
        ("charger_absorption_min", {"charger_absorption_min": -5.0}),
        ("charger_free_min", {"charger_free_min": float("nan")}),
        ("fixed", {"fixed": [2, -1, -1]}),
        ("fixed", {"fixed": [-1]}),
        ("cool_min", {"cool_min": -1.0}),
        ("now_min", {"now_min": float("inf")}),
        ("least_charge_frac", {"least_charge_frac": 1.2}),
        ("wear", {"wear": "many"}),
    ],
)
def test_what_cannot_be_planned_with_is_refused_by_name(field, changes):
    with pytest.raises(ProblemError, match=f"^{field} ") as refused:
        a_day(**changes)
    assert refused.value.field == field


def test_a_battery_that_is_not_fit_needs_no_voltage():
    lowest = np.full((2, 3, 2), 9.0)
    lowest[1] = np.nan
    plan = solve(a_day(lowest_v=lowest, fit=[[True] * 3, [False] * 3]))
    assert plan.proven
    assert 1 not in plan.battery
