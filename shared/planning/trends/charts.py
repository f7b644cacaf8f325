"""Control charts: is the newest reading in line with the battery's own history."""

from typing import NamedTuple

import numpy as np
from numpy.typing import ArrayLike

from shared.planning.trends.ragged import BoolArray, FloatArray, as_float
from shared.planning.trends.theil_sen import theil_sen

# Mean range of two normal values in units of their standard deviation, 2/sqrt(pi) = 1.12838, as tabulated.
D2_OF_TWO = 1.128


class Limits(NamedTuple):
    """Centre line, mean moving range and three-sigma limits, all in the unit of the values."""

    centre: float
    mean_range: float
    lower: float
    upper: float


class Ewma(NamedTuple):
    """Smoothed values with limits at each point and in the long run."""

    values: FloatArray
    lower: FloatArray
    upper: FloatArray
    final_lower: float
    final_upper: float


class Cusum(NamedTuple):
    """Sums of what lies above and below the target, and where either passes the decision limit."""

    high: FloatArray
    low: FloatArray
    signal: BoolArray


class NewestReading(NamedTuple):
    """The newest reading against the line through all the others, in the unit of the values.

    ``before`` : what the others lie off that line, oldest first.
    """

    expected: float
    residual: float
    lower: float
    upper: float
    in_control: bool
    before: FloatArray


def individuals_limits(values: ArrayLike) -> Limits:
    """Give the limits of an individuals chart from the mean moving range of two.

    Parameters
    ----------
    values : array_like [any unit], shape (n,), in time order

    Returns
    -------
    Limits [same unit]: mean -/+ 3 MRbar / 1.128

    Errors
    ------
    ValueError : fewer than two values, or one not finite.

    Validity: values in control, near normal, at least 8 to 10 of them.

    Source: NIST/SEMATECH e-Handbook of Statistical Methods, 6.3.2.2.

    >>> tuple(round(x, 4) for x in individuals_limits([10.0, 12.0, 11.0]))
    (11.0, 1.5, 7.0106, 14.9894)
    """
    x = as_float(values)
    if x.size < 2:
        raise ValueError("an individuals chart needs at least two values")
    centre, mean_range = float(x.mean()), float(np.abs(np.diff(x)).mean())
    reach = 3 * mean_range / D2_OF_TWO
    return Limits(centre, mean_range, centre - reach, centre + reach)


def ewma(
    values: ArrayLike, target: float, sigma: float, weight_frac: float = 0.3, width: float = 3.0
) -> Ewma:
    """Smooth values exponentially and give control limits.

    Parameters
    ----------
    values : array_like [any unit], shape (n,), in time order
    target, sigma : float [same unit], level and standard deviation in control
    weight_frac : float [1], weight of the newest value
    width : float [sigma], half-width of the limits

    Returns
    -------
    Ewma [same unit]: E_i = w x_i + (1 - w) E_(i-1), E_0 = target; limits target -/+ width sigma
    sqrt(w/(2 - w) (1 - (1 - w)^(2 i)))

    Errors
    ------
    ValueError : weight outside (0, 1], sigma not positive, a value not finite.

    Validity: weights of 0.2 to 0.3 are usual.

    Source: NIST/SEMATECH e-Handbook of Statistical Methods, 6.3.2.4.

    >>> ewma([52.0, 47.0], 50.0, 2.0539).values.round(2).tolist()
    [50.6, 49.52]
    """
    x = as_float(values)
    if not 0 < weight_frac <= 1 or not sigma > 0:
        raise ValueError("the weight must lie in (0, 1] and sigma above 0")
    smooth, level = np.empty(x.size), target
    for i, value in enumerate(x):
        level = weight_frac * value + (1 - weight_frac) * level
        smooth[i] = level
    final = width * sigma * np.sqrt(weight_frac / (2 - weight_frac))
    reach = final * np.sqrt(1 - (1 - weight_frac) ** (2 * np.arange(1, x.size + 1)))
    return Ewma(smooth, target - reach, target + reach, float(target - final), float(target + final))


def cusum(values: ArrayLike, target: float, slack: float, decision: float) -> Cusum:
    """Sum up what exceeds the target by more than a slack, on either side.

    Parameters
    ----------
    values : array_like [any unit], shape (n,), in time order
    target, slack, decision : float [same unit]; usually slack 0.5 sigma and decision 4 to 5 sigma

    Returns
    -------
    Cusum: high, low [same unit], both 0 or more; signal where either exceeds ``decision``

    Errors
    ------
    ValueError : negative slack or decision, a value not finite.

    Validity: target and sigma known from a period in control.

    Source: Montgomery and Runger, Applied Statistics and Probability for Engineers, chapter 16 (tabular
    CUSUM).

    >>> cusum([102.0, 94.8], 99.0, 1.0, 10.0).low.round(1).tolist()
    [0.0, 3.2]
    """
    x = as_float(values)
    if slack < 0 or decision < 0:
        raise ValueError("slack and decision limit must be 0 or more")
    high, low = np.zeros(x.size + 1), np.zeros(x.size + 1)
    for i, value in enumerate(x):
        high[i + 1] = max(0.0, high[i] + value - target - slack)
        low[i + 1] = max(0.0, low[i] + target - slack - value)
    return Cusum(high[1:], low[1:], (high[1:] > decision) | (low[1:] > decision))


def newest_against_fit(times: ArrayLike, values: ArrayLike, min_before: int = 8) -> NewestReading | None:
    """Compare the newest reading with the Theil-Sen line through all readings before it.

    Parameters
    ----------
    times : array_like [d], shape (n,), ascending
    values : array_like [any unit], shape (n,)
    min_before : int, readings needed before the newest

    Returns
    -------
    NewestReading [same unit], limits around the expected value from the moving ranges of the residuals; None
    when there are too few readings

    Errors
    ------
    ValueError : lengths differ or a number is not finite.

    Validity: an in-control history of at least 8 to 10 readings; with fewer the limits mean little.

    Source: individuals chart, NIST/SEMATECH e-Handbook 6.3.2.2, on the residuals of the fit.

    >>> told = newest_against_fit(range(10), [10.0, 10.2, 9.9, 10.1, 10.0, 10.2, 9.8, 10.1, 10.0, 14.0])
    >>> told is not None and told.in_control
    False
    """
    t, y = as_float(times), as_float(values)
    if t.size != y.size:
        raise ValueError("times and values must have the same length")
    if t.size < min_before + 1:
        return None
    fit = theil_sen(t[:-1], y[:-1])
    before = y[:-1] - (fit.intercept[0] + fit.slope[0] * t[:-1])
    limits = individuals_limits(before)
    expected = float(fit.intercept[0] + fit.slope[0] * t[-1])
    lower, upper = expected + limits.lower, expected + limits.upper
    return NewestReading(
        expected, float(y[-1]) - expected, lower, upper, bool(lower <= y[-1] <= upper), before
    )
