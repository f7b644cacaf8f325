"""Stock arithmetic against textbook and handbook examples; the source stands beside each check."""

import numpy as np
import pytest
from scipy import stats

from shared.planning.reorder import (
    JEFFREYS,
    GammaPrior,
    compound_poisson,
    count_target,
    fill_rate,
    fit_gamma_prior,
    mean_life,
    negative_log_likelihood,
    newsvendor_normal,
    newsvendor_poisson,
    normal_loss,
    normal_stock,
    poisson_loss,
    poisson_target,
    posterior_rate,
    quantile_of,
    rate_interval,
    repairs_target,
    shelf_chance,
)

# Gaver and O'Muircheartaigh, Technometrics 29 (1987), Table 3: failures and thousand hours of ten pumps.
PUMP_FAILURES = [5, 1, 5, 14, 3, 19, 1, 1, 4, 22]
PUMP_HOURS = [94.3, 15.7, 62.9, 126, 5.24, 31.4, 1.05, 1.05, 2.1, 10.5]


def test_newsvendor_with_normal_demand():
    """Snyder and Shen, Fundamentals of Supply Chain Theory, 2nd ed., Example 4.3."""
    told = newsvendor_normal(cost_short=0.70, cost_left=0.18, mean=50, sd=8)
    assert told == pytest.approx((0.7954545454545454, 56.60395592743389, 1.9976051931766445), rel=1e-9)


def test_newsvendor_with_normal_demand_second_example():
    """stockpyl package page, first example: S = 120 + 10 z(0.9)."""
    told = newsvendor_normal(cost_short=18, cost_left=2, mean=120, sd=10)
    assert told == pytest.approx((0.9, 132.815515655446, 35.09966638649737), rel=1e-9)


def test_newsvendor_with_poisson_demand():
    """Snyder and Shen, Example 4.7: smallest S with P(D <= S) >= 0.8."""
    best, at_five = newsvendor_poisson(4, 1, 6), newsvendor_poisson(4, 1, 6, stock=5)
    assert best == pytest.approx((0.8, 8, 3.5701069457709416), rel=1e-9)
    assert at_five.cost == pytest.approx(6.590296024616343, rel=1e-9)
    costs = [newsvendor_poisson(4, 1, 6, stock=s).cost for s in range(30)]
    assert int(np.argmin(costs)) == 8


def test_poisson_loss():
    """stockpyl loss_functions docstring example: n(18) for mean 15; leftover less shortage is 3."""
    loss = poisson_loss(18, 15)
    assert float(loss.short) == pytest.approx(0.5176095282584724, abs=1e-9)
    assert float(loss.left) == pytest.approx(3.5176095282584723, abs=1e-9)


def test_standard_normal_loss():
    """stockpyl loss_functions docstring example: z = 1.3."""
    loss = normal_loss(1.3)
    assert float(loss.short) == pytest.approx(0.04552796208651397, abs=1e-12)
    assert float(loss.left) == pytest.approx(1.345527962086514, abs=1e-12)


def test_reorder_point_of_the_carpet_store():
    """Operations management textbook, chapter 16, carpet store; prints 26.1 and 326.1 (from memory)."""
    told = normal_stock(30, 5, 10, z=1.65)
    assert float(told.safety_stock) == pytest.approx(26.089, abs=0.01)
    assert float(told.reorder_point) == pytest.approx(326.089, abs=0.01)


def test_reorder_point_at_90_percent():
    """Lecture slides 'ROP logic', example 1 (inputs as given there): 2.5 a day, sd 1.2, 25 days."""
    told = normal_stock(2.5, 1.2, 25, z=stats.norm.ppf(0.9))
    assert float(told.safety_stock) == pytest.approx(7.6893, abs=1e-3)
    assert float(told.reorder_point) == pytest.approx(70.1893, abs=1e-3)


def test_reorder_point_when_only_the_lead_time_varies():
    """Web page 'Calculating the various inventory parameters' (inputs there): 5 a day, 3 +/- 2 days."""
    told = normal_stock(5, 0, 3, z=stats.norm.ppf(0.95), sd_lead_d=2)
    assert float(told.sigma) == pytest.approx(10)
    assert float(told.reorder_point) == pytest.approx(31.4485, abs=1e-3)


def test_cycle_service_and_fill_rate_differ():
    """Textbook example from memory (prints 0.92, 25, 0.9975): 2,500 +/- 500 a week, 2 weeks, Q 10,000."""
    sigma = float(normal_stock(2500, 500, 2, z=0).sigma)
    assert sigma == pytest.approx(707.1068, abs=1e-4)
    assert sigma * float(normal_loss(1000 / sigma).short) == pytest.approx(25.12727, rel=1e-6)
    assert float(fill_rate(10000, sigma, 1000)) == pytest.approx(0.9974873, abs=1e-6)
    assert stats.norm.cdf(1000 / sigma) == pytest.approx(0.9213504, abs=1e-6)


def test_stock_for_a_critical_component():
    """Article on critical components with low turnover, one in 45 days: 26.3, 35.1, 23.4, 10.4, 3.5 %."""
    chances = compound_poisson(60 / 45, {1: 1.0}, 20)
    assert chances[:5] == pytest.approx([0.2636, 0.3515, 0.2343, 0.1041, 0.0347], abs=5e-4)
    assert poisson_target(60 / 45, 0.95) == 3
    assert quantile_of(chances, 0.95) == 3


def test_spare_drives_by_exact_poisson():
    """Article 'Spare Parts from Normal Distribution': 45 drives, 2,160 h; its normal rule says 3, 2, 2."""
    mean = 45 * 2160 / np.array([100_000, 200_000, 300_000])
    assert poisson_target(mean, 0.95).tolist() == [3, 2, 1]


