"""Chance over runs: the interval against scipy's exact one, the draw of phases, who contributes."""

from __future__ import annotations

import numpy as np
import pytest
from scipy import stats

from shared.electrical.match import (
    MatchError,
    brownout_probability,
    contributions,
    random_shifts,
    simulate,
)
from shared.electrical.match.chances import _uniform
from tests.reference_robot import MECHANISMS, reference_battery, reference_robot, shifts


@pytest.mark.parametrize(
    ("hits", "runs"), [(0, 1), (1, 1), (0, 200), (3, 200), (100, 200), (200, 200), (7, 1000)]
)
def test_the_interval_is_clopper_and_pearsons(hits, runs):
    lowest = np.where(np.arange(runs) < hits, 6.0, 7.5)
    chance = brownout_probability(lowest, 6.8)
    oracle = stats.binomtest(hits, runs).proportion_ci(0.95, method="exact")
    assert (chance.hits, chance.runs, chance.p) == (hits, runs, hits / runs)
    assert (chance.low, chance.high) == pytest.approx((oracle.low, oracle.high), abs=1e-12)


def test_a_run_at_the_level_has_not_fallen_below_it():
    assert brownout_probability([6.8], 6.8).hits == 0


def test_no_runs_no_probability():
    with pytest.raises(MatchError):
        brownout_probability([], 6.8)
    with pytest.raises(MatchError):
        random_shifts(reference_robot(2), 0, seed=1)


def test_phases_are_even_and_independent():
    robot = reference_robot(20)
    drawn = random_shifts(robot, 4000, seed=3)
    cycles = np.array([duty.seconds.sum() for duty, *_ in MECHANISMS])
    assert drawn.shape == (5, 4000)
    share = drawn / cycles[:, np.newaxis]
    for row in share:
        assert stats.kstest(row, "uniform").pvalue > 0.001
    correlation = np.corrcoef(share) - np.eye(5)
    assert np.abs(correlation).max() < 0.06
    assert stats.kstest(np.diff(share[0]) % 1.0, "uniform").pvalue > 0.001


def test_the_seed_decides_and_more_runs_begin_with_the_same():
    robot = reference_robot(20)
    assert np.array_equal(random_shifts(robot, 50, seed=7), random_shifts(robot, 90, seed=7)[:, :50])
    assert not np.array_equal(random_shifts(robot, 50, seed=7), random_shifts(robot, 50, seed=8))


def test_the_draw_is_splitmix64():
    """The first five numbers of the seed 1234567, as the generator's published examples print them (memory)."""
    printed = [
        6457827717110365317, 3203168211198807973, 9817491932198370423, 4593380528125082431, 16408922859458223821,
    ]  # fmt: skip
    assert (_uniform(5, 1234567) * 2.0**53).astype(np.uint64).tolist() == [value >> 11 for value in printed]


def test_contributions_rank_the_loads_at_the_lowest_moment():
    robot = reference_robot(20)
    result = simulate(robot, [reference_battery()], shifts(6), duration_s=6.0)
    found = contributions(robot, result)
    assert (np.diff(found.current_a) <= 0.0).all()
    assert found.share_frac.sum() == pytest.approx(1.0)
    assert 0 not in found.branch  # the main branch only passes on
    assert set(found.branch[:6].tolist()) <= set(range(1, 21))
    # The main branch's 4.2 mohm are what a load takes off the board for all others.
    assert found.sag_v == pytest.approx(found.current_a * 0.0042)
    mean = result.lowest_current_a[:, 0].mean(axis=-1)
    assert found.current_a == pytest.approx(mean[found.branch])
