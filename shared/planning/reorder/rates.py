"""Failure rates from few failures: shrink each part towards its kind, and predict repairs."""

import math
from typing import NamedTuple

import numpy as np
from numpy.typing import ArrayLike

from shared.planning.reorder.demand import FloatArray, IntArray, negative_binomial_target

JEFFREYS_SHAPE = 0.5
# Past this shape (10,000 earlier failures' worth) the parts of a kind are alike and the prior is one rate.
_LARGEST_SHAPE = 1e4


class GammaPrior(NamedTuple):
    """What similar parts say about a rate: Gamma(shape, exposure), mean shape/exposure [1/exposure unit]."""

    shape: float
    exposure: float


class MeanLife(NamedTuple):
    """Mean time between failures with limits [h]; estimate and upper are infinite without a failure."""

    estimate: float
    lower: float
    upper: float


JEFFREYS = GammaPrior(JEFFREYS_SHAPE, 0.0)


def fit_gamma_prior(failures: ArrayLike, exposure: ArrayLike) -> GammaPrior:
    """Fit the spread of failure rates over similar parts by marginal maximum likelihood.

    Parameters
    ----------
    failures : array_like of int [1], shape (k,), per part
    exposure : array_like [matches, h or any unit], shape (k,), time each part was at risk

    Returns
    -------
    GammaPrior: shape [1], exposure [same unit]. With no failure at all, or fewer than two parts at risk, the
    Jeffreys prior (0.5, 0). With parts no more different than chance, one common rate (shape 10,000).

    Errors
    ------
    ValueError : negative failures or exposure, different lengths, a failure without exposure.

    Validity: constant rate per part. Empirical Bayes: the uncertainty of the fitted prior itself is left out.

    Source: gamma-Poisson model of the pump data, Gaver and O'Muircheartaigh, Technometrics 29 (1987) 1-15;
    marginal = negative binomial. Jeffreys prior for a Poisson rate from memory.

    >>> prior = fit_gamma_prior([5, 1, 5, 14, 3, 19, 1, 1, 4, 22],
    ...                         [94.3, 15.7, 62.9, 126, 5.24, 31.4, 1.05, 1.05, 2.1, 10.5])
    >>> round(prior.shape, 3), round(prior.exposure, 3)
    (0.823, 1.262)
    """
    from scipy import optimize  # noqa: PLC0415 - scipy is slow to import and only this fit needs it

    x, t = _counts(failures, exposure)
    x, t = x[t > 0], t[t > 0]
    if x.size < 2 or x.sum() == 0:
        return JEFFREYS
    pooled = float(x.sum() / t.sum())
    # Searched over (log shape, log mean): the mean is well known and hardly correlated with the shape.

    def cost(q: FloatArray) -> float:
        return negative_log_likelihood(GammaPrior(float(np.exp(q[0])), float(np.exp(q[0] - q[1]))), x, t)

    found = optimize.minimize(
        cost,
        x0=np.array([0.0, math.log(pooled)]),
        method="L-BFGS-B",
        bounds=[(math.log(1e-3), math.log(_LARGEST_SHAPE)), (math.log(pooled) - 7, math.log(pooled) + 7)],
        options={"ftol": 1e-15, "gtol": 1e-9},
    )
    shape = float(np.exp(found.x[0]))
    return GammaPrior(shape, shape / float(np.exp(found.x[1])))


def negative_log_likelihood(prior: GammaPrior, failures: ArrayLike, exposure: ArrayLike) -> float:
    """Give the negative log likelihood of a gamma prior, the rates integrated out.

    Parameters
    ----------
    prior : GammaPrior
    failures : array_like of int [1], shape (k,)
    exposure : array_like [same unit as the prior], shape (k,)

    Returns
    -------
    float [1]

    Errors
    ------
    ValueError : negative failures or exposure, different lengths.

    Validity: shape and exposure of the prior greater than 0.

    Source: negative binomial with size a and p = b/(b + t).

    >>> round(negative_log_likelihood(GammaPrior(1.0, 1.0), [0], [1.0]), 4)
    0.6931
    """
    from scipy import special  # noqa: PLC0415 - scipy is slow to import and only the log gamma is needed

    x, t = _counts(failures, exposure)
    a, b = prior
    # p = b/(b + t) by log1p: with a large shape both logarithms are tiny and their difference would be lost.
    log_p, log_q = -np.log1p(t / b), np.log(np.where(t > 0, t, 1.0)) - np.log(b + t)
    terms = special.gammaln(a + x) - special.gammaln(a) - special.gammaln(x + 1) + a * log_p + x * log_q
    return float(-terms.sum())


def posterior_rate(prior: GammaPrior, failures: ArrayLike, exposure: ArrayLike) -> FloatArray:
    """Give each part's expected rate after what similar parts and its own log say.

    Parameters
    ----------
    prior : GammaPrior
    failures : array_like of int [1]
    exposure : array_like [same unit as the prior]

    Returns
    -------
    array [1/exposure unit] = (shape + failures)/(prior exposure + exposure); NaN where there is no exposure
    at all

    Errors
    ------
    ValueError : negative failures or exposure, different lengths.

    Validity: as ``fit_gamma_prior``. Without exposure, own or similar, there is no rate.

    Source: conjugate gamma-Poisson posterior mean.

    >>> posterior_rate(JEFFREYS, [0], [500.0]).tolist()
    [0.001]
    """
    x, t = _counts(failures, exposure)
    seen = prior.exposure + t
    return np.where(seen > 0, (prior.shape + x) / np.where(seen > 0, seen, 1.0), np.nan)


