"""What to order, how much, and by which day, for many parts at once."""

from dataclasses import dataclass
from enum import IntEnum

import numpy as np
from numpy.typing import ArrayLike

from shared.planning.reorder.demand import FloatArray, IntArray

# Binary fractions of lengths and counts must not turn 3 packs into 4.
_SLACK = 1e-9


class StockState(IntEnum):
    """Verdict on a part before an event; below 0 = cannot judge, above 0 = worse the larger."""

    DEMAND_UNKNOWN = -2
    LEAD_TIME_UNKNOWN = -1
    COVERED = 0
    ORDER = 1
    ORDER_SOON = 2
    TOO_LATE = 3


@dataclass(frozen=True)
class StockPlan:
    """One row per part: StockState; target, position, short, order [pieces or m]; latest_order_day [d]."""

    state: IntArray
    target: FloatArray
    position: FloatArray
    short: FloatArray
    order: FloatArray
    latest_order_day: FloatArray


def stock_position(on_hand: ArrayLike, on_order: ArrayLike = 0.0, reserved: ArrayLike = 0.0) -> FloatArray:
    """Give the stock that may still be promised.

    Parameters
    ----------
    on_hand, on_order, reserved : array_like [pieces or m], 0 or more

    Returns
    -------
    array [same unit] = on hand + on order - reserved; negative when more is promised than there is

    Errors
    ------
    ValueError : a negative or non-finite number.

    Validity: count on order only what arrives before it is needed.

    Source: inventory position, common practice.

    >>> stock_position(5, 2, 4).item()
    3.0
    """
    hand, order, kept = (
        _amount(v, n) for v, n in ((on_hand, "on hand"), (on_order, "on order"), (reserved, "reserved"))
    )
    return np.asarray(hand + order - kept, dtype=np.float64)


def order_quantity(
    target: ArrayLike, position: ArrayLike, pack: ArrayLike = 1.0, least: ArrayLike = 0.0
) -> FloatArray:
    """Give the order that lifts the position to the target in whole packs.

    Parameters
    ----------
    target : array_like [pieces or m], 0 or more
    position : array_like [same unit], as ``stock_position``
    pack : array_like [same unit], greater than 0, sold in multiples of this
    least : array_like [same unit], smallest order the supplier takes

    Returns
    -------
    array [same unit]: 0 where the position reaches the target, else the larger of target - position and the
    least order, rounded up to whole packs

    Errors
    ------
    ValueError : pack not positive, negative target or least order.

    Validity: where the least order is a whole number of packs this is max(MOQ, pack x ceil((S - IP)/pack)).

    Source: common practice.

    >>> order_quantity([10, 10, 2], [3, 3, 2], pack=5, least=[0, 20, 20]).tolist()
    [10.0, 20.0, 0.0]
    """
    need = _amount(target, "target") - np.asarray(position, dtype=np.float64)
    size, floor = _amount(pack, "pack size"), _amount(least, "least order")
    if (size <= 0).any():
        raise ValueError("a pack size must be greater than 0")
    packs = np.ceil(np.maximum(need, floor) / size - _SLACK)
    return np.asarray(np.where(need > _SLACK, packs * size, 0.0), dtype=np.float64)


def latest_order_day(goods_by_day: ArrayLike, lead_d: ArrayLike) -> FloatArray:
    """Give the last day on which an order still arrives in time.

    Parameters
    ----------
    goods_by_day : array_like [d], day by which the goods must be there
    lead_d : array_like [d], calendar days from order to arrival; NaN not known

    Returns
    -------
    array [d]; NaN where the lead time is not known

    Errors
    ------
    ValueError : a negative lead time.

    Validity: calendar days. Give a slow lead time (the longest seen, say), not the advertised one.

    Source: subtraction.

    >>> latest_order_day(100, [7, float("nan")]).tolist()
    [93.0, nan]
    """
    lead = np.asarray(lead_d, dtype=np.float64)
    if (lead < 0).any():
        raise ValueError("a lead time must be 0 or more days")
    return np.asarray(np.asarray(goods_by_day, dtype=np.float64) - np.ceil(lead - _SLACK), dtype=np.float64)


