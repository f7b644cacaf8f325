"""The facts of the stock sweep."""

from __future__ import annotations

from datetime import date, timedelta
from decimal import Decimal

import pytest

from builds.models import Event
from compliance.selectors.stock_cases import StockCase, stock_cases
from inventory.models import Bin, Offer, Supplier
from inventory.services.ledger import stock_receive
from tests.builds.workshop import Workshop, make_build, make_circuit, make_event, make_robot, make_workshop

pytestmark = pytest.mark.django_db

TODAY = date(2026, 11, 25)


@pytest.fixture
def shop() -> Workshop:
    return make_workshop()


def cases(shop, **more) -> dict[str, StockCase]:
    return {case.part.code: case for case in stock_cases([shop.team.pk], today=TODAY, **more)}


def event_in(shop, days: int, circuits: int = 1, **values) -> Event:
    robot = make_robot(shop)
    build = make_build(shop, robot)
    for i in range(circuits):
        make_circuit(shop, build, f"C{i}", wired=False, device_fitted=False)
    return make_event(shop, f"In {days} days", TODAY + timedelta(days=days), [robot], **values)


def test_a_case_holds_what_is_wanted_and_what_lies_where(shop):
    event_in(shop, 12, circuits=3)
    shelf = Bin.objects.create(team=shop.team, code="A1")
    stock_receive(scope=shop.scope, part=shop.fuse, bin=shelf, quantity=2)
    case = cases(shop)["F30"]
    assert [int(n) for n in (case.wanted, case.on_hand, case.short)] == [3, 2, 1]
    assert [p.bin_code for p in case.places] == ["A1"]
    assert case.goods_by == TODAY + timedelta(days=12)


def test_goods_are_due_on_the_events_own_day(shop):
    event_in(shop, 12, goods_by=TODAY + timedelta(days=8))
    assert cases(shop)["F30"].goods_by == TODAY + timedelta(days=8)


def test_an_event_beyond_the_horizon_asks_for_nothing_yet(shop):
    event_in(shop, 61)
    assert cases(shop) == {}
    assert "F30" in cases(shop, horizon_days={shop.team.pk: 61})


def test_a_floor_is_looked_at_without_any_event(shop):
    shop.fuse.minimum_stock = Decimal(4)
    shop.fuse.save()
    case = cases(shop)["F30"]
    assert (case.event, case.demand) == (None, None)
    assert [int(n) for n in (case.below_floor, case.short)] == [4, 0]


def test_archived_parts_are_passed_over(shop):
    event_in(shop, 12)
    shop.fuse.archived = True
    shop.fuse.save()
    assert "F30" not in cases(shop)


@pytest.mark.parametrize("count", [2, 50])
def test_the_queries_do_not_grow_with_teams(count, django_assert_num_queries):
    teams = []
    for _ in range(count // 2):
        shop = make_workshop()
        event_in(shop, 12, circuits=2)
        supplier = Supplier.objects.create(team=shop.team, name="Shop")
        Offer.objects.create(team=shop.team, part=shop.fuse, supplier=supplier, price=1, lead_time_days=2)
        teams.append(shop.team.pk)
    with django_assert_num_queries(15):
        found = list(stock_cases(teams, today=TODAY))
        advised = [case.advice() for case in found]
    assert len(found) == 5 * len(teams)
    assert sum(a is not None for a in advised) == len(teams)
