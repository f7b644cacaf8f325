"""Which offer is advised: worked by hand."""

from __future__ import annotations

from datetime import date
from decimal import Decimal

import pytest

from inventory.models import Offer, Supplier
from inventory.selectors.supply import order_advice
from tests.inventory.stockroom import make_part, make_team

TODAY = date(2026, 11, 25)
GOODS_BY = date(2026, 12, 3)


def offer(pk: int, price: str, pack: int, lead: int, least: int = 1) -> Offer:
    return Offer(
        pk=pk,
        supplier=Supplier(name=f"Shop {pk}"),
        price=Decimal(price),
        pack_size=Decimal(pack),
        lead_time_days=lead,
        minimum_packs=least,
    )


def advise(*offers, short="7", goods_by=GOODS_BY):
    return order_advice(offers, short=Decimal(short), goods_by=goods_by, today=TODAY)


def test_the_cheapest_whole_packs_that_arrive_in_time():
    # 7 pieces: 7 x 1.00 = 7.00; 1 pack of 10 for 6.50; the cheapest per piece arrives a day late.
    advice = advise(offer(1, "1.00", 1, 2), offer(2, "6.50", 10, 8), offer(3, "1.00", 10, 9))
    assert (advice.offer.pk, advice.packs, advice.quantity, advice.cost) == (2, 1, 10, Decimal("6.50"))
    # 3 December less 8 days.
    assert (advice.last_day, advice.arrives_on, advice.in_time) == (TODAY, GOODS_BY, True)
    assert advice.sentence() == "1 pack of 10 from Shop 2"


def test_nothing_in_time_means_what_arrives_first():
    advice = advise(offer(1, "1.00", 1, 12), offer(2, "9.00", 1, 10))
    assert (advice.offer.pk, advice.in_time, advice.last_day) == (2, False, date(2026, 11, 23))


@pytest.mark.parametrize(
    ("short", "pack", "least", "packs"),
    [("7", 5, 1, 2), ("5", 5, 1, 1), ("5.001", 5, 1, 2), ("1", 5, 3, 3), ("0.3", 1, 1, 1)],
)
def test_packs_are_rounded_up_and_the_least_order_is_kept(short, pack, least, packs):
    assert advise(offer(1, "1", pack, 1, least), short=short).packs == packs


def test_no_offer_and_nothing_short_give_no_advice():
    assert advise() is None
    assert advise(offer(1, "1", 1, 1), short="0") is None


@pytest.mark.django_db
def test_the_model_and_the_advice_agree_on_decimals():
    team = make_team()
    part, shop = make_part(team, "P"), Supplier.objects.create(team=team, name="Shop")
    made = Offer.objects.create(
        team=team, part=part, supplier=shop, price=Decimal("0.10"), pack_size=Decimal("2.5"), lead_time_days=1
    )
    made.refresh_from_db()
    advice = advise(made, short="7.5")
    assert (advice.packs, str(advice.cost), advice.sentence()) == (3, "0.30", "3 packs of 2.5 from Shop")
