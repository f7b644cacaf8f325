"""Blocks of matches are assignments: against published instances with their known optimum."""

from itertools import permutations

import numpy as np
import pytest

from shared.planning.rotation import blocks, check, solve
from shared.planning.rotation.blocks import matching
from tests.shared.planning.rotation.days import a_day

# Costs, least total. The first stands in scipy's documentation of linear_sum_assignment; the second in the guide of
# ortools on assignment (five workers, four tasks).
PUBLISHED = [
    ([[4, 1, 3], [2, 0, 5], [3, 2, 2]], 5),
    ([[90, 80, 75, 70], [35, 85, 55, 65], [125, 95, 90, 95], [45, 110, 95, 115], [50, 100, 90, 100]], 265),
]


@pytest.mark.parametrize(("costs", "least"), PUBLISHED)
def test_a_published_assignment(costs, least):
    cost = np.array(costs)
    weight = np.full(cost.shape[1], 100)
    chosen = matching(weight, np.ones(cost.shape, dtype=np.bool_), -cost.astype(float))
    assert sorted(set(chosen.tolist())) == sorted(chosen.tolist())
    assert cost[chosen, np.arange(chosen.size)].sum() == least


def at_once(costs):
    """Matches of several robots that begin together, and margins that fall by 10 mV per unit of cost."""
    cost = np.array(costs)
    lowest = 9.0 - np.repeat(cost[:, :, None], 2, axis=2) / 100.0
    return a_day(
        start_min=[60] * cost.shape[1],
        capacity_ah=[18] * cost.shape[0],
        lowest_v=lowest,
        robot=range(cost.shape[1]),
    )


@pytest.mark.parametrize(("costs", "least"), PUBLISHED)
def test_matches_that_begin_together_are_an_assignment(costs, least):
    """Its bottleneck, and the best sum with that bottleneck, by trying every permutation."""
    cost = np.array(costs)
    batteries, matches = cost.shape
    tried = [cost[list(rows), range(matches)] for rows in permutations(range(batteries), matches)]
    bottleneck = min(one.max() for one in tried)
    assert min(one.sum() for one in tried) == least
    day = at_once(costs)
    for plan in (blocks(day), solve(day)):
        assert check(day, plan).faults == ()
        assert plan.worst_margin_v == pytest.approx(2.0 - bottleneck / 100.0)
        assert sorted(set(plan.battery.tolist())) == sorted(plan.battery.tolist())


def test_fewer_batteries_than_matches_cover_the_weightiest():
    day = at_once([[1, 2, 3], [3, 1, 2]])
    weighted = a_day(
        start_min=[60] * 3, capacity_ah=[18] * 2, lowest_v=np.asarray(day.lowest_v), weight=[1.0, 2.0, 3.0]
    )
    for plan in (blocks(weighted), solve(weighted)):
        assert plan.uncovered.tolist() == [0]
        assert check(weighted, plan).uncovered_weight == 100
