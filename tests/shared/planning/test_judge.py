"""Which evidence leads to which verdict."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from shared.planning.trends import (
    BatteryPolicy,
    BatteryState,
    CrossingKind,
    LeftOut,
    Readings,
    comparable_series,
    judge_batteries,
    left_out,
    policy_rows,
)


def one_battery(mohm, *, step_d=14, **columns):
    n = len(mohm)
    given_columns = {"day": [step_d * i for i in range(n)], "soc_frac": [1.0] * n, **columns}
    return Readings(battery=[0] * n, resistance_mohm=mohm, **given_columns)


def state_of(mohm, **columns):
    return BatteryState(judge_batteries(one_battery(mohm, **columns), 1).state[0])


@pytest.mark.parametrize(
    ("mohm", "state"),
    [
        ([12.0, 12.1], BatteryState.NO_BASELINE),
        ([12.0, 12.1, 12.0, 15.0, 15.1], BatteryState.TOO_FEW_READINGS),
        # Level, with scatter.
        ([12.0, 12.3, 11.9, 12.2, 12.0, 12.1, 12.2], BatteryState.FIT),
        # Rising in every reading, p = 1/5040, but by 6 %: significance alone is not a verdict.
        ([12.0, 12.1, 12.2, 12.3, 12.5, 12.7, 12.8], BatteryState.FIT),
        ([12.0, 12.1, 12.4, 13.0, 14.4, 14.6, 14.9], BatteryState.WATCH),
        ([12.0, 12.1, 12.4, 14.0, 15.8, 16.0, 16.2], BatteryState.PRACTICE_ONLY),
        ([12.0, 12.1, 12.4, 15.0, 18.2, 18.5, 19.0], BatteryState.RETIRE),
        # A knee: flat for long, then steep. The straight line would still call this fit.
        ([12.0, 12.1, 12.0, 12.1, 12.2, 12.1, 12.2, 12.3, 18.2, 18.6, 19.1], BatteryState.RETIRE),
        # One loose lug, whether newest, in the middle or first, moves neither median.
        ([12.0, 12.3, 11.9, 12.2, 12.0, 12.1, 24.0], BatteryState.FIT),
        ([24.0, 12.3, 11.9, 12.2, 12.0, 12.1, 12.2], BatteryState.FIT),
    ],
)
def test_states(mohm, state):
    assert state_of(mohm) == state


def test_size_without_significance_never_asks_for_more_than_watching():
    """Three high readings after a disordered past: +55 %, but the exact test gives p above 0.05."""
    mohm = [12.0, 19.0, 11.8, 18.0, 17.5, 11.9, 18.6, 11.9, 18.4]
    told = judge_batteries(one_battery(mohm), 1)
    assert told.rise_frac[0] > 0.5
    assert told.large[0]
    assert told.p_value[0] > 0.05
    assert told.state[0] == BatteryState.WATCH


def test_two_readings_and_a_rise_of_a_quarter_are_no_verdict():
    assert state_of([12.0, 15.0]) == BatteryState.NO_BASELINE


def test_a_battery_without_readings_and_one_with_none_comparable_differ():
    readings = Readings(battery=[0, 0], day=[0, 9], resistance_mohm=[12.0, 12.1], soc_frac=[0.5, 0.6])
    told = judge_batteries(readings, 2)
    assert told.state.tolist() == [BatteryState.NONE_COMPARABLE, BatteryState.NO_READINGS]
    assert told.series.tolist() == [-1, -1]
    assert np.isnan(told.rise_frac).all()
    assert told.crossing.kind.tolist() == [CrossingKind.NO_FIT] * 2


def test_no_battery_at_all():
    told = judge_batteries(Readings(battery=[], day=[], resistance_mohm=[]), 0)
    assert told.state.size == 0


AGED = [12.0, 12.1, 12.4, 14.0, 15.8, 16.0, 16.2]
LEVEL = [16.1, 16.3, 16.0, 16.2, 16.1, 16.2]


def two_instruments(first, second):
    n = len(first) + len(second)
    return one_battery(first + second, instrument=[0] * len(first) + [1] * (n - len(first)))


def test_a_new_instrument_opens_a_new_baseline():
    told = judge_batteries(two_instruments([12.0, 12.2, 12.1, 12.0, 12.2, 12.1], [19.0, 19.2]), 1)
    assert told.state[0] == BatteryState.NO_BASELINE, "another instrument's baseline says nothing about it"
    assert told.n[0] == 2
    assert not told.sudden[0], "a change of instrument is not a sudden rise"


def test_a_new_instrument_does_not_wipe_out_what_the_old_one_showed():
    for newer in (LEVEL[:2], LEVEL):
        told = judge_batteries(two_instruments(AGED, newer), 1)
        assert told.state[0] == BatteryState.PRACTICE_ONLY
        assert told.n[0] == len(AGED)


def test_among_series_without_complaint_the_newest_decides():
    told = judge_batteries(two_instruments([12.0, 12.2, 12.1, 12.0, 12.2, 12.1], LEVEL), 1)
    assert told.state[0] == BatteryState.FIT
    assert told.baseline_mohm[0] == pytest.approx(16.1)


def test_a_sudden_rise_is_told_and_is_not_ageing():
    told = judge_batteries(one_battery([12.0, 12.3, 11.9, 12.2, 12.0, 12.1, 17.0], step_d=5), 1)
    assert told.sudden[0]
    assert told.sudden_rise_frac[0] == pytest.approx(17.0 / 12.1 - 1)
    assert told.state[0] == BatteryState.FIT
    slow = judge_batteries(one_battery([12.0, 12.3, 11.9, 12.2, 12.0, 12.1, 17.0], step_d=40), 1)
    assert not slow.sudden[0]
    settled = judge_batteries(one_battery([12.0, 12.3, 11.9, 12.2, 12.0, 17.0, 12.1], step_d=5), 1)
    assert not settled.sudden[0], "measured again after the lugs were seen to"


def test_a_sudden_rise_is_taken_from_the_series_read_last():
    told = judge_batteries(two_instruments(AGED, [16.1, 23.0]), 1)
    assert told.state[0] == BatteryState.PRACTICE_ONLY
    assert told.sudden[0]
    assert told.sudden_rise_frac[0] == pytest.approx(23.0 / 16.1 - 1)


def test_a_sudden_rise_is_told_even_before_there_is_a_baseline():
    told = judge_batteries(one_battery([12.0, 17.0], step_d=5), 1)
    assert told.sudden[0]
    assert told.state[0] == BatteryState.NO_BASELINE


def test_next_limit_and_its_crossing():
    rising = [12.0, 12.1, 12.2, 12.5, 12.8, 13.1, 13.4, 13.7, 14.0]
    told = judge_batteries(one_battery(rising), 1)
    assert told.state[0] == BatteryState.FIT
    assert told.limit_frac[0] == 0.20
    assert told.limit_mohm[0] == pytest.approx(1.2 * 12.1)
    assert told.crossing.kind[0] == CrossingKind.DATED
    assert 112 < told.crossing.day[0] <= 168
    retired = judge_batteries(one_battery([12.0, 12.1, 12.4, 15.0, 18.2, 18.5, 19.0]), 1)
    assert np.isnan(retired.limit_frac[0])


def test_policy_decides_the_verdict_not_the_readings():
    told = judge_batteries(one_battery(AGED), 1, BatteryPolicy(retire_rise_frac=0.30))
    assert told.state[0] == BatteryState.RETIRE
    lenient = BatteryPolicy(watch_rise_frac=0.4, practice_rise_frac=0.5, retire_rise_frac=1.0)
    assert judge_batteries(one_battery(AGED), 1, lenient).state[0] == BatteryState.FIT


@pytest.mark.parametrize(
    "wrong",
    [
        {"watch_rise_frac": 0.4},
        {"retire_capacity_frac": 0.95},
        {"min_readings": 5},
        {"alpha": 0.0},
    ],
)
def test_policies_that_contradict_themselves_are_refused(wrong):
    with pytest.raises(ValueError, match=r"\w"):
        BatteryPolicy(**wrong)


def test_every_policy_row_names_unit_and_source():
    rows = policy_rows(BatteryPolicy())
    assert len(rows) == len(BatteryPolicy.__dataclass_fields__)
    assert all(unit and len(source) > 10 for _, _, unit, source in rows)


LIMITS = {"full_rest_voltage_v": [12.8]}


@pytest.mark.parametrize(
    ("columns", "reason"),
    [
        ({"rest_voltage_v": [12.8], **LIMITS}, LeftOut.USED),
        ({"rest_voltage_v": [12.79], **LIMITS}, LeftOut.NOT_FULL),
        # A green light says full, the meter says not.
        ({"rest_voltage_v": [12.5], "soc_frac": [1.0], **LIMITS}, LeftOut.NOT_FULL),
        ({"rest_voltage_v": [12.9], "soc_frac": [0.5], **LIMITS}, LeftOut.USED),
        # No limit for this model (lithium): the counted charge decides.
        ({"rest_voltage_v": [13.3], "soc_frac": [0.95]}, LeftOut.USED),
        ({"rest_voltage_v": [13.3], "soc_frac": [0.94]}, LeftOut.NOT_FULL),
        ({"rest_voltage_v": [13.3]}, LeftOut.CHARGE_UNKNOWN),
        ({}, LeftOut.CHARGE_UNKNOWN),
        ({"soc_frac": [1.0], "temperature_c": [14.9]}, LeftOut.TOO_WARM_OR_COLD),
        ({"soc_frac": [1.0], "temperature_c": [15.0]}, LeftOut.USED),
        ({"soc_frac": [1.0], "temperature_c": [30.1]}, LeftOut.TOO_WARM_OR_COLD),
        ({"soc_frac": [1.0], "temperature_c": [np.nan]}, LeftOut.USED),
        ({"soc_frac": [1.0], "rest_h": [1.0]}, LeftOut.NOT_RESTED),
        ({"soc_frac": [1.0], "rest_h": [4.0]}, LeftOut.USED),
        ({"soc_frac": [1.0], "cycles": [4]}, LeftOut.BREAK_IN),
        ({"soc_frac": [1.0], "cycles": [5]}, LeftOut.USED),
        ({"soc_frac": [1.0], "resistance_mohm": [0.015]}, LeftOut.IMPLAUSIBLE),
        ({"soc_frac": [1.0], "resistance_mohm": [np.nan]}, LeftOut.IMPLAUSIBLE),
    ],
)
def test_gates(columns, reason):
    readings = Readings(**{"battery": [0], "day": [0], "resistance_mohm": [12.0], **columns})
    assert left_out(readings)[0] == reason


def test_readings_of_one_day_are_merged_and_none_is_lost():
    readings = Readings(
        battery=[1, 0, 1, 1, 1],
        day=[3.9, 2.0, 3.1, 3.5, 1.0],
        resistance_mohm=[15.0, 9.0, 11.0, 12.0, 10.0],
        instrument=[0, 0, 0, 0, 0],
    )
    made = comparable_series(readings, np.array([True, True, True, True, True]))
    assert made.battery.tolist() == [0, 1]
    assert made.offsets.tolist() == [0, 1, 3]
    assert made.day.tolist() == [2.0, 1.0, 3.0]
    assert made.resistance_mohm.tolist() == [9.0, 10.0, 12.0]
    assert made.of_reading.tolist() == [1, 0, 1, 1, 1]


def league_of(seed, batteries=9, n=120):
    """Readings of some batteries by two methods and two instruments, in no order."""
    rng = np.random.default_rng(seed)
    return {
        "battery": rng.integers(0, batteries, n),
        "day": rng.integers(0, 60, n).astype(float),
        "resistance_mohm": np.round(12 + rng.gamma(2, 2, n), 1),
        "method_group": rng.integers(0, 2, n),
        "instrument": rng.integers(0, 2, n),
        "soc_frac": rng.choice([1.0, 1.0, 1.0, 0.5, np.nan], n),
    }


@given(st.integers(0, 2**32 - 1))
@settings(max_examples=25, deadline=None)
def test_a_league_is_judged_like_each_battery_alone(seed):
    columns, batteries = league_of(seed), 9
    league = judge_batteries(Readings(**columns), batteries)
    for b in range(batteries):
        mine = columns["battery"] == b
        rows = {name: column[mine] for name, column in columns.items()}
        alone = judge_batteries(Readings(**{**rows, "battery": np.zeros(mine.sum(), dtype=int)}), 1)
        for name in (
            "state",
            "n",
            "rise_frac",
            "p_value",
            "slope_low",
            "limit_mohm",
            "sudden",
            "n_comparable",
        ):
            np.testing.assert_array_equal(getattr(league, name)[b], getattr(alone, name)[0], err_msg=name)
        np.testing.assert_array_equal(league.crossing.not_before[b], alone.crossing.not_before[0])


@given(st.integers(0, 2**32 - 1))
@settings(max_examples=25, deadline=None)
def test_lines_of_those_that_rose_are_enough_for_every_state(seed):
    readings = Readings(**league_of(seed, batteries=15, n=240))
    whole = judge_batteries(readings, 15)
    brief = judge_batteries(readings, 15, lines_of_all=False)
    lined = whole.large
    for name in (
        "state",
        "series",
        "rise_frac",
        "large",
        "sudden",
        "sudden_rise_frac",
        "level_mohm",
        "limit_mohm",
    ):
        np.testing.assert_array_equal(getattr(brief, name), getattr(whole, name), err_msg=name)
    for name in ("p_value", "significant", "slope_mohm_per_d", "slope_low", "slope_high"):
        np.testing.assert_array_equal(getattr(brief, name)[lined], getattr(whole, name)[lined], err_msg=name)
    np.testing.assert_array_equal(brief.crossing.day[lined], whole.crossing.day[lined])
    assert np.isnan(brief.p_value[~lined]).all()


@given(st.lists(st.floats(10, 25), min_size=6, max_size=20), st.floats(1.01, 3))
@settings(max_examples=60, deadline=None)
def test_a_meter_that_reads_high_by_one_factor_sees_the_same_rise(mohm, factor):
    once, twice = (judge_batteries(one_battery([m * f for m in mohm]), 1) for f in (1.0, factor))
    assert twice.rise_frac[0] == pytest.approx(once.rise_frac[0], abs=1e-9)
    assert twice.n[0] == once.n[0]


def test_false_alarms_of_a_healthy_pool_are_rare():
    """Level batteries, 3 % scatter, ten readings each: both gates let fewer than 1 in 1,000 by."""
    rng = np.random.default_rng(20261125)
    n, g = 10, 10_000
    readings = Readings(
        battery=np.repeat(np.arange(g), n),
        day=np.tile(np.arange(n) * 20.0, g),
        resistance_mohm=14 * (1 + rng.normal(0, 0.03, n * g)),
        soc_frac=np.ones(n * g),
    )
    told = judge_batteries(readings, g)
    assert 0.02 < told.significant.mean() < 0.05, "one test in twenty or fewer, as the exact test promises"
    assert (told.state > BatteryState.FIT).mean() < 0.001


def test_wrong_columns_are_refused():
    with pytest.raises(ValueError, match="below 1"):
        judge_batteries(Readings(battery=[1], day=[0], resistance_mohm=[12]), 1)
    with pytest.raises(ValueError, match="soc_frac"):
        judge_batteries(Readings(battery=[0], day=[0], resistance_mohm=[12], soc_frac=[1, 1]), 1)
    with pytest.raises(ValueError, match="instrument"):
        judge_batteries(Readings(battery=[0], day=[0], resistance_mohm=[12], instrument=[-1]), 1)