def test_backorders_of_a_repair_loop():
    """Palm's theorem with a pipeline of one (Sherbrooke 1968): backorders and fill for 0 to 4 spares."""
    stock = np.arange(5)
    assert poisson_loss(stock, 1.0).short == pytest.approx([1.0, 0.3679, 0.1036, 0.0233, 0.0043], abs=1e-4)
    assert shelf_chance(stock, 1.0) == pytest.approx([0.0, 0.3679, 0.7358, 0.9197, 0.9810], abs=1e-4)


def test_lumpy_demand_needs_more_than_plain_poisson():
    """Panjer recursion by hand (derived): 0.5 issues a week, 4 weeks, lots of 1, 2 or 4."""
    lots = {1: 0.6, 2: 0.3, 4: 0.1}
    chances = compound_poisson(2.0, lots, 60)
    totals = np.arange(61)
    mean = float(totals @ chances)
    variance = float(totals**2 @ chances) - mean**2
    assert (mean, variance) == pytest.approx((3.2, 6.8), abs=1e-9)
    assert chances[:4] == pytest.approx([0.13534, 0.1624, 0.17864, 0.13642], abs=1e-5)
    assert (quantile_of(chances, 0.95), quantile_of(chances, 0.99)) == (8, 11)
    assert poisson_target(3.2, 0.95) == 6
    assert count_target(mean, variance, 0.95) == 8


def test_pump_failure_rates():
    """Gaver and O'Muircheartaigh (1987), Table 3; marginal maximum likelihood recomputed."""
    prior = fit_gamma_prior(PUMP_FAILURES, PUMP_HOURS)
    assert prior == pytest.approx((0.82297, 1.26165), abs=1e-3)
    assert negative_log_likelihood(prior, PUMP_FAILURES, PUMP_HOURS) == pytest.approx(32.257836, abs=1e-5)
    shrunk = [0.0609, 0.1075, 0.0908, 0.1165, 0.5880, 0.6069, 0.7886, 0.7886, 1.4347, 1.9405]
    assert posterior_rate(prior, PUMP_FAILURES, PUMP_HOURS) == pytest.approx(shrunk, abs=1e-3)


def test_likelihood_is_that_of_the_negative_binomial():
    """scipy.stats.nbinom with size a and p = b/(b + t)."""
    prior = GammaPrior(0.82297, 1.26165)
    p = prior.exposure / (prior.exposure + np.array(PUMP_HOURS))
    theirs = -np.sum(stats.nbinom.logpmf(PUMP_FAILURES, prior.shape, p))
    assert negative_log_likelihood(prior, PUMP_FAILURES, PUMP_HOURS) == pytest.approx(theirs, rel=1e-12)


def test_predicted_repairs():
    """Predictive negative binomial on the pump prior (derived): rate and 95 % stock for a horizon of 2."""
    prior = GammaPrior(0.82297, 1.26165)
    failures, hours = [0, 1, 0, 5], [0, 1.05, 5.0, 94.3]
    rates = posterior_rate(prior, failures, hours)
    assert rates == pytest.approx([0.65229, 0.7886, 0.13143, 0.06093], abs=1e-4)
    assert repairs_target(prior, failures, hours, 2.0, 0.95).tolist() == [5, 5, 1, 1]


def test_mean_life_with_interval():
    """NIST/SEMATECH e-Handbook 8.4.5.1: 800 h, 2 failures, 90 %: 127 to 2,251 h (numbers from memory)."""
    told = mean_life(800, 2, 0.9)
    assert told == pytest.approx((400, 127.06897, 2251.22861), rel=1e-6)


@pytest.mark.parametrize(
    ("confidence", "lower", "upper"),
    [(0.6, 0.4674, 2.42604), (0.8, 0.37578, 3.76073), (0.9, 0.31767, 5.62807), (0.95, 0.27683, 8.25732)],
)
def test_mean_life_factors_for_two_failures(confidence, lower, upper):
    """NIST/SEMATECH e-Handbook 8.4.5.1, confidence-bound factor tables, row of two failures."""
    told = mean_life(800, 2, confidence)
    assert (told.lower / 400, told.upper / 400) == pytest.approx((lower, upper), abs=1e-4)


def test_mean_life_without_a_failure():
    """NIST/SEMATECH e-Handbook 8.4.5.1: lower limit T/(-ln alpha); never an upper one."""
    told = mean_life(500, 0, 0.9)
    assert told.lower == pytest.approx(217.1472, abs=1e-4)
    assert told.upper == float("inf")


def test_jeffreys_interval():
    """Two failures in 800 h: 0.003125/h, 90 % 0.000716 to 0.006919 (computed; the prior from memory)."""
    assert posterior_rate(JEFFREYS, [2], [800]) == pytest.approx([0.003125])
    low, high = rate_interval(JEFFREYS, [2], [800], 0.9)
    assert (low[0], high[0]) == pytest.approx((0.000716, 0.006919), abs=1e-6)


def test_jeffreys_bound_without_a_failure():
    """No failure in T: mean 0.5/T, upper 95 % 1.92/T, against 3.00/T of the classical bound."""
    _, high = rate_interval(JEFFREYS, [0], [1.0], 0.9)
    assert high[0] == pytest.approx(1.92, abs=0.005)
    assert 1 / mean_life(1.0, 0, 0.95).lower == pytest.approx(3.00, abs=0.005)
    assert posterior_rate(JEFFREYS, [0], [1.0])[0] == 0.5
