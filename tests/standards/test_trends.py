"""Trend arithmetic against published tables and worked examples; the source stands beside each check."""

import numpy as np
import pytest

from shared.electrical.battery import two_point_short_circuit_a, two_pulse_resistance_mohm
from shared.planning.trends import (
    BatteryState,
    CrossingKind,
    Readings,
    crossing_many,
    cusum,
    ewma,
    exact_p_rise,
    individuals_limits,
    judge_batteries,
    line_crossing,
    mann_kendall,
    theil_sen,
)

# Synthetic ageing series of seven readings; expected values from scipy 1.17.1 and by hand.
DAYS = [0, 14, 30, 61, 92, 120, 150]
MOHM = [12.0, 12.3, 12.1, 12.9, 13.2, 13.1, 13.9]


def test_ewma_of_the_nist_example():
    """NIST/SEMATECH e-Handbook 6.3.2.4: twenty values, weight 0.3, target 50, sigma 2.0539."""
    values = [52.0, 47.0, 53.0, 49.3, 50.1, 47.0, 51.0, 50.1, 51.2, 50.5]
    values += [49.6, 47.6, 49.9, 51.3, 47.8, 51.2, 52.6, 52.4, 53.6, 52.1]
    printed = [50.60, 49.52, 50.56, 50.18, 50.16, 49.21, 49.75, 49.85, 50.26, 50.33]
    printed += [50.11, 49.36, 49.52, 50.05, 49.38, 49.92, 50.73, 51.23, 51.94, 51.99]
    chart = ewma(values, 50, 2.0539)
    assert chart.values == pytest.approx(printed, abs=0.0051)
    # The handbook prints 47.4115; unrounded arithmetic gives 47.41157.
    assert chart.final_upper == pytest.approx(52.5884, abs=1e-4)
    assert chart.final_lower == pytest.approx(47.4115, abs=1e-4)
    assert chart.upper[-1] == pytest.approx(chart.final_upper, abs=1e-4)


def test_individuals_chart_of_the_nist_example():
    """NIST/SEMATECH e-Handbook 6.3.2.2: ten flow rates."""
    limits = individuals_limits([49.6, 47.6, 49.9, 51.3, 47.8, 51.2, 52.6, 52.4, 53.6, 52.1])
    assert limits == pytest.approx((50.81, 1.8778, 45.8159, 55.8041), abs=5e-5)


def test_cusum_of_the_textbook_example():
    """Montgomery and Runger, Applied Statistics and Probability for Engineers, exercise 16-6."""
    values = [102.0, 94.8, 98.3, 98.4, 102.0, 98.5, 99.0, 97.7, 100.0, 98.1]
    values += [101.3, 98.7, 101.1, 98.4, 97.0, 96.7, 100.3, 101.4, 97.2, 101.0]
    high = [2.0, 0, 0, 0, 2.0, 0.5, 0, 0, 0, 0, 1.3, 0, 1.1, 0, 0, 0, 0.3, 1.7, 0, 1.0]
    low = [0, 3.2, 2.9, 2.5, 0, 0, 0, 0.3, 0, 0, 0, 0, 0, 0, 1.0, 2.3, 0, 0, 0.8, 0]
    chart = cusum(values, 99, 1, 10)
    assert chart.high == pytest.approx(high, abs=0.05)
    assert chart.low == pytest.approx(low, abs=0.05)
    assert not chart.signal.any()
    assert cusum(values, 99, 1, 3.0).signal.tolist().index(True) == 1


def test_mann_kendall_with_ties_of_the_epa_example():
    """EPA QA/G-9S (2006) p. 109: eleven values with ties."""
    told = mann_kendall([10, 10, 10, 5, 10, 20, 18, 17, 15, 24, 15])
    assert told.s[0] == 22
    assert told.variance[0] == pytest.approx(155.33, abs=0.01)
    assert told.z[0] == pytest.approx(1.685, abs=1e-3)
    assert 2 * told.p_rise[0] == pytest.approx(0.092, abs=1e-4)


