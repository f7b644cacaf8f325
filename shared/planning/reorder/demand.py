"""How much stock a wanted service level asks for, from counts that are few and random."""

from collections.abc import Mapping
from typing import NamedTuple

import numpy as np
from numpy.typing import ArrayLike, NDArray

FloatArray = NDArray[np.float64]
IntArray = NDArray[np.int64]

# Variance over mean of issues per period up to which plain Poisson serves (common practice, no source).
POISSON_UP_TO = 1.2
# A quantile reached but for rounding is reached.
_SLACK = 1e-12


class NormalStock(NamedTuple):
    """Stock for normal demand: spread over the lead time, safety stock and reorder point, all in pieces."""

    sigma: FloatArray
    safety_stock: FloatArray
    reorder_point: FloatArray


def critical_ratio(cost_short: ArrayLike, cost_left: ArrayLike) -> FloatArray:
    """Give the service level at which one more spare costs as much as it saves.

    Parameters
    ----------
    cost_short : array_like [money], cost of one piece too few
    cost_left : array_like [money], cost of one piece too many

    Returns
    -------
    array [1] in (0, 1)

    Errors
    ------
    ValueError : a cost that is not positive.

    Validity: one period, what is left over loses ``cost_left``.

    Source: newsvendor ratio, Snyder and Shen, Fundamentals of Supply Chain Theory, 2nd ed., section 4.3.

    >>> critical_ratio(4, 1).item()
    0.8
    """
    short, left = np.asarray(cost_short, dtype=np.float64), np.asarray(cost_left, dtype=np.float64)
    if (short <= 0).any() or (left <= 0).any():
        raise ValueError("both costs must be greater than 0")
    return np.asarray(short / (short + left), dtype=np.float64)


def poisson_target(mean: ArrayLike, service_frac: ArrayLike) -> IntArray:
    """Give the smallest stock that covers Poisson demand with the wanted chance.

    Parameters
    ----------
    mean : array_like [pieces], expected demand in the time to be covered
    service_frac : array_like [1], wanted chance of no shortage

    Returns
    -------
    array of int [pieces], smallest S with P(demand <= S) >= service

    Errors
    ------
    ValueError : negative or non-finite mean, service outside (0, 1).

    Validity: single pieces asked for independently; variance about equal to the mean.

    Source: Poisson distribution; a normal approximation asks 2 where 1 is enough (mean 0.324 at 95 %).

    >>> poisson_target([0.972, 0.486, 0.324], 0.95).tolist()
    [3, 2, 1]
    """
    from scipy import stats  # noqa: PLC0415 - scipy is slow to import and only distributions need it

    mu, service = np.broadcast_arrays(_not_negative(mean, "mean"), _service(service_frac))
    return np.asarray(np.maximum(stats.poisson.ppf(service - _SLACK, mu), 0), dtype=np.int64)


def negative_binomial_target(size: ArrayLike, success_frac: ArrayLike, service_frac: ArrayLike) -> IntArray:
    """Give the smallest stock that covers negative binomial demand with the wanted chance.

    Parameters
    ----------
    size : array_like [1], greater than 0, need not be whole
    success_frac : array_like [1] in (0, 1]; mean = size (1 - p)/p
    service_frac : array_like [1], wanted chance of no shortage

    Returns
    -------
    array of int [pieces], smallest S with P(demand <= S) >= service

    Errors
    ------
    ValueError : size not positive, p outside (0, 1], service outside (0, 1).

    Validity: counts more spread than Poisson, for instance a Poisson rate known only as a gamma distribution.

    Source: negative binomial as a gamma mixture of Poisson, Greenwood and Yule (1920).

    >>> negative_binomial_target(0.82297, 1.26165 / 3.26165, 0.95).item()
    5
    """
    from scipy import stats  # noqa: PLC0415 - scipy is slow to import and only distributions need it

    r, p, service = np.broadcast_arrays(
        np.asarray(size, dtype=np.float64), np.asarray(success_frac, dtype=np.float64), _service(service_frac)
    )
    if not ((r > 0) & (p > 0) & (p <= 1)).all():
        raise ValueError("size must be greater than 0 and the success chance in (0, 1]")
    return np.asarray(np.maximum(stats.nbinom.ppf(service - _SLACK, r, p), 0), dtype=np.int64)


def count_target(mean: ArrayLike, variance: ArrayLike, service_frac: ArrayLike) -> IntArray:
    """Give the stock for counted demand, Poisson or negative binomial as its variance asks.

    Parameters
    ----------
    mean : array_like [pieces], demand in the time to be covered
    variance : array_like [pieces2], of the same demand
    service_frac : array_like [1], wanted chance of no shortage

    Returns
    -------
    array of int [pieces]

    Errors
    ------
    ValueError : negative mean or variance, service outside (0, 1).

    Validity: variance / mean up to 1.2: Poisson; above: negative binomial of the same mean and variance.

    Source: the switch at 1.2 is common practice, no source; moments of the negative binomial.

    >>> count_target([3.2, 3.2], [3.2, 6.8], 0.95).tolist()
    [6, 8]
    """
    m, v, service = np.broadcast_arrays(
        _not_negative(mean, "mean"), _not_negative(variance, "variance"), _service(service_frac)
    )
    out = poisson_target(m, service)
    spread = (m > 0) & (v > POISSON_UP_TO * m)
    size = m[spread] ** 2 / (v[spread] - m[spread])
    return _replace(out, spread, negative_binomial_target(size, m[spread] / v[spread], service[spread]))


