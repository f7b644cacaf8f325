"""Resistance from two loads held one after the other."""

from typing import NamedTuple

import numpy as np
from numpy.typing import ArrayLike

from shared.planning.trends.ragged import FloatArray


class TwoPulse(NamedTuple):
    """What two loads say: resistance [mOhm], no-load voltage [V], prospective short-circuit current [A]."""

    resistance_mohm: FloatArray
    no_load_v: FloatArray
    short_circuit_a: FloatArray


def two_pulse(
    current_1_a: ArrayLike, voltage_1_v: ArrayLike, current_2_a: ArrayLike, voltage_2_v: ArrayLike
) -> TwoPulse:
    """Give the direct-current resistance of a battery from its voltage at two discharge currents.

    Parameters
    ----------
    current_1_a, current_2_a : array_like [A], the second larger than the first
    voltage_1_v, voltage_2_v : array_like [V], at the end of each pulse, on the posts

    Returns
    -------
    TwoPulse of arrays: R = (U1 - U2)/(I2 - I1) [mOhm]; no-load voltage U1 + R I1 [V] of the straight line
    through both points; short-circuit current (U1 I2 - U2 I1)/(U1 - U2) [A]

    Errors
    ------
    ValueError : the second current is not larger, or the voltage does not fall.

    Validity: pulses of some seconds. The answer depends on both currents by a factor of 3 and on the method
    by more: currents and times belong to the method group of the reading. The short-circuit current is an
    extrapolation for choosing interrupt ratings; never measure it.

    Source: two-pulse method of IEC 61960-3 and two-point method of IEC 60896-21 clause 6.3 (both from
    memory).

    >>> told = two_pulse(40, 12.2765, 120, 11.646)
    >>> round(float(told.resistance_mohm), 2), round(float(told.short_circuit_a))
    (7.88, 1598)
    """
    i1, u1, i2, u2 = (
        np.asarray(v, dtype=np.float64) for v in (current_1_a, voltage_1_v, current_2_a, voltage_2_v)
    )
    if not ((i2 > i1) & (u1 > u2)).all():
        raise ValueError("the second current must be larger and its voltage lower than the first")
    ohm = (u1 - u2) / (i2 - i1)
    return TwoPulse(
        np.asarray(ohm * 1000), np.asarray(u1 + ohm * i1), np.asarray((u1 * i2 - u2 * i1) / (u1 - u2))
    )