@pytest.mark.parametrize(
    ("n", "needed_5", "needed_1"),
    [(4, 6, None), (5, 8, 10), (6, 11, 13), (7, 13, 17), (8, 16, 20), (9, 18, 24), (10, 21, 27)],
)
def test_exact_mann_kendall_table(n, needed_5, needed_1):
    """Kendall, Rank Correlation Methods (1975), upper tail of S; 5 % column as used for groundwater."""
    possible = range(-n * (n - 1) // 2, n * (n - 1) // 2 + 1, 2)
    p = {s: exact_p_rise(s, [1] * n) for s in possible}
    for level, needed in ((0.05, needed_5), (0.01, needed_1)):
        enough = [s for s in possible if p[s] <= level]
        assert (min(enough) if enough else None) == needed


@pytest.mark.parametrize(("n", "s", "p"), [(4, 6, 0.0417), (7, 13, 0.0345), (10, 21, 0.0363)])
def test_exact_mann_kendall_chances(n, s, p):
    """Kendall, Rank Correlation Methods (1975), appendix table of S: 0.042, 0.035 and 0.036."""
    assert exact_p_rise(s, [1] * n) == pytest.approx(p, abs=5e-5)


def test_three_readings_can_never_show_a_trend():
    """The same table: with n = 3 the strongest order has p = 1/6."""
    assert exact_p_rise(3, [1, 1, 1]) == pytest.approx(1 / 6)


def test_ageing_trend_with_interval():
    """Seven synthetic readings; slope and interval from scipy 1.17.1 theilslopes, exact p by counting."""
    fit, test = theil_sen(DAYS, MOHM), mann_kendall(MOHM)
    assert fit.slope[0] == pytest.approx(0.0117647, abs=1e-6)
    assert fit.intercept[0] == pytest.approx(12.182353, abs=1e-6)
    assert (fit.low[0], fit.high[0]) == pytest.approx((0.0033898, 0.0177419), abs=1e-6)
    assert test.s[0] == 17
    # The two-sided normal approximation says 0.0163 here: tail and method must be stated.
    assert test.p_rise[0] == pytest.approx(0.005357, abs=1e-6)


@pytest.mark.parametrize(
    ("percent", "day", "earliest", "latest"), [(25, 239.5, 179.4, 680.5), (50, 494.5, 348.5, 1565.5)]
)
def test_ageing_trend_crossing_is_computed_but_not_told(percent, day, earliest, latest):
    """The same series against +25 % and +50 % of 12.0: by hand from the slopes above through the medians."""
    fit, limit = theil_sen(DAYS, MOHM), 12.0 * (1 + percent / 100)
    slopes = np.array([fit.slope[0], fit.high[0], fit.low[0]])
    bare = line_crossing(fit.median_time[0], fit.median_value[0], slopes, limit)
    assert bare == pytest.approx([day, earliest, latest], abs=0.1)
    told = crossing_many(fit, limit, DAYS[0], DAYS[-1])
    assert told.kind[0] == CrossingKind.NOT_BEFORE, "half the span of 150 days allows nothing past day 225"
    assert np.isnan([told.day[0], told.earliest[0], told.latest[0]]).all()
    assert told.not_before[0] == pytest.approx(min(earliest, 225.0), abs=0.1)


def test_one_wild_reading_does_not_move_the_slope():
    """The same series with 18.0 on day 61: Theil-Sen stays, least squares moves by 13 %."""
    wild = [*MOHM[:3], 18.0, *MOHM[4:]]
    assert theil_sen(DAYS, wild).slope[0] == pytest.approx(0.0117647, abs=1e-6)
    assert np.polyfit(DAYS, MOHM, 1)[0] == pytest.approx(0.0116986, abs=1e-6)
    assert np.polyfit(DAYS, wild, 1)[0] == pytest.approx(0.0101668, abs=1e-6)


def test_two_pulse_resistance_of_a_simulated_battery():
    """PyBaMM 26.10 model run, parameter set Sulzer 2019 (12 V, 17 Ah): 40 A for 5 s, 120 A for 1 s."""
    loads = (40, 12.2765, 120, 11.6460)
    mohm = float(two_pulse_resistance_mohm(*loads))
    assert mohm == pytest.approx(7.88, abs=0.01)
    assert float(two_point_short_circuit_a(*loads)) == pytest.approx(1598, abs=2)
    assert 12.2765 + 40 * mohm / 1000 == pytest.approx(12.592, abs=1e-3)


def test_rise_of_a_standby_battery_and_its_place_between_the_limits():
    """Field case quoted with IEEE 1188-2005 Annex C.4: 3.20 to 4.35 is +35.9 %, in the 30-50 % band."""
    series = [3.20, 3.20, 3.20, 3.8, 4.35, 4.35, 4.35]
    rows = Readings(battery=[0] * 7, day=range(0, 210, 30), resistance_mohm=series, soc_frac=[1.0] * 7)
    told = judge_batteries(rows, 1)
    assert told.rise_frac[0] == pytest.approx(0.359, abs=0.001)
    assert told.state[0] == BatteryState.PRACTICE_ONLY
    # Against the string mean of 3.80 it is only +14.5 %: the denominator belongs to the verdict.
    series = [3.80] * 4 + [4.35] * 3
    rows = Readings(battery=[0] * 7, day=range(7), resistance_mohm=series, soc_frac=[1.0] * 7)
    told = judge_batteries(rows, 1)
    assert told.rise_frac[0] == pytest.approx(0.145, abs=0.001)
    assert told.state[0] == BatteryState.FIT