def compound_poisson(orders: float, lot_chances: Mapping[int, float], most: int) -> FloatArray:
    """Give the chance of each total demand when issues come at random and in lots of random size.

    Parameters
    ----------
    orders : float [1], expected number of issues in the time to be covered
    lot_chances : mapping of lot size [pieces] (1 or more) to chance [1]; the chances add up to 1
    most : int [pieces], largest total wanted

    Returns
    -------
    array [1], shape (most + 1,), chance of a total of 0, 1, ..., most

    Errors
    ------
    ValueError : negative orders, a lot below 1, chances that do not add up to 1.

    Validity: lots independent of each other and of the number of issues.

    Source: Panjer, ASTIN Bulletin 12 (1981) 22-26, recursion for the Poisson case (from memory).

    >>> compound_poisson(2.0, {1: 0.6, 2: 0.3, 4: 0.1}, 3).round(5).tolist()
    [0.13534, 0.1624, 0.17864, 0.13642]
    """
    if orders < 0 or any(lot < 1 for lot in lot_chances) or abs(sum(lot_chances.values()) - 1) > 1e-9:
        raise ValueError("orders must be 0 or more, lots 1 or more, and their chances must add up to 1")
    chance = np.zeros(most + 1)
    chance[0] = np.exp(-orders)
    for total in range(1, most + 1):
        terms = (lot * p * chance[total - lot] for lot, p in lot_chances.items() if lot <= total)
        chance[total] = orders / total * sum(terms)
    return chance


def quantile_of(chances: ArrayLike, service_frac: float) -> int:
    """Give the smallest total whose cumulated chance reaches the service level.

    Parameters
    ----------
    chances : array_like [1], chance of 0, 1, 2, ... pieces
    service_frac : float [1]

    Returns
    -------
    int [pieces]

    Errors
    ------
    ValueError : the chances listed do not reach the service level.

    Validity: any distribution on 0, 1, 2, ...

    Source: definition of a quantile.

    >>> quantile_of([0.5, 0.3, 0.2], 0.8)
    1
    """
    reached = np.cumsum(np.asarray(chances, dtype=np.float64)) >= float(_service(service_frac)) - _SLACK
    if not reached.any():
        raise ValueError("the chances listed do not reach this service level; list larger totals")
    return int(np.argmax(reached))


def normal_stock(
    demand_per_d: ArrayLike,
    sd_per_d: ArrayLike,
    lead_d: ArrayLike,
    z: ArrayLike,
    sd_lead_d: ArrayLike = 0.0,
) -> NormalStock:
    """Give safety stock and reorder point for normal demand.

    Parameters
    ----------
    demand_per_d, sd_per_d : array_like [pieces/d], mean and standard deviation of a day's demand
    lead_d, sd_lead_d : array_like [d], mean and standard deviation of the lead time
    z : array_like [1], standard normal quantile of the wanted cycle service

    Returns
    -------
    NormalStock of arrays [pieces]: sigma = sqrt(L sd^2 + d^2 sL^2), safety stock z sigma, reorder point d L
    + z sigma

    Errors
    ------
    ValueError : a negative demand, spread or time.

    Validity: mean lead-time demand above about 20 pieces; below that use ``count_target``.

    Source: textbook reorder point; the form with both spreads from memory.

    >>> round(float(normal_stock(30, 5, 10, 1.65).reorder_point), 3)
    326.089
    """
    d, sd, lead, sd_lead = (
        _not_negative(v, n)
        for v, n in ((demand_per_d, "demand"), (sd_per_d, "spread"), (lead_d, "time"), (sd_lead_d, "time"))
    )
    sigma = np.sqrt(lead * sd**2 + d**2 * sd_lead**2)
    safety = np.asarray(z, dtype=np.float64) * sigma
    return NormalStock(sigma, safety, d * lead + safety)


def _service(service_frac: ArrayLike) -> FloatArray:
    service = np.asarray(service_frac, dtype=np.float64)
    if not ((service > 0) & (service < 1)).all():
        raise ValueError("a service level must lie between 0 and 1; 1 would ask for endless stock")
    return service


def _not_negative(values: ArrayLike, name: str) -> FloatArray:
    array = np.asarray(values, dtype=np.float64)
    if not (np.isfinite(array) & (array >= 0)).all():
        raise ValueError(f"{name} must be 0 or more")
    return array


def _replace(values: IntArray, where: NDArray[np.bool_], by: IntArray) -> IntArray:
    out = np.array(values, dtype=np.int64)
    out[where] = by
    return out
