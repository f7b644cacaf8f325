"""Capacity tests compare only what is comparable."""

import numpy as np
import pytest

from shared.planning.trends import BatteryPolicy, BatteryState, CapacityDoubt, judge_capacity, judge_use

# Rated points of a small AGM block: 20.6, 19.4 and 16.6 Ah at 20, 10 and 5 h (1.03, 1.94 and 3.32 A).
HOURS, AH, END = [20, 10, 5], [20.6, 19.4, 16.6], [10.8, 10.8, 10.5]


@pytest.mark.parametrize(
    ("fraction", "state"),
    [
        (1.02, BatteryState.FIT),
        (0.90, BatteryState.FIT),
        (0.89, BatteryState.WATCH),
        (0.80, BatteryState.WATCH),
        (0.79, BatteryState.RETIRE),
    ],
)
@pytest.mark.parametrize("rate", range(3))
def test_verdict_against_the_rated_capacity_at_the_same_rate(fraction, state, rate):
    told = judge_capacity(AH[rate] * fraction, AH[rate] / HOURS[rate], HOURS, AH)
    assert told.state[0] == state
    assert told.fraction[0] == pytest.approx(fraction)
    assert told.rated_hours[0] == HOURS[rate]


@pytest.mark.parametrize("current", [0.5, 1.4, 2.5, 10.0])
def test_a_rate_between_the_rated_ones_is_not_judged(current):
    told = judge_capacity(18.0, current, HOURS, AH)
    assert told.doubt[0] == CapacityDoubt.NO_RATED_RATE
    assert told.state[0] == BatteryState.NO_BASELINE
    assert np.isnan(told.fraction[0])


def test_end_voltage_and_temperature_must_agree():
    told = judge_capacity(
        [16.0, 16.0, 16.0, 16.0],
        [1.94] * 4,
        HOURS,
        AH,
        end_voltage_v=[11.5, 10.8, 10.8, np.nan],
        rated_end_voltage_v=END,
        temperature_c=[20, 5, 20, np.nan],
    )
    names = [CapacityDoubt(code).name for code in told.doubt]
    assert names == ["OTHER_END_VOLTAGE", "TOO_WARM_OR_COLD", "NONE", "NONE"]


def test_a_cool_battery_is_not_blamed_for_the_cold():
    """0.006/C at 10 h: 15.2 Ah at 15 C is 16.17 Ah at 25 C, 83 % and not 78 % of rated."""
    cool, warm = (judge_capacity(15.2, 1.94, HOURS, AH, temperature_c=t) for t in (15.0, 25.0))
    assert cool.corrected_ah[0] == pytest.approx(15.2 / 0.94)
    assert BatteryState(cool.state[0]) == BatteryState.WATCH
    assert BatteryState(warm.state[0]) == BatteryState.RETIRE


def test_each_test_may_have_its_own_model_and_short_tables_are_padded():
    told = judge_capacity(
        [16.0, 9.0], [1.94, 1.0], [[20.0, 10.0], [10.0, np.nan]], [[20.6, 19.4], [10.0, np.nan]]
    )
    assert told.rated_ah.tolist() == [19.4, 10.0]
    assert told.state.tolist() == [BatteryState.WATCH, BatteryState.FIT]


def test_capacity_and_current_must_be_positive():
    with pytest.raises(ValueError, match="greater than 0"):
        judge_capacity(0.0, 1.0, HOURS, AH)


def test_age_and_cycles_only_ask_for_watching():
    told = judge_use([5000, 10, np.nan], [np.nan, 10, 9000])
    assert told.tolist() == [BatteryState.WATCH, BatteryState.FIT, BatteryState.WATCH]
    assert judge_use(100, 50, BatteryPolicy(watch_cycles=50)) == BatteryState.WATCH