def plan_stock(
    *,
    lacking: ArrayLike,
    repairs: ArrayLike,
    position: ArrayLike,
    pack: ArrayLike,
    least: ArrayLike,
    lead_d: ArrayLike,
    goods_by_day: ArrayLike,
    today: float,
    soon_d: float = 3.0,
) -> StockPlan:
    """Say for every part whether an event is covered, what to order, and how late that may wait.

    Parameters
    ----------
    lacking : array_like [pieces or m], shape (p,), what builds still need and have not reserved
    repairs : array_like [same unit], shape (p,), spares wanted for the event (``repairs_target``); negative
        = no
        rate known
    position : array_like [same unit], shape (p,), as ``stock_position``
    pack, least : array_like [same unit], as ``order_quantity``
    lead_d : array_like [d], NaN not known
    goods_by_day : array_like [d], day by which goods must be there
    today : float [d], same origin
    soon_d : float [d], an order due within this many days is due soon

    Returns
    -------
    StockPlan of arrays, shape (p,). target = lacking + repairs (an unknown rate counts as 0 repairs).

    * COVERED: the position reaches the target.
    * ORDER, ORDER_SOON, TOO_LATE: short, and the last day to order is more than ``soon_d`` ahead, within it
      (today included), or gone.
    * LEAD_TIME_UNKNOWN: short, and nobody knows how long an order takes.
    * DEMAND_UNKNOWN: builds are covered, but no failure log says how many spares: not "covered".

    Errors
    ------
    ValueError : a negative or non-finite amount, pack or lead time.

    Validity: one event; what a build has reserved belongs to the reservation and not to ``lacking``, else it
    is counted twice.

    Source: base-stock order up to lacks plus the quantile of repairs, common practice.

    >>> plan = plan_stock(lacking=[4, 4, 0], repairs=[2, 2, -1], position=[1, 6, 3], pack=[5, 1, 1],
    ...                   least=[0, 0, 0], lead_d=[7, 7, 7], goods_by_day=[20, 20, 20], today=12)
    >>> [StockState(code).name for code in plan.state], plan.order.tolist(), plan.latest_order_day.tolist()
    (['ORDER_SOON', 'COVERED', 'DEMAND_UNKNOWN'], [5.0, 0.0, 0.0], [13.0, 13.0, 13.0])
    """
    spares = np.asarray(repairs, dtype=np.float64)
    if not np.isfinite(spares).all():
        raise ValueError("repairs must be finite; use a negative number for an unknown rate")
    target = np.asarray(_amount(lacking, "lacking") + np.maximum(spares, 0.0), dtype=np.float64)
    held = np.asarray(position, dtype=np.float64)
    short = np.maximum(target - held, 0.0)
    last = np.broadcast_to(latest_order_day(goods_by_day, lead_d), target.shape)
    lacks = short > _SLACK
    tests = [
        ~lacks & (spares < 0),
        ~lacks,
        np.isnan(last),
        last < today,
        last <= today + soon_d,
    ]
    states = [
        StockState.DEMAND_UNKNOWN,
        StockState.COVERED,
        StockState.LEAD_TIME_UNKNOWN,
        StockState.TOO_LATE,
        StockState.ORDER_SOON,
    ]
    state = np.select(tests, states, default=StockState.ORDER).astype(np.int64)
    return StockPlan(state, target, held, short, order_quantity(target, held, pack, least), last)


def _amount(values: ArrayLike, name: str) -> FloatArray:
    array = np.asarray(values, dtype=np.float64)
    if not (np.isfinite(array) & (array >= 0)).all():
        raise ValueError(f"{name} must be 0 or more")
    return array
