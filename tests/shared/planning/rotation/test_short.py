"""Where some match has no battery: which one, and what would mend it."""

from dataclasses import replace
from typing import Any

import numpy as np
import pytest

from shared.planning.rotation import Remedies, solve, why_short
from shared.planning.rotation.search import Search
from tests.shared.planning.rotation.days import a_day, random_day


def test_nothing_is_short():
    assert why_short(a_day()) is None


def test_one_battery_or_a_longer_break():
    """To 95 % take 34 min, and between 60 + 10 + 20 and 90 - 15 - 5 there is nothing: 24 + 30 min later there are."""
    day = a_day(start_min=[30, 60, 90], levels=[0.95, 1.0], least_charge_frac=0.95)
    assert why_short(day) == Remedies(
        first_match=2, one_more_battery=True, one_more_charger=False, later_by_min=24.0, known=True
    )
    assert solve(replace(day, start_min=[30, 60, 114])).uncovered.size == 0
    assert solve(replace(day, start_min=[30, 60, 113])).uncovered.size == 1


def test_one_charger():
    day = a_day(start_min=[60, 60, 130, 130], levels=[0.95, 1.0], least_charge_frac=0.95, cool_min=0)
    told = why_short(day)
    assert told is not None
    assert told.first_match == 3
    assert told.one_more_charger is True
    assert told.one_more_battery is True


def test_no_charger_at_all():
    day = a_day(start_min=[60, 60, 260], charger_a=[])
    told = why_short(day)
    assert told is not None
    assert (told.first_match, told.one_more_charger, told.one_more_battery) == (2, True, True)
    assert told.later_by_min is None


def test_one_thing_more_may_not_be_enough():
    told = why_short(a_day(start_min=[60] * 6))
    assert told == Remedies(
        first_match=2, one_more_battery=False, one_more_charger=False, later_by_min=None, known=True
    )


def test_an_empty_cart():
    told = why_short(a_day(start_min=[60], capacity_ah=[], charger_a=[]))
    assert told is not None
    assert (told.first_match, told.one_more_battery) == (0, True)


def test_it_says_when_there_was_no_time_to_tell():
    """The instant answer leaves a match out here, and the search is given no time."""
    day = next(
        day
        for day in (random_day(np.random.default_rng(seed), 9, 4, 2) for seed in range(200))
        if Search.of(day, None).covers_all(0.0) is None
    )
    told = why_short(day, limit_s=0.0)
    assert told is None or told.known is False


@pytest.mark.parametrize("seed", range(30))
def test_what_is_told_is_so(seed):
    day = random_day(np.random.default_rng(seed), matches=6, batteries=3, chargers=1)
    told, plan = why_short(day), solve(day)
    assert (told is None) == (plan.uncovered.size == 0)
    if told is None or told.first_match is None:
        return
    assert told.known
    assert told.first_match >= plan.uncovered[0]
    shorter = day.start.copy()
    keep = np.arange(day.matches) < told.first_match
    along: dict[str, Any] = {
        name: np.asarray(getattr(day, name))[keep]
        for name in ("weight", "limit_v", "used_ah", "fixed", "robot")
    }
    across: dict[str, Any] = {name: np.asarray(getattr(day, name))[:, keep] for name in ("lowest_v", "fit")}
    assert solve(replace(day, start_min=shorter[keep], **along, **across)).uncovered.size == 0
    if told.later_by_min is not None:
        for minutes, short in ((told.later_by_min, False), (told.later_by_min - 1, True)):
            start = day.start + np.where(keep, 0.0, minutes)
            assert (solve(replace(day, start_min=start)).uncovered.size > 0) == short
