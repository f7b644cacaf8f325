"""The API of catalogue, stores and batteries: quantities as typed, one line a request, filters, roles, queries."""

from __future__ import annotations

import uuid
from datetime import timedelta
from decimal import Decimal

import pytest
from django.contrib import admin
from django.utils import timezone
from rest_framework.test import APIClient

from inventory.models import Battery, Charge, Movement, Offer, Reading, Spool, StockItem, WireType
from inventory.services.ledger import stock_receive
from shared.models import Role
from tests.inventory.pages import address, fill, make_battery, queries
from tests.inventory.stockroom import make_room, make_scope

pytestmark = pytest.mark.django_db
LISTS = (
    "part", "wiretype", "terminaltype", "protectivedevice", "devicepoint", "batterymodel", "component", "bin",
    "supplier", "offer", "stockitem", "spool", "movement", "battery", "reading", "charge", "capacitytest",
)  # fmt: skip


@pytest.fixture
def room():
    made = make_room(Role.LEAD)
    stock_receive(scope=made.scope, part=made.fuse, bin=made.shelf, quantity=10)
    return made


@pytest.fixture
def api(room):
    client = APIClient()
    client.force_authenticate(room.scope.user)
    return client


def as_role(room, role):
    client = APIClient()
    client.force_authenticate(make_scope(room.scope.team, role).user)
    return client


def held(room) -> Decimal:
    return StockItem.objects.get(part=room.fuse, bin=room.shelf).quantity


@pytest.mark.parametrize("name", LISTS)
def test_queries_of_a_list_do_not_grow_with_its_rows(api, room, name):
    fill(room, 1, 2)
    url = address(room.scope, f"api-{name}-list")
    few = queries(api, url)
    fill(room, 3, 50)
    assert queries(api, url) == few


def test_lists_are_filtered(api, room):
    fill(room, 1, 2)
    parts = address(room.scope, "api-part-list")
    assert [r["code"] for r in api.get(parts, {"kind": "wire"}).json()["results"]] == ["W25R"]
    assert [r["code"] for r in api.get(parts, {"code__icontains": "p0"}).json()["results"]] == ["P01", "P02"]
    moves = address(room.scope, "api-movement-list")
    assert api.get(moves, {"part": room.fuse.pk}).json()["count"] == 1
    assert api.get(moves, {"kind": "use"}).json()["count"] == 0
    tomorrow = (timezone.now() + timedelta(days=1)).isoformat()
    assert api.get(moves, {"at__gte": tomorrow}).json()["count"] == 0


@pytest.mark.parametrize(
    ("kind", "given", "left"),
    [
        ("receive", {"quantity": 5}, 15),
        ("use", {"quantity": 4}, 6),
        ("return", {"quantity": 1}, 11),
        ("scrap", {"quantity": 2, "reason": "bent"}, 8),
        ("count", {"quantity": 7}, 7),
    ],
)
def test_the_same_request_sent_twice_is_one_line(api, room, kind, given, left):
    body = {"part": room.fuse.pk, "bin": room.shelf.pk, "request_id": str(uuid.uuid4()), **given}
    first, second = (
        api.post(address(room.scope, f"api-movement-{kind}"), body, format="json") for _ in range(2)
    )
    assert (first.status_code, second.status_code) == (201, 201)
    assert first.json()["id"] == second.json()["id"]
    assert (held(room), Decimal(first.json()["balance"])) == (left, left)
    assert first.json()["by"] == room.scope.user.pk


def test_a_move_is_two_lines_and_is_undone_by_two(api, room):
    body = {"part": room.fuse.pk, "bin": room.shelf.pk, "to_bin": room.crate.pk, "quantity": 3}
    made = api.post(address(room.scope, "api-movement-move"), body, format="json").json()
    assert [Decimal(line["quantity"]) for line in made] == [-3, 3]
    undo = address(room.scope, "api-movement-undo", made[0]["id"])
    assert len(api.post(undo, {"reason": "wrong crate"}, format="json").json()) == 2
    assert held(room) == 10


def test_an_empty_bin_is_a_refusal_with_a_remedy(api, room):
    body = {"part": room.fuse.pk, "bin": room.shelf.pk, "quantity": 11}
    answer = api.post(address(room.scope, "api-movement-use"), body, format="json")
    assert answer.status_code == 409
    told = answer.json()
    assert (told["field"], told["value"]) == ("quantity", "11.000")
    assert "There are 10 of FUSE30 in bin A1" in told["detail"]
    assert told["remedy"]


