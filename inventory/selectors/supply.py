"""Which offer to take for what is short, how many packs, and how late the order may be placed."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from decimal import Decimal

from inventory.models import Offer
from shared.planning.reorder import latest_order_day, order_quantity


@dataclass(frozen=True)
class OrderAdvice:
    """An order that would cover what is short. ``in_time``: placed today it is there by ``goods_by``."""

    offer: Offer
    packs: int
    quantity: Decimal
    cost: Decimal
    last_day: date
    arrives_on: date
    in_time: bool

    def sentence(self) -> str:
        """The order as a person would place it."""
        packs = f"{self.packs} pack{'s' if self.packs != 1 else ''} of {self.offer.pack_size.normalize():f}"
        return f"{packs} from {self.offer.supplier.name}"


def order_advice(
    offers: Sequence[Offer], *, short: Decimal, goods_by: date, today: date
) -> OrderAdvice | None:
    """The cheapest order that is there in time, else the one that is there first; None without an offer."""
    if not offers or short <= 0:
        return None
    packs = [float(o.pack_size) for o in offers]
    least = [float(o.pack_size * o.minimum_packs) for o in offers]
    wanted = order_quantity([float(short)] * len(offers), 0.0, packs, least)
    last_days = latest_order_day(float(goods_by.toordinal()), [float(o.lead_time_days) for o in offers])
    choices = [
        _advice(offer, round(float(quantity / pack)), date.fromordinal(max(1, int(last))), today)
        for offer, quantity, pack, last in zip(offers, wanted, packs, last_days, strict=True)
    ]
    in_time = [c for c in choices if c.in_time]
    if in_time:
        return min(in_time, key=lambda c: (c.cost, c.arrives_on, c.offer.pk))
    return min(choices, key=lambda c: (c.arrives_on, c.cost, c.offer.pk))


def _advice(offer: Offer, packs: int, last_day: date, today: date) -> OrderAdvice:
    return OrderAdvice(
        offer=offer,
        packs=packs,
        quantity=packs * offer.pack_size,
        cost=packs * offer.price,
        last_day=last_day,
        arrives_on=today + timedelta(days=offer.lead_time_days),
        in_time=last_day >= today,
    )
