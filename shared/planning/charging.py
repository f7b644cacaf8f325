"""How long a battery charges, and how far it gets when it is taken off early.

One charge has two parts. In bulk charge the charger gives its whole current, and of what it gives 1/1.1 comes back as
charge. In absorption the voltage is held and the current falls off, with a time constant of half the absorption time,
so that the whole charge takes exactly T = 1.1 Ah/I + T_abs. Absorption begins when no more is missing than the falling
current still brings; after a short match that is at once.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike, NDArray

__all__ = ["RETURNED", "charge_minutes", "charged_fraction", "minutes_to_fraction"]

FloatArray = NDArray[np.float64]

RETURNED = 1.1
# At 0.3C the current is then down to 0.015C at the end: inside the 0.01-0.03C at which a charge usually ends.
_TIME_CONSTANT = 0.5


def charge_minutes(
    out_ah: ArrayLike, current_a: ArrayLike, absorption_min: ArrayLike, returned: float = RETURNED
) -> FloatArray:
    """Give the time a charger takes to fill a battery again.

    Parameters
    ----------
    out_ah : array_like [Ah], what is missing, 0 or more
    current_a : array_like [A], in bulk charge, greater than 0
    absorption_min : array_like [min], from the end of bulk charge until full, 0 or more
    returned : float [1], charge given per charge that was taken out

    Returns
    -------
    array [min]; 0 where nothing is missing; NaN (or None) in gives NaN

    Errors
    ------
    ValueError : a negative charge or time, or a current that is not positive.

    Validity: lead-acid; a shallow discharge of 10-30 % needs 1-2 h of absorption, a deep one up to 8 h.

    Source: bulk Ah/I plus absorption, from a charger maker's manual (220 Ah at 30 A: 7.3 h, with 8 h of absorption
    15.3 h); 104-112 % returned for AGM and gel, from pages on recharge time; the sum of both is our form of it.

    >>> round(charge_minutes(3, 6, 60).item(), 1)
    93.0
    >>> (charge_minutes(220, 30, 8 * 60, returned=1.0) / 60).round(1).item()
    15.3
    """
    missing, current, absorption = _read(
        ("out_ah", out_ah), ("current_a", current_a), ("absorption_min", absorption_min)
    )
    _positive("current_a", current)
    return np.where(missing > 0.0, 60.0 * returned * missing / current + absorption, 0.0 * missing)


def charged_fraction(
    frac_before: ArrayLike,
    minutes: ArrayLike,
    capacity_ah: ArrayLike,
    current_a: ArrayLike,
    absorption_min: ArrayLike,
) -> FloatArray:
    """Give the state of charge after so many minutes on a charger.

    Parameters
    ----------
    frac_before : array_like [1], state of charge at the start, 0 to 1
    minutes : array_like [min], on the charger, 0 or more
    capacity_ah : array_like [Ah], greater than 0
    current_a : array_like [A], in bulk charge, greater than 0
    absorption_min : array_like [min], 0 or more

    Returns
    -------
    array [1]; exactly 1 from ``charge_minutes`` on; NaN (or None) in gives NaN

    Errors
    ------
    ValueError : a fraction outside 0 to 1, a negative time, a capacity or current that is not positive.

    Validity: one unbroken charge. A charge that is broken off and taken up again begins its absorption anew, which
    errs on the side of too little.

    Source: constant current, then constant voltage with a current that falls off exponentially (circuit theory of a
    source behind a resistance); the time constant of half the absorption time is our choice, see the module.

    >>> charged_fraction(5 / 6, [0, 30, 60, 93], 18, 6, 60).round(3).tolist()
    [0.833, 0.943, 0.984, 1.0]
    """
    before, spent = _read(("frac_before", frac_before), ("minutes", minutes))
    capacity, per_min, bulk_min, tail_ah, tail_min, tau = _phases(
        before, capacity_ah, current_a, absorption_min
    )
    in_bulk = (1.0 - before) * capacity - per_min * spent
    end = np.exp(-tail_min / tau)
    in_tail = tail_ah * (np.exp(-np.maximum(spent - bulk_min, 0.0) / tau) - end) / (1.0 - end)
    left = np.where(spent <= bulk_min, in_bulk, np.maximum(in_tail, 0.0))
    return np.asarray(1.0 - left / capacity, dtype=np.float64)


def minutes_to_fraction(
    frac_before: ArrayLike,
    frac_wanted: ArrayLike,
    capacity_ah: ArrayLike,
    current_a: ArrayLike,
    absorption_min: ArrayLike,
) -> FloatArray:
    """Give the minutes on a charger until a battery has a wanted state of charge.

    Parameters
    ----------
    frac_before, frac_wanted : array_like [1], 0 to 1
    capacity_ah : array_like [Ah], greater than 0
    current_a : array_like [A], in bulk charge, greater than 0
    absorption_min : array_like [min], 0 or more

    Returns
    -------
    array [min]; 0 where the battery has it already; NaN (or None) in gives NaN

    Errors
    ------
    ValueError : a fraction outside 0 to 1, a negative time, a capacity or current that is not positive.

    Validity: as ``charged_fraction``, whose inverse it is.

    Source: as ``charged_fraction``.

    >>> minutes_to_fraction(5 / 6, [0.8, 0.9, 0.95, 1.0], 18, 6, 60).round(1).tolist()
    [0.0, 14.7, 33.4, 93.0]
    """
    before, wanted = _read(("frac_before", frac_before), ("frac_wanted", frac_wanted))
    _fraction("frac_wanted", wanted)
    capacity, per_min, bulk_min, tail_ah, tail_min, tau = _phases(
        before, capacity_ah, current_a, absorption_min
    )
    left = (1.0 - wanted) * capacity
    in_bulk = (wanted - before) * capacity / per_min
    end = np.exp(-tail_min / tau)
    share = np.where(tail_ah > 0.0, np.minimum(left / np.where(tail_ah > 0.0, tail_ah, 1.0), 1.0), 0.0)
    in_tail = bulk_min + np.minimum(-tau * np.log(share * (1.0 - end) + end), tail_min)
    spent = np.where(left >= tail_ah, in_bulk, in_tail)
    return np.asarray(np.where(wanted > before, spent, 0.0 * (wanted + before)), dtype=np.float64)


def _phases(
    before: FloatArray, capacity_ah: ArrayLike, current_a: ArrayLike, absorption_min: ArrayLike
) -> tuple[FloatArray, ...]:
    """Capacity, charge back per minute of bulk, its minutes, then charge, minutes and time constant of the tail."""
    _fraction("frac_before", before)
    capacity, current, absorption = _read(
        ("capacity_ah", capacity_ah), ("current_a", current_a), ("absorption_min", absorption_min)
    )
    _positive("capacity_ah", capacity)
    _positive("current_a", current)
    per_min = current / (60.0 * RETURNED)
    missing = (1.0 - before) * capacity
    tau = _TIME_CONSTANT * absorption
    tail_ah = np.minimum(missing, per_min * tau)
    bulk_min = (missing - tail_ah) / per_min
    # Where nothing is left for a tail, any length and time constant of it will do.
    tail_min = np.where(tail_ah == 0.0, 1.0, absorption + tail_ah / per_min)
    return capacity, per_min, bulk_min, tail_ah, tail_min, np.where(tau == 0.0, 1.0, tau)


def _read(*named: tuple[str, ArrayLike]) -> list[FloatArray]:
    arrays = [np.asarray(values, dtype=np.float64) for _, values in named]
    for (name, _), array in zip(named, arrays, strict=True):
        if (array < 0.0).any():
            raise ValueError(f"{name} must be 0 or more")
    return arrays


def _positive(name: str, array: FloatArray) -> None:
    if (array <= 0.0).any():
        raise ValueError(f"{name} must be greater than 0")


def _fraction(name: str, array: FloatArray) -> None:
    if ((array < 0.0) | (array > 1.0)).any():
        raise ValueError(f"{name} must be between 0 and 1")