def test_wire_is_taken_off_its_spool(api, room):
    url = address(room.scope, "api-movement-use")
    answer = api.post(url, {"part": room.wire.pk, "spool": room.spool.pk, "quantity": "2.5"}, format="json")
    assert answer.status_code == 201
    assert Spool.objects.get().remaining_m == Decimal("97.5")
    assert "bin" in api.post(url, {"part": room.wire.pk, "quantity": 1}, format="json").json()


def test_the_ledger_and_stock_cannot_be_written_directly(api, room):
    line = Movement.objects.get(part=room.fuse)
    for name, pk in (("movement", line.pk), ("stockitem", StockItem.objects.get().pk)):
        assert api.post(address(room.scope, f"api-{name}-list"), {}, format="json").status_code == 405
        for method in ("put", "patch", "delete"):
            answer = getattr(api, method)(address(room.scope, f"api-{name}-detail", pk), {}, format="json")
            assert answer.status_code == 405


def test_a_spool_is_entered_and_moved(api, room):
    body = {
        "code": "S9",
        "wire": room.wire.pk,
        "bin": room.shelf.pk,
        "full_length_m": "30",
        "remaining_m": "12",
    }
    made = api.post(address(room.scope, "api-spool-list"), body, format="json")
    assert made.status_code == 201
    assert made.json()["remaining_m"] == "12.000"
    move = {"spool": made.json()["id"], "to_bin": room.crate.pk}
    lines = api.post(address(room.scope, "api-movement-move"), move, format="json").json()
    assert {line["bin"] for line in lines} == {room.shelf.pk, room.crate.pk}
    assert Spool.objects.get(code="S9").bin == room.crate


def test_a_wire_type_takes_sizes_and_quantities_as_people_write_them(api, room):
    body = {"code": "W12", "name": "12 red", "size_typed": "12 AWG", "insulation_class_c": "221 °F"}
    answer = api.post(address(room.scope, "api-wiretype-list"), body, format="json")
    assert answer.status_code == 201, answer.content
    wire = WireType.objects.get(code="W12")
    # ASTM B258: 12 AWG is 2.053 mm thick, 3.31 mm2.
    assert wire.area_mm2 == pytest.approx(3.309, abs=0.002)
    assert wire.insulation_class_c == pytest.approx(105)
    wrong = api.post(address(room.scope, "api-wiretype-list"), {**body, "code": "W13", "size_typed": "fat"})
    assert wrong.status_code == 400
    assert "fat" in wrong.content.decode()


def test_a_typed_part_is_not_changed_past_its_kind(api, room):
    answer = api.patch(address(room.scope, "api-part-detail", room.wire.pk), {"name": "New"}, format="json")
    assert answer.status_code == 400
    assert "under the address of its kind" in answer.json()["remedy"]


def test_offers_are_for_the_lead(api, room):
    supplier = api.post(address(room.scope, "api-supplier-list"), {"name": "Harbour"}, format="json").json()
    body = {"part": room.fuse.pk, "supplier": supplier["id"], "price": "2.50", "lead_time_days": 4}
    url = address(room.scope, "api-offer-list")
    assert api.post(url, body, format="json").status_code == 201
    api.force_authenticate(make_scope(room.scope.team).user)
    assert api.post(url, body, format="json").status_code == 403
    assert api.get(url).json()["count"] == 1
    assert Offer.objects.count() == 1


def test_a_reading_is_logged_once_and_a_slip_refused(api, room):
    battery = make_battery(room.scope)
    url = address(room.scope, "api-reading-list")
    body = {"battery": battery.pk, "resistance_mohm": "0.0145 ohm", "method": "ac1k", "instrument": "Meter A"}
    first, second = (api.post(url, body, format="json") for _ in range(2))
    assert first.status_code == 201, first.content
    assert first.json()["id"] == second.json()["id"]
    assert Reading.objects.get().resistance_mohm == pytest.approx(14.5)
    answer = api.post(url, {**body, "resistance_mohm": 0.0145}, format="json")
    assert answer.status_code == 400
    assert "Was it in ohm?" in answer.content.decode()


def test_a_charge_begins_and_ends(api, room):
    battery = make_battery(room.scope)
    body = {"battery": battery.pk, "charger_name": "3"}
    assert api.post(address(room.scope, "api-charge-list"), body, format="json").status_code == 201
    again = api.post(address(room.scope, "api-charge-list"), {**body, "charger_name": "4"}, format="json")
    assert again.status_code == 409
    end = address(room.scope, "api-battery-charge-end", battery.pk)
    assert api.post(end, {"returned_ah": "9500 mAh"}, format="json").json()["returned_ah"] == pytest.approx(
        9.5
    )
    assert Charge.objects.get().ended_at is not None


