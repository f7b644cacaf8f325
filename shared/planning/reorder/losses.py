"""What a stock level still costs: expected shortage, expected leftover, newsvendor cost, fill rate."""

import math
from statistics import NormalDist
from typing import NamedTuple

import numpy as np
from numpy.typing import ArrayLike

from shared.planning.reorder.demand import FloatArray, critical_ratio, poisson_target


class Loss(NamedTuple):
    """Expected shortage and expected leftover [pieces]."""

    short: FloatArray
    left: FloatArray


class Newsvendor(NamedTuple):
    """Best stock for one period [pieces] and its expected cost [money]."""

    ratio: float
    stock: float
    cost: float


def normal_loss(z: ArrayLike) -> Loss:
    """Give the standard normal loss, the expected excess of a standard normal value over z and below it.

    Parameters
    ----------
    z : array_like [sigma]

    Returns
    -------
    Loss of arrays [sigma]: short = phi(z) - z (1 - Phi(z)); left = z + short

    Errors
    ------
    none

    Validity: any z.

    Source: Snyder and Shen, Fundamentals of Supply Chain Theory, 2nd ed., appendix C.

    >>> round(float(normal_loss(1.3).short), 6)
    0.045528
    """
    x = np.asarray(z, dtype=np.float64)
    tail = np.asarray(np.vectorize(math.erfc, otypes=[np.float64])(x / math.sqrt(2)) / 2)
    short = np.asarray(np.exp(-(x**2) / 2) / math.sqrt(2 * math.pi) - x * tail)
    return Loss(short, x + short)


def poisson_loss(stock: ArrayLike, mean: ArrayLike) -> Loss:
    """Give the expected shortage and leftover of a stock against Poisson demand.

    Parameters
    ----------
    stock : array_like of int [pieces], 0 or more
    mean : array_like [pieces], expected demand

    Returns
    -------
    Loss of arrays [pieces]: short = E[(demand - stock)+], left = E[(stock - demand)+]

    Errors
    ------
    none

    Validity: whole stock. With stock S held one for one against a repair loop of mean pipeline m, ``short``
    is the expected number of backorders.

    Source: E[(D - S)+] = m P(D >= S) - S P(D > S); backorders of a repair loop, Palm's theorem (1938),
    Sherbrooke (1968).

    >>> poisson_loss([0, 1, 2], 1.0).short.round(4).tolist()
    [1.0, 0.3679, 0.1036]
    """
    from scipy import stats  # noqa: PLC0415 - scipy is slow to import and only distributions need it

    s, m = np.broadcast_arrays(np.asarray(stock, dtype=np.float64), np.asarray(mean, dtype=np.float64))
    short = np.asarray(m * stats.poisson.sf(s - 1, m) - s * stats.poisson.sf(s, m))
    return Loss(short, s - m + short)


def shelf_chance(stock: ArrayLike, mean: ArrayLike) -> FloatArray:
    """Give the chance that the next piece asked for is on the shelf, ordering one for one.

    Parameters
    ----------
    stock : array_like of int [pieces], 0 or more
    mean : array_like [pieces], mean number away for repair or on order

    Returns
    -------
    array [1] = P(pieces away < stock)

    Errors
    ------
    none

    Validity: Poisson demand. This is P(D < S); "no shortage this cycle" is P(D <= S), one step larger.
    Calculators mix the two.

    Source: Palm's theorem (1938); one-for-one stocking, Sherbrooke (1968).

    >>> shelf_chance([0, 1, 2], 1.0).round(4).tolist()
    [0.0, 0.3679, 0.7358]
    """
    from scipy import stats  # noqa: PLC0415 - scipy is slow to import and only distributions need it

    s, m = np.broadcast_arrays(np.asarray(stock, dtype=np.float64), np.asarray(mean, dtype=np.float64))
    return np.asarray(stats.poisson.cdf(s - 1, m), dtype=np.float64)


def newsvendor_normal(cost_short: float, cost_left: float, mean: float, sd: float) -> Newsvendor:
    """Give the stock of least expected cost for one period of normal demand.

    Parameters
    ----------
    cost_short, cost_left : float [money/piece]
    mean, sd : float [pieces]

    Returns
    -------
    Newsvendor: ratio [1], stock [pieces], cost [money]

    Errors
    ------
    ValueError : a cost or the spread is not positive.

    Validity: one period; mean at least about three spreads.

    Source: Snyder and Shen, Fundamentals of Supply Chain Theory, 2nd ed., section 4.3.

    >>> round(newsvendor_normal(18, 2, 120, 10).stock, 4)
    132.8155
    """
    if not sd > 0:
        raise ValueError("the spread must be greater than 0")
    ratio = float(critical_ratio(cost_short, cost_left))
    z = NormalDist().inv_cdf(ratio)
    loss = normal_loss(z)
    cost = sd * (cost_left * float(loss.left) + cost_short * float(loss.short))
    return Newsvendor(ratio, mean + z * sd, cost)


def newsvendor_poisson(
    cost_short: float, cost_left: float, mean: float, stock: int | None = None
) -> Newsvendor:
    """Give the stock of least expected cost for one period of Poisson demand, or the cost of a given stock.

    Parameters
    ----------
    cost_short, cost_left : float [money/piece]
    mean : float [pieces]
    stock : int [pieces] or None for the best

    Returns
    -------
    Newsvendor: ratio [1], stock [pieces], cost [money]

    Errors
    ------
    ValueError : a cost is not positive or the mean is negative.

    Validity: one period; what is left over after the event loses ``cost_left``.

    Source: smallest S with F(S) >= ratio, Snyder and Shen, Fundamentals of Supply Chain Theory, 2nd ed.,
    section 4.3.

    >>> told = newsvendor_poisson(4, 1, 6)
    >>> told.stock, round(told.cost, 4)
    (8, 3.5701)
    """
    ratio = float(critical_ratio(cost_short, cost_left))
    held = int(poisson_target(mean, ratio)) if stock is None else stock
    loss = poisson_loss(held, mean)
    return Newsvendor(ratio, held, cost_left * float(loss.left) + cost_short * float(loss.short))


def fill_rate(quantity: ArrayLike, sigma: ArrayLike, safety_stock: ArrayLike) -> FloatArray:
    """Give the share of pieces served from stock when ordering a fixed quantity at a reorder point.

    Parameters
    ----------
    quantity : array_like [pieces], ordered each time
    sigma : array_like [pieces], spread of demand over the lead time, greater than 0
    safety_stock : array_like [pieces]

    Returns
    -------
    array [1]: 1 - sigma n(z) / Q with z = safety stock / sigma

    Errors
    ------
    ValueError : quantity or sigma not positive.

    Validity: normal demand, quantity large against sigma. Not the chance of a cycle without shortage, which
    is lower.

    Source: type-2 service, textbook form; worked example from memory.

    >>> round(float(fill_rate(10000, 707.1068, 1000)), 4)
    0.9975
    """
    q, spread = np.asarray(quantity, dtype=np.float64), np.asarray(sigma, dtype=np.float64)
    if not ((q > 0) & (spread > 0)).all():
        raise ValueError("quantity and spread must be greater than 0")
    short = spread * normal_loss(np.asarray(safety_stock, dtype=np.float64) / spread).short
    return np.asarray(1 - short / q, dtype=np.float64)
