"""Measured battery series through the real detector; sources and licences in data/README.md."""

import csv
from pathlib import Path

import numpy as np
import pytest

from shared.planning.trends import (
    BatteryState,
    CapacityDoubt,
    CrossingKind,
    Readings,
    crossing_many,
    judge_batteries,
    judge_capacity,
    mann_kendall,
    theil_sen,
)

DATA = Path(__file__).parent / "data"
CELLS = ("B0030", "B0047")


def table(name: str) -> list[dict[str, str]]:
    with (DATA / name).open(newline="") as source:
        return list(csv.DictReader(source))


def column(rows: list[dict[str, str]], name: str) -> list[float]:
    return [float(row[name]) for row in rows]


@pytest.fixture(scope="module")
def judged():
    rows = table("lithium_cell_resistance.csv")
    readings = Readings(
        battery=[CELLS.index(row["cell"]) for row in rows],
        day=column(rows, "discharges_done"),
        resistance_mohm=column(rows, "resistance_mohm"),
        soc_frac=np.ones(len(rows)),
    )
    return judge_batteries(readings, len(CELLS))


def test_the_cell_that_aged_is_flagged(judged):
    """NASA cell B0047: resistance 56 to 73 mOhm, S = 606 and Z = 7.05 over all forty readings."""
    aged = CELLS.index("B0047")
    assert judged.state[aged] >= BatteryState.PRACTICE_ONLY
    assert judged.rise_frac[aged] == pytest.approx(0.30, abs=0.03)
    assert judged.significant[aged]
    assert judged.slope_low[aged] > 0
    readings = [row for row in table("lithium_cell_resistance.csv") if row["cell"] == "B0047"]
    unmerged = mann_kendall(column(readings, "resistance_mohm"))
    assert (unmerged.s[0], round(float(unmerged.z[0]), 2)) == (606, 7.05)


def test_the_cell_that_did_not_age_is_not_flagged(judged):
    """NASA cell B0030: 63.4 to 64.6 mOhm, p = 0.09 two-sided."""
    healthy = CELLS.index("B0030")
    assert judged.state[healthy] == BatteryState.FIT
    assert not judged.large[healthy]
    assert not judged.sudden[healthy]


def test_two_readings_of_one_visit_count_once(judged):
    """Both cells were read twice a visit: forty readings are twenty pieces of evidence."""
    assert judged.n_logged.tolist() == [17, 40]
    assert judged.n.tolist() == [9, 20]


def test_alternating_pairs_are_not_scatter(judged):
    """Merged by visit, B0047 lies closer to its line than with both readings of a visit in one series."""
    rows = [row for row in table("lithium_cell_resistance.csv") if row["cell"] == "B0047"]
    x, y = np.array(column(rows, "discharges_done")), np.array(column(rows, "resistance_mohm"))

    def scatter(t, r):
        fit = theil_sen(t, r)
        residual = r - fit.intercept[0] - fit.slope[0] * t
        return np.median(np.abs(residual - np.median(residual)))

    series = judged.series[CELLS.index("B0047")]
    a, b = judged.readings.offsets[series : series + 2]
    assert scatter(judged.readings.day[a:b], judged.readings.resistance_mohm[a:b]) < scatter(x, y)


def test_capacity_crossing_never_promises_more_than_half_the_span():
    """NASA cell B0005, capacity to 1.4 Ah, truly first below at discharge 125.

    Slope intervals from the first 40, 60 and 80 discharges (359 [256-652], 211 [188-246], 149 [139-161]) all
    miss, so no date may be told from them, and no "not before" may lie past the truth.
    """
    rows = [row for row in table("lithium_cell_capacity.csv") if row["cell"] == "B0005"]
    x, y = np.array(column(rows, "discharge")), np.array(column(rows, "capacity_ah"))
    dated = []
    for n in range(6, x.size + 1):
        told = crossing_many(theil_sen(x[:n], y[:n]), 1.4, x[0], x[n - 1], falling=True)
        horizon = x[n - 1] + (x[n - 1] - x[0]) / 2
        kind = CrossingKind(told.kind[0])
        if x[n - 1] <= 80:
            assert kind == CrossingKind.NOT_BEFORE
        if kind == CrossingKind.NOT_BEFORE:
            assert told.not_before[0] <= min(horizon, 125)
            assert np.isnan(told.day[0])
        if kind == CrossingKind.DATED:
            assert told.day[0] <= horizon
            assert not told.latest[0] > horizon
            dated.append(float(told.day[0]))
    assert dated, "near the end the trend does meet the limit"
    assert np.abs(np.array(dated) - 125).max() < 15


def test_a_line_past_the_limit_is_not_a_battery_past_the_limit():
    """NASA cell B0007 flattens out: its line passes 1.4 Ah, the cell ends at 1.4063 Ah and never crosses."""
    rows = [row for row in table("lithium_cell_capacity.csv") if row["cell"] == "B0007"]
    x, y = np.array(column(rows, "discharge")), np.array(column(rows, "capacity_ah"))
    told = crossing_many(theil_sen(x, y), 1.4, x[0], x[-1], falling=True)
    assert told.kind[0] == CrossingKind.LINE_PAST
    assert np.isnan([told.earliest[0], told.latest[0], told.not_before[0]]).all()
    # So the state is taken from the readings: the median of the newest three still stands above the limit.
    assert np.median(y[-3:]) > 1.4


def test_falling_capacity_of_the_lead_acid_battery_is_seen_by_a_detector_without_the_rate():
    """Seven discharges of one 17 Ah battery in ten days: S = -17, exact one-sided p = 0.0054."""
    rows = table("lead_acid_17ah_discharges.csv")
    delivered = np.array(column(rows, "delivered_ah"))
    fall = mann_kendall(-delivered)
    assert fall.s[0] == 17
    assert fall.p_rise[0] == pytest.approx(0.00536, abs=5e-6)
    # Converting to one rate by Peukert (k = 1.1, usual for AGM) makes the fall look worse.
    at_one_rate = delivered * (np.array(column(rows, "current_a")) / 1.0) ** 0.1
    assert np.ptp(at_one_rate) > np.ptp(delivered)
    assert mann_kendall(-at_one_rate).s[0] >= 17


def test_the_capacity_verdict_refuses_rates_the_maker_does_not_state():
    """The same discharges against assumed 20 h and 10 h ratings: six have no rated rate within 10 %."""
    rows = table("lead_acid_17ah_discharges.csv")
    told = judge_capacity(
        column(rows, "delivered_ah"),
        column(rows, "current_a"),
        [20, 10],
        [17.0, 16.0],
        temperature_c=column(rows, "mean_temperature_c"),
    )
    names = [CapacityDoubt(code).name for code in told.doubt]
    assert names == ["NO_RATED_RATE"] * 3 + ["NONE"] + ["NO_RATED_RATE"] * 3
    assert (told.state[told.doubt == CapacityDoubt.NONE] == BatteryState.FIT).all()
    assert np.isnan(told.fraction[told.doubt != CapacityDoubt.NONE]).all()
