"""List and detail pages of stores and batteries: empty, filled, filtered, and with a fixed number of queries."""

from __future__ import annotations

from decimal import Decimal

import pytest
from django.core.cache import cache

from inventory.models import DevicePoint, ProtectiveDevice
from inventory.services.ledger import stock_receive
from shared.models import Role
from tests.inventory.pages import address, fill, make_battery, queries, text_of
from tests.inventory.stockroom import make_part, make_room, make_scope, make_team

pytestmark = pytest.mark.django_db
LISTS = ("part-list", "spool-list", "ledger", "bin-list", "supplier-list", "offer-list", "battery-list")


@pytest.fixture
def room(client):
    made = make_room(Role.LEAD)
    client.force_login(made.scope.user)
    return made


@pytest.mark.parametrize("name", LISTS)
def test_an_empty_list_says_what_to_do_next(client, name):
    scope = make_scope(make_team(), Role.LEAD)
    client.force_login(scope.user)
    assert 'class="empty"' in text_of(client, address(scope, name))


@pytest.mark.parametrize("name", LISTS)
def test_queries_do_not_grow_with_the_rows(client, room, name):
    fill(room, 1, 2)
    url = address(room.scope, name)
    queries(client, url)  # fills the cache of late jobs
    few = queries(client, url)
    fill(room, 3, 50)
    cache_kept = cache.get("late-jobs")
    assert cache_kept is not None
    assert queries(client, url) <= few


@pytest.mark.parametrize(
    ("name", "shown"),
    [
        ("part-list", "P01"),
        ("spool-list", "SP01"),
        ("ledger", "P01"),
        ("bin-list", "BIN01"),
        ("supplier-list", "Supplier 01"),
        ("offer-list", "Harbour Supplies"),
        ("battery-list", "B01"),
    ],
)
def test_rows_are_shown_to_an_auditor_without_anything_to_press(client, room, name, shown):
    fill(room, 1, 1)
    client.force_login(make_scope(room.scope.team, Role.AUDITOR).user)
    text = text_of(client, address(room.scope, name))
    assert shown in text
    assert "Undo" not in text
    assert "button--main" not in text


def test_parts_are_filtered_by_kind_words_and_floor(client, room):
    fill(room, 1, 1)
    url = address(room.scope, "part-list")
    assert "1 of 4 parts lies below the floor" in text_of(client, url)
    below = text_of(client, url + "?below=yes")
    assert "P01" in below
    assert "FUSE30" not in below
    wires = text_of(client, url + "?kind=wire")
    assert "W25R" in wires
    assert "FUSE30" not in wires
    assert "No part fits these filters." in text_of(client, url + "?q=nothing-like-it")


@pytest.mark.parametrize(
    ("code", "name"), [("fuse30", "part-detail"), ("S1", "spool-detail"), ("A1", "bin-detail")]
)
def test_a_scanned_code_opens_its_thing(client, room, code, name):
    answer = client.get(address(room.scope, "part-list"), {"q": code, "scan": "yes"}, follow=True)
    pk = {"part-detail": room.fuse.pk, "spool-detail": room.spool.pk, "bin-detail": room.shelf.pk}[name]
    assert answer.redirect_chain[-1][0] == address(room.scope, name, pk)


def test_a_scanned_battery_opens_too(client, room):
    battery = make_battery(room.scope, "B77")
    answer = client.get(address(room.scope, "part-list"), {"q": "b77", "scan": "yes"}, follow=True)
    assert answer.redirect_chain[-1][0] == address(room.scope, "battery-detail", battery.pk)


def test_what_is_no_code_is_searched_for(client, room):
    answer = client.get(address(room.scope, "part-list"), {"q": "blade", "scan": "yes"}, follow=True)
    assert answer.redirect_chain[-1][0] == address(room.scope, "part-list") + "?q=blade"


def test_a_part_shows_stock_figures_ledger_and_history(client, room):
    stock_receive(scope=room.scope, part=room.fuse, bin=room.shelf, quantity=12, reason="Order 7")
    text = text_of(client, address(room.scope, "part-detail", room.fuse.pk))
    assert "Order 7" in text
    assert "<svg" in text
    assert "Nobody is known to sell it." in text
    wire = text_of(client, address(room.scope, "part-detail", room.wire.pk))
    assert "Insulation class (°C)" in wire
    assert "S1" in wire


def test_the_ledger_picture_ends_at_what_is_there(client, room):
    for quantity in (12, 5):
        stock_receive(scope=room.scope, part=room.fuse, bin=room.shelf, quantity=quantity)
    answer = client.get(address(room.scope, "part-detail", room.fuse.pk))
    assert [step.balance for step in answer.context["chart"].steps] == [12, 17]


def test_a_device_shows_its_points_and_who_changed_them(client, room):
    device = ProtectiveDevice.objects.create(
        team=room.scope.team, code="F40", name="Fuse 40 A", kind="device", form="blade", rating_a=40
    )
    url = address(room.scope, "part-detail", device.pk)
    assert "No time-current points" in text_of(client, url)
    given = {
        "multiple": "2",
        "opens_min_s": "0.15",
        "opens_max_s": "5 s",
        "status": "sheet",
        "source": "Its sheet",
    }
    assert client.post(address(room.scope, "point-new", device.pk), given).status_code == 302
    point = DevicePoint.objects.get()
    assert (point.opens_min_s, point.opens_max_s, point.device_id) == (0.15, 5, device.pk)
    assert "Its sheet" in text_of(client, url)


def test_the_ledger_is_filtered_by_kind_and_part(client, room):
    stock_receive(scope=room.scope, part=room.fuse, bin=room.shelf, quantity=12)
    part = make_part(room.scope.team, "OTHER")
    stock_receive(scope=room.scope, part=part, bin=room.shelf, quantity=Decimal(1))
    url = address(room.scope, "ledger")
    assert client.get(url + "?part=fuse30").context["page_obj"].paginator.count == 1
    assert client.get(url + "?kind=use").context["page_obj"].paginator.count == 0
