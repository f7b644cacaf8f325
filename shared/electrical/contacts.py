"""What joints and fuses add to a circuit's resistance where nobody has measured it.

Public names: `blade_fuse_ohm`, `joints_ohm`.
"""

from typing import Final

import numpy as np

from shared.electrical.arrays import FloatArray, Number, known
from shared.electrical.tables.contacts import BLADE_DROP_MV, JOINT_MOHM, JOINTS_PER_CIRCUIT

__all__ = ["blade_fuse_ohm", "joints_ohm"]

_RATINGS: Final[FloatArray] = np.log(np.array(list(BLADE_DROP_MV)))
_DROPS_V: Final[FloatArray] = np.array(list(BLADE_DROP_MV.values())) / 1e3


def blade_fuse_ohm(rating_a: Number) -> FloatArray:
    """Estimate the warm resistance of a blade fuse from its rating.

    Parameters:
        rating_a: float or array [A].
    Returns:
        Array [ohm], the drop at rated current divided by that current.
    Errors: none; NaN where the rating is not positive.
    Validity: seen from 1 to 10 A, between them along the logarithm of the rating; above 10 A the drop of the
        10 A fuse is taken, below 1 A that of the 1 A fuse. Cold it is a third less.
    Source: one family's data sheet (`tables.contacts`); beyond 1 to 10 A common practice, no source.

    >>> blade_fuse_ohm(np.array([2.0, 10.0, 40.0])).round(5).tolist()
    [0.0705, 0.0109, 0.00272]
    """
    rating = known(rating_a, zero_ok=False)
    return np.interp(np.log(rating), _RATINGS, _DROPS_V) / rating


def joints_ohm(measured_mohm: Number = np.nan) -> FloatArray:
    """Give the resistance of all joints of a circuit, both poles: as measured, else a usual figure.

    Parameters:
        measured_mohm: float or array [mohm], all joints of both poles together; NaN where not measured.
    Returns:
        Array [ohm].
    Errors: none; a negative figure counts as not measured.
    Validity: joints in good order; a loose or corroded one may have a hundred times as much.
    Source: common practice, no source: four joints of 0.5 mohm.

    >>> joints_ohm(np.array([5.0, np.nan])).tolist()
    [0.005, 0.002]
    """
    measured = known(measured_mohm)
    usual = JOINT_MOHM.value * JOINTS_PER_CIRCUIT.value
    return np.where(np.isnan(measured), usual, measured) / 1e3
