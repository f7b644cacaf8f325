"""Short circuits: bands of many devices, what a conductor bears, selectivity against a search over a fine grid."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from shared.electrical.arrays import Verdict
from shared.electrical.bands import DeviceBands
from shared.electrical.faults import (
    FaultRange,
    bearable_s,
    fault_range,
    let_through,
    selectivity,
    selectivity_check,
    short_time_limit_c,
)
from shared.electrical.protection import opening_time_s
from shared.electrical.sources import COMMON_PRACTICE, Source
from shared.electrical.tables.protection import CURVES, CurvePoint, TimeCurrentCurve
from shared.electrical.thermal import overload_time_s, time_constant_s, withstand_time_s

FAMILIES = list(CURVES.values())


def bands_of(*devices: tuple[float, TimeCurrentCurve], by_heat: bool = False) -> DeviceBands:
    rows = [
        (d, p.multiple, p.min_s, p.max_s) for d, (_, curve) in enumerate(devices) for p in curve.points
    ] + [(d, curve.holds_multiple, np.nan, np.nan) for d, (_, curve) in enumerate(devices)]
    device, multiple, low, high = (np.array(column) for column in zip(*rows, strict=True))
    return DeviceBands.build(
        np.array([rating for rating, _ in devices]),
        np.full(len(devices), by_heat),
        device=device.astype(np.int64),
        multiple=multiple,
        earliest_s=low,
        latest_s=high,
    )


@st.composite
def curves(draw: st.DrawFn) -> TimeCurrentCurve:
    """Bands that fall as the current rises, two to five points."""
    count = draw(st.integers(2, 5))
    multiples = np.cumsum([draw(st.floats(0.2, 2.0)) for _ in range(count)]) + 1.1
    falls = np.cumprod([draw(st.floats(0.1, 0.95)) for _ in range(count)])
    start = draw(st.floats(0.5, 500.0))
    width = draw(st.floats(1.0, 50.0))
    points = tuple(
        CurvePoint(float(m), float(start * f), float(start * f * width))
        for m, f in zip(multiples, falls, strict=True)
    )
    return TimeCurrentCurve("own", "", Source("a sheet", "", COMMON_PRACTICE), 1.1, points)


@pytest.mark.parametrize("curve", FAMILIES, ids=lambda c: c.name)
def test_padded_bands_agree_with_one_curve_at_a_time(curve: TimeCurrentCurve) -> None:
    bands = bands_of(*((10.0, c) for c in FAMILIES))
    multiple = np.geomspace(0.5, 20.0, 200)
    row = np.full(multiple.shape, FAMILIES.index(curve), dtype=np.int64)
    listed = [p.multiple for p in curve.points]
    inside = (multiple > curve.holds_multiple) & (multiple <= listed[-1])
    by_interp = np.exp(np.interp(np.log(multiple), np.log(listed), np.log([p.min_s for p in curve.points])))
    early, late = bands.earliest_s(row, multiple * 10.0), bands.latest_s(row, multiple * 10.0)
    assert early[inside] == pytest.approx(by_interp[inside], rel=1e-9)
    band = opening_time_s(multiple, curve)
    assert np.nan_to_num(early, posinf=1e9) == pytest.approx(np.nan_to_num(band.min_s, posinf=1e9), rel=1e-6)
    assert np.nan_to_num(late, posinf=1e9) == pytest.approx(np.nan_to_num(band.max_s, posinf=1e9), rel=1e-6)


def test_edges_have_their_own_points_and_missing_ones_say_nothing() -> None:
    bands = DeviceBands.build(
        np.array([10.0, 20.0]),
        np.array([True, True]),
        device=np.array([0, 0, 0, 0]),
        multiple=np.array([6.0, 1.2, 2.0, 3.5]),
        earliest_s=np.array([0.02, np.nan, np.nan, 0.04]),
        latest_s=np.array([np.nan, np.nan, 5.0, np.inf]),
    )
    first, none, second = np.array([0]), np.array([-1]), np.array([1])
    assert bands.holds_a.tolist() == [12.0, 20.0]
    assert bands.earliest_s(first, 12.0)[0] == np.inf
    assert bands.earliest_s(first, 12.1)[0] == pytest.approx(0.04)
    assert bands.latest_s(first, 19.9)[0] == np.inf
    assert bands.latest_s(first, 20.0)[0] == pytest.approx(5.0)
    assert np.isnan(bands.latest_s(second, 100.0)[0])
    assert np.isnan(bands.earliest_s(none, 100.0)[0])
    # Beyond the last latest point what heat opens lets through no more I2t: 40 A is twice 20 A, so a quarter of 5 s.
    assert bands.latest_s(first, 40.0)[0] == pytest.approx(1.25)
    assert bands.earliest_s(first, 61.0)[0] == 0.0
    assert bands.earliest_bound_s(first, 61.0)[0] == pytest.approx(0.02)


def test_of_points_that_rise_the_safe_side_counts() -> None:
    """A slip in a sheet: later at a larger current. The soonest never rises again, the latest was as late before."""
    bands = DeviceBands.build(
        np.array([10.0]),
        np.array([False]),
        device=np.array([0, 0, 0]),
        multiple=np.array([2.0, 3.0, 4.0]),
        earliest_s=np.array([0.5, 0.1, 0.4]),
        latest_s=np.array([5.0, 1.0, 8.0]),
    )
    row, amps = np.zeros(3, dtype=np.int64), np.array([20.0, 30.0, 40.0])
    assert bands.earliest_s(row, amps) == pytest.approx([0.5, 0.1, 0.1])
    assert bands.latest_s(row, amps) == pytest.approx([8.0, 8.0, 8.0])


def test_no_devices_at_all_is_unknown_everywhere() -> None:
    none = np.empty(0)
    bands = DeviceBands.build(
        none, none.astype(bool), device=none.astype(np.int64), multiple=none, earliest_s=none, latest_s=none
    )
    row = np.array([-1, -1])
    assert np.isnan(bands.latest_s(row, np.array([5.0, 6.0]))).all()
    assert np.isnan(selectivity(bands, row, row).limit_a).all()
    both = FaultRange(np.array([10.0, 10.0]), np.array([20.0, 20.0]))
    assert let_through(bands, row, both, 1.0, 105.0, 30.0, 20.0).verdict.tolist() == [Verdict.UNKNOWN] * 2


def test_a_conductor_bears_what_the_overload_rule_accepts_and_then_ever_less() -> None:
    amps = np.geomspace(10.0, 2000.0, 400)
    seconds = bearable_s(amps, 3.3088, 105.0, 30.0, 45.0)
    assert np.isinf(seconds[amps <= 1.45 * 45.0]).all()
    finite = seconds[amps > 1.45 * 45.0]
    assert np.isfinite(finite).all()
    assert (np.diff(finite) <= 1e-12).all()
    # Where it lasts 5 s or less, that is the adiabatic equation with k = 87.4 (105 C PVC at its limit).
    short = finite <= 4.99
    assert finite[short] == pytest.approx((87.4 * 3.3088 / amps[amps > 1.45 * 45.0][short]) ** 2, rel=5e-3)


def test_slow_heating_is_never_quicker_than_to_the_rated_temperature() -> None:
    """From cold to the class takes less long than from cold to the short-time limit: both by first-order heating."""
    ratio = 1.6
    cold = float(overload_time_s(ratio, time_constant_s(3.3088), 1.0 - 1e-12))
    assert float(bearable_s(45.0 * ratio, 3.3088, 105.0, 30.0, 45.0)) > cold


def test_what_is_not_known_stays_unknown() -> None:
    assert np.isnan(bearable_s(100.0, np.nan, 105.0, 30.0, 45.0))
    assert np.isnan(bearable_s(100.0, 3.3, np.nan, 30.0, 45.0))
    assert np.isnan(short_time_limit_c(np.nan))
    assert np.isnan(fault_range(12.6, np.nan, 1.0, 12.0, 20.0, 2.0).highest_a)


def test_faults_fall_with_the_path_and_the_state_of_the_battery() -> None:
    both = fault_range(12.8, 11.0, np.array([0.0, 50.0]), 12.0, 18.0, np.array([0.0, 70.0]))
    assert both.highest_a == pytest.approx([12.8 / 0.011, 12.8 / 0.061])
    assert both.lowest_a == pytest.approx([12.0 / 0.018, 12.0 / 0.088])


@given(down=curves(), up=curves(), ratio=st.floats(0.3, 6.0), by_heat=st.booleans())
def test_selectivity_limit_is_where_a_fine_search_first_fails(
    down: TimeCurrentCurve, up: TimeCurrentCurve, ratio: float, by_heat: bool
) -> None:
    bands = bands_of((20.0, down), (20.0 * ratio, up), by_heat=by_heat)
    pair = selectivity(bands, np.array([0]), np.array([1]))
    limit, reach = float(pair.limit_a[0]), float(pair.known_a[0])
    start = 20.0 * down.points[0].multiple
    amps = np.geomspace(start, max(start, reach), 3000)
    later = bands.latest_s(np.zeros(amps.shape, np.int64), amps)
    sooner = bands.earliest_bound_s(np.ones(amps.shape, np.int64), amps)
    clear = later < sooner * (1 + 1e-6)
    assert clear[amps < limit * (1 - 1e-6)].all()
    if np.isfinite(limit):
        assert limit >= start * (1 - 1e-9)
        from_there = amps[amps >= limit * (1 - 1e-9)]
        first_failing = amps[~(later < sooner)][:1]
        if from_there.size and first_failing.size:
            step = amps[1] / amps[0] if amps[1] > amps[0] else 1.0
            assert first_failing[0] <= limit * step * (1 + 1e-6)


@given(curve=curves(), rating=st.floats(1.0, 60.0), low=st.floats(5.0, 300.0), more=st.floats(1.0, 10.0),
       area=st.floats(0.3, 20.0), by_heat=st.booleans())  # fmt: skip
def test_let_through_is_judged_as_by_a_fine_search(
    curve: TimeCurrentCurve, rating: float, low: float, more: float, area: float, by_heat: bool
) -> None:
    bands = bands_of((rating, curve), by_heat=by_heat)
    ampacity = 12.0 * area**0.75
    both = FaultRange(np.array([low]), np.array([low * more]))
    worst = let_through(bands, np.array([0]), both, area, 105.0, 30.0, ampacity)
    amps = np.geomspace(low, low * more, 4000)
    opens = bands.latest_s(np.zeros(amps.shape, np.int64), amps)
    bears = bearable_s(amps, area, 105.0, 30.0, ampacity)
    # Where heat is lost meanwhile the limit is curved between the currents compared: within a few hundredths.
    if int(worst.verdict[0]) == Verdict.HOLDS:
        assert (opens <= bears * 1.05).all()
        assert (opens <= bears * (1 + 1e-6))[bears < 5.0].all()
    else:
        assert int(worst.verdict[0]) == Verdict.FAILS
        assert worst.opens_s[0] > worst.bears_s[0]
        assert low * (1 - 1e-9) <= worst.current_a[0] <= low * more * (1 + 1e-9)
    if (opens > bears * 1.05).any():
        assert int(worst.verdict[0]) == Verdict.FAILS


def test_the_same_device_twice_is_not_selective() -> None:
    blade = CURVES["blade"]
    bands = bands_of((20.0, blade), (20.0, blade), by_heat=True)
    pair = selectivity(bands, np.array([0, -1]), np.array([1, 1]))
    assert pair.limit_a[0] == pytest.approx(27.0)
    assert selectivity_check(pair, 300.0).tolist() == [Verdict.FAILS, Verdict.UNKNOWN]


def test_without_points_far_enough_nothing_is_promised() -> None:
    bands = bands_of((10.0, CURVES["blade"]), (120.0, CURVES["thermal_main_120"]))
    pair = selectivity(bands, np.array([0]), np.array([1]))
    assert selectivity_check(pair, np.array([719.0])).tolist() == [Verdict.HOLDS]
    assert selectivity_check(pair, np.array([800.0])).tolist() == [Verdict.UNKNOWN]


def test_a_league_of_circuits_is_a_few_array_operations() -> None:
    """60,000 circuits, twelve devices: the answer of each is the answer of it alone."""
    rng = np.random.default_rng(7)
    size = 60_000
    bands = bands_of(*((float(r), CURVES["blade"]) for r in (2, 3, 5, 10, 15, 20, 30, 40)), by_heat=True)
    device = rng.integers(0, 8, size)
    both = FaultRange(rng.uniform(10, 100, size), rng.uniform(100, 700, size))
    area, ampacity = rng.uniform(0.3, 10.0, size), rng.uniform(3.0, 60.0, size)
    worst = let_through(bands, device, both, area, 105.0, 30.0, ampacity)
    for i in range(0, size, 9973):
        alone = let_through(
            bands, device[i : i + 1], FaultRange(both.lowest_a[i : i + 1], both.highest_a[i : i + 1]),
            area[i], 105.0, 30.0, ampacity[i],
        )  # fmt: skip
        assert int(alone.verdict[0]) == int(worst.verdict[i])
        assert alone.current_a[0] == pytest.approx(worst.current_a[i])


def test_a_far_end_that_draws_too_little_is_the_worst_current() -> None:
    """A 30 A breaker of the slow class on a long 14 AWG lead: at 45 A it may need for ever, the wire does not."""
    bands = bands_of((30.0, CURVES["thermal_main_120"]))
    both = FaultRange(np.array([44.0]), np.array([300.0]))
    worst = let_through(bands, np.array([0]), both, 2.081, 105.0, 30.0, 25.0)
    assert int(worst.verdict[0]) == Verdict.FAILS
    assert worst.opens_s[0] == np.inf
    assert withstand_time_s(300.0, 2.081, 87.4) < 4.0
