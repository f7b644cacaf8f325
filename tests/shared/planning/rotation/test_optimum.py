"""The search finds what trying everything finds, aim after aim, and what it hands back can be carried out."""

from types import SimpleNamespace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from shared.planning.rotation import Plan, Problem, blocks, check, search, solve
from tests.shared.planning.rotation.days import random_day, small_days
from tests.shared.planning.rotation.everything import Everything

HIGHER_IS_BETTER = {"floor", "worst", "sum"}


def reached(plan: Plan) -> tuple[int, ...]:
    """Every aim in order; smaller is better."""
    return tuple(-stage.value if stage.name in HIGHER_IS_BETTER else stage.value for stage in plan.stages)


def assert_best(problem: Problem, before: list[int] | None = None) -> None:
    previous = None if before is None else SimpleNamespace(battery=np.array(before))
    plan = solve(problem, previous, limit_s=60)
    assert plan.proven
    assert check(problem, plan, previous).faults == ()
    assert reached(plan) == Everything(problem, before).find()


@given(small_days())
@settings(max_examples=120)
def test_a_new_plan_is_the_best_of_all(problem):
    assert_best(problem)


@given(small_days(), st.data())
@settings(max_examples=80)
def test_a_plan_made_anew_is_the_best_of_all(problem, data):
    one = st.integers(-1, problem.batteries - 1)
    before = data.draw(st.lists(one, min_size=problem.matches, max_size=problem.matches))
    assert_best(problem, before)


@pytest.mark.parametrize("seed", range(12))
def test_five_matches_of_three_batteries(seed):
    assert_best(random_day(np.random.default_rng(seed), matches=5, batteries=3, chargers=1))


@pytest.mark.parametrize("seed", range(40))
def test_a_search_that_begins_with_next_to_nothing_finds_it_too(seed, monkeypatch):
    """So that small days go the long way of large ones: few steps first, chargers kind by kind, then more steps."""
    monkeypatch.setattr(search, "_FEW", 2)
    rng = np.random.default_rng(1000 + seed)
    day = random_day(rng, matches=4, batteries=3, chargers=2)
    assert_best(day)
    assert_best(day, rng.integers(-1, 3, 4).tolist())


@given(small_days(most_matches=9))
@settings(max_examples=80)
def test_the_instant_plan_can_be_carried_out_and_is_no_better(problem):
    instant, best = blocks(problem), solve(problem, limit_s=60)
    assert check(problem, instant).faults == ()
    assert check(problem, best).faults == ()
    assert reached(best) <= reached(instant)
    if instant.stages[0].proven:
        # Every match that can be covered is: then the bounds told beside it hold for the best plan too.
        for bound, value in zip(instant.stages, best.stages, strict=True):
            higher = bound.name in HIGHER_IS_BETTER
            assert bound.bound >= value.value if higher else bound.bound <= value.value