def test_a_battery_leaves_service_with_a_reason(api, room):
    battery = make_battery(room.scope)
    url = address(room.scope, "api-battery-state", battery.pk)
    assert api.post(url, {"state": "quarantine"}, format="json").status_code == 400
    body = {"state": "quarantine", "reason": "swollen case"}
    assert api.post(url, body, format="json").json()["state"] == "quarantine"
    patched = api.patch(
        address(room.scope, "api-battery-detail", battery.pk), {"state": "service"}, format="json"
    )
    assert patched.json()["state"] == "quarantine"
    assert Battery.objects.get().state_reason == "swollen case"


def test_a_capacity_test_is_logged(api, room):
    battery = make_battery(room.scope)
    body = {"battery": battery.pk, "capacity_ah": 16.2, "current_a": "900 mA", "end_v": 10.5}
    answer = api.post(address(room.scope, "api-capacitytest-list"), body, format="json")
    assert answer.status_code == 201
    assert answer.json()["current_a"] == pytest.approx(0.9)


def test_archiving_is_undone_by_the_same_call(api, room):
    url = address(room.scope, "api-bin-archive", room.crate.pk)
    assert api.post(url, {}, format="json").json()["archived"] is True
    assert api.post(url, {"archived": False}, format="json").json()["archived"] is False


@pytest.mark.parametrize("model", [Movement, StockItem])
def test_the_admin_shows_ledger_and_totals_and_changes_neither(rf, admin_user, model):
    request = rf.get("/admin/")
    request.user = admin_user
    page = admin.site._registry[model]
    assert page.has_view_permission(request)
    assert not page.has_change_permission(request)
    assert not page.has_add_permission(request)
    assert not page.has_delete_permission(request)


def test_the_admin_keeps_the_length_of_a_spool_out_of_reach(client, admin_user, room):
    client.force_login(admin_user)
    text = client.get(f"/admin/inventory/spool/{room.spool.pk}/change/").content.decode()
    assert 'name="code"' in text
    assert 'name="remaining_m"' not in text
    assert 'name="bin"' not in text


def test_an_incident_is_logged_and_closed(api, room):
    battery = make_battery(room.scope)
    url = address(room.scope, "api-battery-incidents", battery.pk)
    first = api.post(url, {"kind": "dropped", "note": "off the cart"}, format="json")
    assert first.status_code == 201, first.content
    assert api.post(url, {"kind": "dropped"}, format="json").json()["id"] == first.json()["id"]
    battery.refresh_from_db()
    assert battery.state == "quarantine"
    close = address(room.scope, "api-incident-close", first.json()["id"])
    assert as_role(room, Role.MEMBER).post(close, {"finding": "whole"}, format="json").status_code == 403
    refused = api.post(url, {"kind": "other"}, format="json")
    assert (refused.status_code, refused.json()["field"]) == (400, "note")
    open_ones = api.get(address(room.scope, "api-incident-list"), {"looked_at__isnull": True}).json()
    assert [row["id"] for row in open_ones["results"]] == [first.json()["id"]]


def test_chargers_are_entered_changed_and_archived(api, room):
    url = address(room.scope, "api-charger-list")
    made = api.post(url, {"name": "Pit 1", "current_a": "6 A", "absorption_min": "1 h"}, format="json")
    assert (made.json()["current_a"], made.json()["absorption_min"]) == (6.0, 60.0)
    assert api.post(url, {"name": "Pit 1"}, format="json").status_code == 400
    assert api.post(url, {"name": "Pit 2", "current_a": -1}, format="json").status_code == 400


def test_a_battery_joins_with_reading_and_charge(api, room):
    model = make_battery(room.scope).model_id
    body = {
        "code": "B50", "model": model, "acquired_on": "2026-02-01", "rest_v": 12.81, "resistance_mohm": "14.2 mohm",
        "method": "ac1k", "instrument": "Bench 1", "charger_name": "Pit 1",
    }  # fmt: skip
    url = address(room.scope, "api-battery-intake")
    first, again = (api.post(url, body, format="json") for _ in range(2))
    assert first.status_code == 201, first.content
    assert first.json()["battery"]["id"] == again.json()["battery"]["id"]
    assert first.json()["reading"]["resistance_mohm"] == pytest.approx(14.2)
    assert (first.json()["charge"]["purpose"], first.json()["charge"]["charger_name"]) == ("first", "Pit 1")
    for wrong, field in (({"resistance_mohm": 0.0142}, "resistance_mohm"), ({"rest_v": 128}, "rest_v")):
        refused = api.post(url, {**body, "code": "B51", **wrong}, format="json")
        assert (refused.status_code, refused.json()["field"]) == (400, field)
    assert not Battery.objects.filter(code="B51").exists()
