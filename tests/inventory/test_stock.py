"""Stock as pages and sweeps read it."""

from __future__ import annotations

from decimal import Decimal

import pytest
from django.db import connection

from inventory.models import Bin, Offer, StockItem, Supplier
from inventory.selectors.stock import (
    ledger,
    ledger_differences,
    offers_by_part,
    on_hand,
    places_by_part,
    spools,
    stock_table,
)
from inventory.services.ledger import stock_receive, stock_use
from inventory.services.spools import spool_create
from tests.inventory.stockroom import make_part, make_room, make_wire

pytestmark = pytest.mark.django_db


def offer(part, supplier, price, **more):
    return Offer.objects.create(
        team=part.team, part=part, supplier=supplier, price=Decimal(price), lead_time_days=3, **more
    )


def test_a_part_is_summed_over_bins_and_a_wire_over_its_spools():
    room = make_room()
    stock_receive(scope=room.scope, part=room.fuse, bin=room.shelf, quantity=3)
    stock_receive(scope=room.scope, part=room.fuse, bin=room.crate, quantity=4)
    spool_create(scope=room.scope, code="S2", wire=room.wire, bin=room.shelf, full_length_m=Decimal("7.5"))
    places = places_by_part([room.scope.team.pk])
    assert [(p.bin_code, str(p.quantity), p.spools, p.travels) for p in places[room.fuse.pk]] == [
        ("CRATE", "4.000", 0, True),
        ("A1", "3.000", 0, False),
    ]
    assert [(p.bin_code, str(p.quantity), p.spools) for p in places[room.wire.pk]] == [("A1", "107.500", 2)]
    assert (str(on_hand(room.scope, room.fuse)), str(on_hand(room.scope, room.wire))) == ("7.000", "107.500")
    assert [s.code for s in spools(room.scope, wire=room.wire)] == ["S2", "S1"]


def test_the_table_knows_what_is_below_its_floor_and_who_sells_it():
    room = make_room()
    room.fuse.minimum_stock = Decimal(5)
    room.fuse.save()
    stock_receive(scope=room.scope, part=room.fuse, bin=room.shelf, quantity=4)
    shop = Supplier.objects.create(team=room.scope.team, name="Shop")
    gone = Supplier.objects.create(team=room.scope.team, name="Gone", archived=True)
    dear, cheap = offer(room.fuse, shop, "9", pack_size=10), offer(room.fuse, shop, "2")
    offer(room.fuse, gone, "1")
    offer(room.fuse, shop, "1", pack_size=5, archived=True)
    row = {r.part.code: r for r in stock_table(room.scope)}["FUSE30"]
    assert row.below_floor
    assert list(row.offers) == offers_by_part([room.scope.team.pk])[room.fuse.pk] == [cheap, dear]
    assert [r.part.code for r in stock_table(room.scope, kinds=["wire"])] == ["W25R"]
    assert [r.part.code for r in stock_table(room.scope, search="fuse")] == ["FUSE30"]


def test_another_teams_stock_is_not_seen():
    room, other = make_room(), make_room()
    stock_receive(scope=other.scope, part=other.fuse, bin=other.shelf, quantity=3)
    assert room.fuse.pk not in places_by_part([room.scope.team.pk])
    assert not ledger(room.scope, part=other.fuse).exists()


def test_a_total_changed_behind_the_ledger_is_found():
    room = make_room()
    stock_receive(scope=room.scope, part=room.fuse, bin=room.shelf, quantity=3)
    stock_use(scope=room.scope, part=room.wire, bin=room.shelf, spool=room.spool, quantity=Decimal("0.1"))
    assert ledger_differences(room.scope) == []
    with connection.cursor() as cursor:
        cursor.execute("UPDATE inventory_stockitem SET quantity = 9")
    assert [(d.label, str(d.total), str(d.lines)) for d in ledger_differences(room.scope)] == [
        ("FUSE30 in A1", "9.000", "3.000")
    ]
    assert StockItem.objects.get().quantity == 9


@pytest.mark.parametrize("count", [2, 50])
def test_the_tables_take_the_same_queries_however_many_parts(count, django_assert_num_queries):
    room = make_room()
    shop = Supplier.objects.create(team=room.scope.team, name="Shop")
    for i in range(count):
        part, wire = make_part(room.scope.team, f"P{i}"), make_wire(room.scope.team, f"W{i}")
        bin = Bin.objects.create(team=room.scope.team, code=f"B{i}")
        stock_receive(scope=room.scope, part=part, bin=bin, quantity=1)
        spool_create(scope=room.scope, code=f"X{i}", wire=wire, bin=bin, full_length_m=Decimal(5))
        offer(part, shop, "1")
    with django_assert_num_queries(4):
        rows = stock_table(room.scope)
        assert [o.supplier.name for row in rows for o in row.offers] == ["Shop"] * count
        assert len([p.bin_code for row in rows for p in row.places]) == 2 * count + 1
    with django_assert_num_queries(1):
        assert len([f"{m} {m.bin} {m.spool} {m.by}" for m in ledger(room.scope)]) == 2 * count + 1
    with django_assert_num_queries(1):
        assert len([f"{s} {s.wire} {s.bin}" for s in spools(room.scope)]) == count + 1
