"""Outings as evidence: who sags, what is not known, and laws that hold whatever the figures are."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from shared.planning.trends import (
    BatteryPolicy,
    OutingDoubt,
    OutingLeftOut,
    Outings,
    charge_use,
    judge_outings,
)

FULL_V = 12.85


def world(sags_of, *, mohm=None, place=None, kind=None, peak_a=200.0, start_v=FULL_V):
    """One outing per figure; ``sags_of``: battery -> its sags in volts."""
    battery = np.repeat(np.arange(len(sags_of)), [len(sags) for sags in sags_of])
    sags = np.array([sag for sags in sags_of for sag in sags], dtype=float)
    resistance = np.array(mohm or [12.0] * len(sags_of))
    return Outings(
        battery=battery,
        place=np.zeros(sags.size) if place is None else np.array(place)[battery],
        start_rest_v=np.full(sags.size, start_v),
        lowest_v=min(start_v, FULL_V) - sags,
        full_rest_v=np.full(sags.size, FULL_V),
        peak_a=np.full(sags.size, peak_a),
        source_mohm=resistance[battery],
        source_kind=np.zeros(sags.size) if kind is None else np.array(kind)[battery],
    )


USUAL = [3.3, 3.5, 3.4, 3.6, 3.5]
DEEP = [4.6, 4.8, 4.7, 4.5, 4.9]


def test_a_battery_that_sags_more_than_its_resistance_explains():
    """4.7 V against 3.5 V: 34 % more, in five of five outings; at 200 A that is 23.5 against 17.5 mohm."""
    told = judge_outings(world([DEEP, USUAL, USUAL]), 3)
    assert told.sags.tolist() == [True, False, False]
    assert told.ratio[0] == pytest.approx(4.7 / 3.5)
    assert told.p_value[0] == 1 / 32
    assert told.apparent_mohm == pytest.approx([23.5, 17.5, 17.5])
    assert (told.apparent_low[0], told.apparent_high[0]) == pytest.approx((22.5, 24.5))
    assert told.apparent_coverage[0] == pytest.approx(1 - 2 / 32)


def test_what_its_resistance_explains_is_no_fault_of_lugs_or_leads():
    told = judge_outings(world([DEEP, USUAL, USUAL], mohm=[16.0, 12.0, 12.0]), 3)
    assert told.explained[0] == pytest.approx(16 / 12)
    assert not told.sags.any()


def test_resistances_of_different_methods_explain_nothing():
    told = judge_outings(world([DEEP, USUAL, USUAL], mohm=[16.0, 12.0, 12.0], kind=[1, 0, 0]), 3)
    assert told.explained[0] == 1.0
    assert told.sags[0]


def test_a_lower_resistance_than_the_others_asks_for_no_less_sag():
    told = judge_outings(world([USUAL, USUAL, USUAL], mohm=[8.0, 12.0, 12.0]), 3)
    assert told.explained[0] == 1.0
    assert not told.sags.any()


def test_a_robot_that_sags_in_every_battery_blames_none_of_them():
    told = judge_outings(world([DEEP, DEEP, DEEP]), 3)
    assert (told.doubt == OutingDoubt.NONE).all()
    assert not told.sags.any()


def test_only_like_is_compared_with_like():
    """One in a robot of its own: nothing to compare it with, but its resistance is told."""
    told = judge_outings(world([DEEP, USUAL, USUAL, USUAL], place=[0, 1, 1, 1]), 4)
    assert told.doubt.tolist()[:2] == [OutingDoubt.NO_OTHERS, OutingDoubt.NONE]
    assert np.isnan(told.ratio[0])
    assert told.apparent_mohm[0] == pytest.approx(23.5)
    # One single other battery may be the odd one itself.
    assert judge_outings(world([DEEP, USUAL]), 2).doubt.tolist() == [OutingDoubt.NO_OTHERS] * 2


def test_too_few_outings_are_no_verdict_however_deep():
    told = judge_outings(world([DEEP[:4], USUAL, USUAL]), 3)
    assert told.doubt[0] == OutingDoubt.TOO_FEW
    assert not told.sags[0]


def test_voltage_just_off_the_charger_counts_as_full_and_no_more():
    """13.2 V soon after a charge: the 0.35 V above full are gone with the first load."""
    told = judge_outings(world([USUAL, USUAL, USUAL], start_v=13.2), 3)
    assert told.sag_v[:5].tolist() == pytest.approx(USUAL)


def test_what_an_outing_lacks_is_told():
    rows = Outings(
        battery=[0, 0, 0, 0, 0, 1], place=[0, 0, 0, -1, 0, 0], start_rest_v=[12.8, np.nan, 12.8, 12.8, 12.8, np.nan],
        lowest_v=[np.nan, 9.0, 13.0, 9.0, 9.0, np.nan], full_rest_v=[12.8] * 6, peak_a=[np.nan] * 6,
        source_mohm=[np.nan] * 6, source_kind=[0] * 6,
    )  # fmt: skip
    told = judge_outings(rows, 3)
    assert [OutingLeftOut(code).name for code in told.left_out] == [
        "NO_LOWEST", "NO_REST", "NOT_BELOW", "NO_ROBOT", "USED", "NO_LOWEST",
    ]  # fmt: skip
    assert [OutingDoubt(code).name for code in told.doubt] == ["TOO_FEW", "NONE_USABLE", "NO_OUTINGS"]
    assert np.isnan(told.apparent_mohm).all()


def test_nothing_noted_is_nothing_said():
    told = judge_outings(world([]), 2)
    assert told.doubt.tolist() == [OutingDoubt.NO_OUTINGS] * 2
    assert not told.sags.any()


def test_a_code_outside_the_batteries_is_refused():
    with pytest.raises(ValueError, match="from 0 to 0"):
        judge_outings(world([USUAL, USUAL]), 1)


SAGS = st.lists(st.lists(st.floats(0.5, 6.0), min_size=1, max_size=8), min_size=1, max_size=6)


@given(SAGS)
@settings(max_examples=80, deadline=None)
def test_laws_of_the_comparison(sags_of):
    told = judge_outings(world(sags_of), len(sags_of))
    judged = told.doubt == OutingDoubt.NONE
    assert (told.n_compared <= told.n_usable).all()
    assert (told.n_usable <= told.n_logged).all()
    # No more than half of a pool can lie above the median of the others in this sense: never all of them.
    assert not (told.sags.all() and judged.all())
    inside = ~np.isnan(told.apparent_mohm)
    assert (told.apparent_low[inside] <= told.apparent_mohm[inside]).all()
    assert (told.apparent_mohm[inside] <= told.apparent_high[inside]).all()


@given(SAGS, st.floats(0.2, 3.0))
@settings(max_examples=40, deadline=None)
def test_a_harder_robot_changes_no_ratio(sags_of, harder):
    one = judge_outings(world(sags_of), len(sags_of))
    two = judge_outings(world([[harder * sag for sag in sags] for sags in sags_of]), len(sags_of))
    np.testing.assert_allclose(two.ratio, one.ratio)
    np.testing.assert_array_equal(two.doubt, one.doubt)


def test_charge_used_against_the_rest_voltages():
    """3.6 of 18 Ah is 20 %; the voltages say 25 %: within 15 points. 60 % is not."""
    told = charge_use([1.0, 1.0, 1.0], [0.75, 0.4, 0.9], [3.6, 3.6, np.nan], [18.0] * 3)
    assert told.gap_frac[:2] == pytest.approx([-0.05, -0.4])
    assert told.agrees.tolist() == [True, False, False]
    assert told.usable_ah[:2] == pytest.approx([14.4, 6.0])
    assert (told.usable_low_ah[1], told.usable_high_ah[1]) == pytest.approx((4.8, 8.0))
    assert np.isnan(told.usable_ah[2])


def test_voltages_that_hardly_fell_bound_the_charge_from_below_only():
    told = charge_use([1.0], [0.9], [3.6], [18.0])
    assert told.usable_low_ah[0] == pytest.approx(14.4)
    assert np.isinf(told.usable_high_ah[0])
    wider = charge_use([1.0], [0.9], [3.6], [18.0], BatteryPolicy(charge_doubt_frac=0.05))
    assert wider.usable_high_ah[0] == pytest.approx(72.0)
