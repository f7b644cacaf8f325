"""Laws of stock arithmetic, and what is refused."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy import stats

from shared.planning.reorder import (
    JEFFREYS,
    GammaPrior,
    StockState,
    compound_poisson,
    count_target,
    critical_ratio,
    fit_gamma_prior,
    latest_order_day,
    mean_life,
    negative_binomial_target,
    order_quantity,
    plan_stock,
    poisson_loss,
    poisson_target,
    posterior_rate,
    quantile_of,
    rate_interval,
    repairs_target,
    stock_position,
)

SERVICE = st.floats(0.5, 0.999)


@given(st.floats(0, 200), SERVICE)
@settings(max_examples=80, deadline=None)
def test_poisson_target_is_the_smallest_that_serves(mean, service):
    target = int(poisson_target(mean, service))
    assert stats.poisson.cdf(target, mean) >= service - 1e-9
    assert target == 0 or stats.poisson.cdf(target - 1, mean) < service + 1e-9


@given(st.floats(0.05, 50), st.floats(0.01, 1), SERVICE)
@settings(max_examples=80, deadline=None)
def test_negative_binomial_target_is_the_smallest_that_serves(size, success, service):
    target = int(negative_binomial_target(size, success, service))
    assert stats.nbinom.cdf(target, size, success) >= service - 1e-9
    assert target == 0 or stats.nbinom.cdf(target - 1, size, success) < service + 1e-9


@given(st.floats(0.1, 30), st.floats(1.3, 6), SERVICE)
@settings(max_examples=60, deadline=None)
def test_spread_counts_are_served_by_a_distribution_of_their_mean_and_variance(mean, ratio, service):
    size, success = mean / (ratio - 1), 1 / ratio
    assert stats.nbinom.stats(size, success) == pytest.approx((mean, mean * ratio))
    target = int(count_target(mean, mean * ratio, service))
    assert stats.nbinom.cdf(target, size, success) >= service - 1e-9
    assert target == 0 or stats.nbinom.cdf(target - 1, size, success) < service + 1e-9
    assert count_target(mean, mean, service) == poisson_target(mean, service)


@given(st.floats(0.1, 10), st.integers(1, 5))
@settings(max_examples=40, deadline=None)
def test_lots_of_one_size_are_a_stretched_poisson(orders, lot):
    chances = compound_poisson(orders, {lot: 1.0}, 12 * lot)
    assert chances[::lot] == pytest.approx(stats.poisson.pmf(range(13), orders), rel=1e-9)
    assert np.delete(chances, slice(None, None, lot)).sum() == 0


@given(st.integers(0, 30), st.floats(0.1, 20))
@settings(max_examples=60, deadline=None)
def test_poisson_loss_equals_the_sum_over_all_demands(stock, mean):
    demand = np.arange(300)
    chance = stats.poisson.pmf(demand, mean)
    loss = poisson_loss(stock, mean)
    assert float(loss.short) == pytest.approx(float(np.maximum(demand - stock, 0) @ chance), abs=1e-9)
    assert float(loss.left) == pytest.approx(float(np.maximum(stock - demand, 0) @ chance), abs=1e-9)


NEED = st.integers(0, 500).map(float)


@given(NEED, st.integers(-50, 500).map(float), st.integers(1, 60).map(float), st.integers(0, 100).map(float))
@settings(max_examples=200, deadline=None)
def test_an_order_reaches_the_target_in_whole_packs_and_not_one_pack_more(target, position, pack, least):
    order = float(order_quantity(target, position, pack, least))
    if position >= target:
        assert order == 0
        return
    assert order % pack == 0
    assert order >= least
    assert position + order >= target
    fewer = order - pack
    assert position + fewer < target or fewer < least


def test_the_textbook_form_where_the_least_order_is_whole_packs():
    """order = max(MOQ, pack x ceil((S - IP)/pack)), common practice."""
    target, position = np.array([10.0, 31.0, 12.0]), np.array([3.0, 4.0, 11.0])
    order = order_quantity(target, position, 5.0, 10.0)
    assert order.tolist() == np.maximum(10, 5 * np.ceil((target - position) / 5)).tolist() == [10, 30, 10]


def test_binary_fractions_do_not_buy_a_pack_too_many():
    assert 0.1 * 3 / 0.1 > 3, "the trap"
    assert order_quantity(0.1 * 3, 0.0, 0.1).item() == pytest.approx(0.3)
    assert order_quantity(0.1 + 0.2, 0.3, 0.1).item() == 0.0


def test_position_counts_what_comes_and_not_what_is_promised():
    assert stock_position([5, 0], [2, 0], [4, 3]).tolist() == [3, -3]


@pytest.mark.parametrize(
    ("today", "state"),
    [
        (80, StockState.ORDER),
        (89.9, StockState.ORDER),
        (90, StockState.ORDER_SOON),
        (93, StockState.ORDER_SOON),
        (93.5, StockState.TOO_LATE),
        (94, StockState.TOO_LATE),
    ],
)
def test_the_last_day_to_order(today, state):
    told = plan_stock(
        lacking=[3],
        repairs=[1],
        position=[2],
        pack=[1],
        least=[0],
        lead_d=[7],
        goods_by_day=[100],
        today=today,
    )
    assert told.latest_order_day.tolist() == [93]
    assert told.state.tolist() == [state]
    assert told.order.tolist() == [2]


def test_part_days_of_lead_time_count_whole():
    assert latest_order_day(100, [2.2, 7.0]).tolist() == [97, 93]


def test_what_is_not_known_is_said():
    told = plan_stock(
        lacking=[3, 0, 0, 3],
        repairs=[1, -1, 0, -1],
        position=[2, 9, 9, 9],
        pack=[1, 1, 1, 1],
        least=[0, 0, 0, 0],
        lead_d=[np.nan, 7, np.nan, 7],
        goods_by_day=[100, 100, 100, 100],
        today=0,
    )
    unknown = [StockState.LEAD_TIME_UNKNOWN, StockState.DEMAND_UNKNOWN, StockState.COVERED]
    assert told.state.tolist() == [*unknown, StockState.DEMAND_UNKNOWN]
    assert told.order.tolist() == [2, 0, 0, 0]


@given(st.integers(0, 40), st.floats(0.5, 500), st.floats(0.2, 20), st.floats(0.2, 100))
@settings(max_examples=60, deadline=None)
def test_a_shrunken_rate_lies_between_the_part_and_its_kind(failures, exposure, shape, scale):
    prior = GammaPrior(shape, scale)
    rate = float(posterior_rate(prior, [failures], [exposure])[0])
    own, kind = failures / exposure, shape / scale
    assert min(own, kind) - 1e-12 <= rate <= max(own, kind) + 1e-12
    low, high = rate_interval(prior, [failures], [exposure])
    assert low[0] < high[0]
    assert mean_life(exposure, failures).lower < (exposure / failures if failures else np.inf)


def test_parts_no_more_different_than_chance_share_one_rate():
    exposure = np.full(40, 100.0)
    failures = np.tile([2, 2, 1, 3], 10)
    rates = posterior_rate(fit_gamma_prior(failures, exposure), failures, exposure)
    assert rates == pytest.approx(np.full(40, 0.02), rel=0.02)


def test_the_fit_finds_the_prior_that_made_the_data():
    rng = np.random.default_rng(7)
    exposure = rng.uniform(50, 200, 3000)
    failures = rng.poisson(rng.gamma(1.5, 1 / 40, 3000) * exposure)
    prior = fit_gamma_prior(failures, exposure)
    assert prior.shape == pytest.approx(1.5, rel=0.1)
    assert prior.exposure == pytest.approx(40, rel=0.1)


def test_without_failures_or_without_use_there_is_no_invented_rate():
    assert fit_gamma_prior([0, 0], [10, 20]) == JEFFREYS
    assert fit_gamma_prior([3], [10]) == JEFFREYS
    assert np.isnan(posterior_rate(JEFFREYS, [0], [0])[0])
    assert repairs_target(JEFFREYS, [0, 0], [0, 50], 5.0, 0.9).tolist() == [-1, 0]


def test_more_risk_at_the_event_asks_for_more_spares():
    horizons = np.array([0.0, 1.0, 5.0, 20.0, 80.0])
    wanted = repairs_target(GammaPrior(1.0, 10.0), np.full(5, 2), np.full(5, 30.0), horizons, 0.9)
    assert wanted[0] == 0
    assert (np.diff(wanted) >= 0).all()
    assert wanted[-1] > wanted[1]


@pytest.mark.parametrize(
    "call",
    [
        lambda: poisson_target(-1, 0.9),
        lambda: poisson_target(1, 1.0),
        lambda: negative_binomial_target(0, 0.5, 0.9),
        lambda: critical_ratio(0, 1),
        lambda: compound_poisson(1, {0: 1.0}, 5),
        lambda: compound_poisson(1, {1: 0.5}, 5),
        lambda: quantile_of([0.5, 0.1], 0.9),
        lambda: order_quantity(1, 0, pack=0),
        lambda: stock_position(-1),
        lambda: latest_order_day(10, -1),
        lambda: fit_gamma_prior([1, 2], [3]),
        lambda: fit_gamma_prior([1, 2], [3, 0]),
        lambda: mean_life(0, 1),
        lambda: repairs_target(JEFFREYS, [0], [1], -1, 0.9),
    ],
)
def test_nonsense_is_refused(call):
    with pytest.raises(ValueError, match=r"\w"):
        call()