def rate_interval(
    prior: GammaPrior, failures: ArrayLike, exposure: ArrayLike, confidence_frac: float = 0.95
) -> tuple[FloatArray, FloatArray]:
    """Give the range in which each part's rate lies with the stated probability.

    Parameters
    ----------
    prior : GammaPrior
    failures : array_like of int [1]
    exposure : array_like [same unit as the prior]
    confidence_frac : float [1], equal tails

    Returns
    -------
    (lower, upper) arrays [1/exposure unit]; NaN where there is no exposure

    Errors
    ------
    ValueError : negative failures or exposure, different lengths, confidence outside (0, 1).

    Validity: as ``posterior_rate``.

    Source: quantiles of Gamma(shape + failures, exposure sum).

    >>> [x.round(6).tolist() for x in rate_interval(JEFFREYS, [2], [800.0], 0.9)]
    [[0.000716], [0.006919]]
    """
    from scipy import special  # noqa: PLC0415 - scipy is slow to import and only distributions need it

    if not 0 < confidence_frac < 1:
        raise ValueError("confidence must lie between 0 and 1")
    x, t = _counts(failures, exposure)
    seen = np.where(prior.exposure + t > 0, prior.exposure + t, np.nan)
    tail = (1 - confidence_frac) / 2
    low, high = (special.gammaincinv(prior.shape + x, q) / seen for q in (tail, 1 - tail))
    return np.asarray(low), np.asarray(high)


def repairs_target(
    prior: GammaPrior,
    failures: ArrayLike,
    exposure: ArrayLike,
    horizon: ArrayLike,
    service_frac: ArrayLike,
) -> IntArray:
    """Give the spares that cover the repairs of a coming event with the wanted chance.

    Parameters
    ----------
    prior : GammaPrior
    failures : array_like of int [1], seen so far
    exposure : array_like [matches, h or any unit], time at risk so far, all pieces together
    horizon : array_like [same unit], time at risk at the event, all pieces together
    service_frac : array_like [1]

    Returns
    -------
    array of int [pieces]; -1 where there is no exposure, own or similar, and so no rate ("cannot judge")

    Errors
    ------
    ValueError : negative numbers, different lengths, service outside (0, 1).

    Validity: constant rate; the count is negative binomial because the rate itself is uncertain.

    Source: predictive distribution NB(shape + x, (b + t)/(b + t + h)) of the gamma-Poisson model (from
    memory).

    >>> repairs_target(GammaPrior(0.82297, 1.26165), [0, 1, 0, 5], [0, 1.05, 5.0, 94.3], 2.0, 0.95).tolist()
    [5, 5, 1, 1]
    """
    x, t = _counts(failures, exposure)
    x, t, ahead, service = np.broadcast_arrays(
        x, t, np.asarray(horizon, dtype=np.float64), np.asarray(service_frac, dtype=np.float64)
    )
    if not (ahead >= 0).all():
        raise ValueError("the horizon must be 0 or more")
    seen = prior.exposure + t
    known = seen > 0
    safe = np.where(known, seen, 1.0)
    target = negative_binomial_target(prior.shape + x, safe / (safe + ahead), service)
    return np.where(known, target, -1).astype(np.int64)


def mean_life(
    exposure_h: float, failures: int, confidence_frac: float = 0.9, *, two_sided: bool = True
) -> MeanLife:
    """Give the mean time between failures of a log that ended at a set time.

    Parameters
    ----------
    exposure_h : float [h] (or matches), total time at risk
    failures : int [1]
    confidence_frac : float [1]
    two_sided : bool; False puts the whole doubt below and leaves the upper limit infinite

    Returns
    -------
    MeanLife [same unit]; without a failure only the lower limit is finite and it is one-sided: say
    "at least ``lower`` at 90 %", never "infinite"

    Errors
    ------
    ValueError : exposure not positive, negative failures, confidence outside (0, 1).

    Validity: constant rate; the log ended at a time, not at a failure.

    Source: NIST/SEMATECH e-Handbook of Statistical Methods, 8.4.5.1: 2T/chi2(1 - a/2; 2r + 2) and
    2T/chi2(a/2; 2r); no failure: T/(-ln a).

    >>> [round(x, 1) for x in mean_life(800, 2, 0.9)]
    [400.0, 127.1, 2251.2]
    """
    from scipy import special  # noqa: PLC0415 - scipy is slow to import and only distributions need it

    if not exposure_h > 0 or failures < 0 or not 0 < confidence_frac < 1:
        raise ValueError("exposure must be above 0, failures 0 or more, confidence between 0 and 1")
    alpha = 1 - confidence_frac
    tail = alpha / 2 if two_sided and failures else alpha
    lower = exposure_h / float(special.gammaincinv(failures + 1, 1 - tail))
    if failures == 0:
        return MeanLife(float("inf"), lower, float("inf"))
    upper = exposure_h / float(special.gammaincinv(failures, tail)) if two_sided else float("inf")
    return MeanLife(exposure_h / failures, lower, upper)


def _counts(failures: ArrayLike, exposure: ArrayLike) -> tuple[FloatArray, FloatArray]:
    x = np.atleast_1d(np.asarray(failures, dtype=np.float64))
    t = np.atleast_1d(np.asarray(exposure, dtype=np.float64))
    if x.shape != t.shape:
        raise ValueError("failures and exposure must have one entry per part")
    if not ((x >= 0) & (t >= 0) & np.isfinite(x) & np.isfinite(t)).all():
        raise ValueError("failures and exposure must be 0 or more")
    if ((x > 0) & (t == 0)).any():
        raise ValueError("a part that failed was in use: record its exposure")
    return x, t
