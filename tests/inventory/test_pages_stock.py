"""Stock by page: what is done twice counts once, what cannot be is told, and a line is undone by a line."""

from __future__ import annotations

import uuid
from decimal import Decimal

import pytest

from inventory.models import Bin, Movement, Offer, Part, Spool, StockItem, Supplier, WireType
from inventory.services.ledger import stock_receive
from shared.models import Role
from tests.inventory.pages import address, text_of
from tests.inventory.stockroom import make_room, make_scope

pytestmark = pytest.mark.django_db


@pytest.fixture
def room(client):
    made = make_room()
    client.force_login(made.scope.user)
    stock_receive(scope=made.scope, part=made.fuse, bin=made.shelf, quantity=10)
    return made


def act(client, room, do: str, part: Part | None = None, **given: object):
    data = {"do": do, "request_id": str(uuid.uuid4()), "reason": "", "bin": room.shelf.pk, **given}
    return client.post(address(room.scope, "stock-act", (part or room.fuse).pk), data)


def held(room) -> Decimal:
    return StockItem.objects.get(part=room.fuse, bin=room.shelf).quantity


@pytest.mark.parametrize(
    ("do", "given", "left"),
    [
        ("receive", {"quantity": "5"}, 15),
        ("use", {"quantity": "4"}, 6),
        ("return", {"quantity": "1"}, 11),
        ("scrap", {"quantity": "2", "reason": "bent"}, 8),
        ("count", {"quantity": "7"}, 7),
        ("move", {"quantity": "3"}, 7),
    ],
)
def test_each_thing_a_person_does_is_one_line(client, room, do, given, left):
    more = {"to_bin": room.crate.pk} if do == "move" else {}
    assert act(client, room, do, **given, **more).status_code == 302
    assert held(room) == left
    line = Movement.objects.filter(part=room.fuse, kind=do).order_by("pk").last()
    assert line is not None
    assert line.by == room.scope.user


def test_a_double_tap_is_one_line(client, room):
    request_id = str(uuid.uuid4())
    for _ in range(2):
        assert act(client, room, "use", quantity="4", request_id=request_id).status_code == 302
    assert held(room) == 6
    assert Movement.objects.filter(kind="use").count() == 1


def test_the_form_carries_a_new_request_each_time_it_is_opened(client, room):
    url = address(room.scope, "stock-act", room.fuse.pk)
    first, second = (client.get(url).context["form"].initial["request_id"] for _ in range(2))
    assert first != second


@pytest.mark.parametrize(
    ("do", "given", "field", "told"),
    [
        ("use", {"quantity": "11"}, "quantity", "There are 10 of FUSE30 in bin A1, not 11."),
        ("use", {"quantity": "1.5"}, "quantity", "Give a whole number."),
        ("use", {"quantity": "some"}, "quantity", "some"),
        ("use", {"quantity": ""}, "quantity", "required"),
        ("scrap", {"quantity": "1"}, "reason", "required"),
        ("move", {"quantity": "1"}, "to_bin", "required"),
    ],
)
def test_what_cannot_be_is_told_beside_its_field(client, room, do, given, field, told):
    answer = act(client, room, do, **given)
    assert answer.status_code == 422
    assert told in " ".join(answer.context["form"].errors[field])
    assert held(room) == 10


def test_moving_into_the_same_bin_is_refused(client, room):
    answer = act(client, room, "move", quantity="1", to_bin=room.shelf.pk)
    assert "Both bins are the same" in str(answer.context["form"].errors["to_bin"])


def test_a_line_is_undone_once_and_stays_in_the_ledger(client, room):
    act(client, room, "use", quantity="4")
    line = Movement.objects.get(kind="use")
    for _ in range(2):
        assert client.post(address(room.scope, "movement-undo", line.pk)).status_code == 302
    assert held(room) == 10
    assert Movement.objects.filter(part=room.fuse).count() == 3


def test_undo_never_sends_people_to_another_site(client, room):
    line = Movement.objects.get(part=room.fuse)
    answer = client.post(
        address(room.scope, "movement-undo", line.pk), {"back": "https://elsewhere.example/"}
    )
    assert answer["Location"] == address(room.scope, "part-detail", room.fuse.pk)


def test_wire_is_cut_off_a_spool_in_the_unit_a_person_types(client, room):
    answer = act(client, room, "use", room.wire, spool=room.spool.pk, quantity="10 ft")
    assert answer.status_code == 302
    assert Spool.objects.get().remaining_m == Decimal("96.952")


def test_a_spool_moves_whole(client, room):
    answer = act(client, room, "move", room.wire, spool=room.spool.pk, to_bin=room.crate.pk)
    assert answer.status_code == 302
    assert Spool.objects.get().bin == room.crate


def test_the_tab_for_wire_points_to_a_new_spool(client, room):
    text = text_of(client, address(room.scope, "stock-act", room.wire.pk) + "?do=receive")
    assert "?do=receive" not in text
    assert address(room.scope, "spool-new") in text


def test_a_spool_is_entered_once_however_often_it_is_sent(client, room):
    given = {"request_id": str(uuid.uuid4()), "code": "S2", "wire": room.wire.pk, "bin": room.shelf.pk,
             "full_length_m": "30", "remaining_m": "12.5 m"}  # fmt: skip
    for _ in range(2):
        assert client.post(address(room.scope, "spool-new"), given).status_code == 302
    assert Spool.objects.get(code="S2").remaining_m == Decimal("12.5")
    wrong = client.post(
        address(room.scope, "spool-new"), {**given, "request_id": str(uuid.uuid4()), "remaining_m": "31"}
    )
    assert wrong.status_code == 422
    assert "more than the spool's full length" in wrong.context["form"].errors["remaining_m"][0]


def test_an_auditor_neither_sees_the_form_nor_sends_it(client, room):
    client.force_login(make_scope(room.scope.team, Role.AUDITOR).user)
    assert client.get(address(room.scope, "stock-act", room.fuse.pk)).status_code == 403
    assert act(client, room, "use", quantity="1").status_code == 403
    assert held(room) == 10


def test_a_wire_type_is_entered_as_people_write_it_and_keeps_its_history(client, room):
    given = {"code": "W12R", "name": "12 red", "size_typed": "12 AWG", "insulation_class_c": "105",
             "minimum_stock": "3", "service_frac": "95 %"}  # fmt: skip
    assert client.post(address(room.scope, "part-new", kind="wire"), given).status_code == 302
    wire = WireType.objects.get(code="W12R")
    # ASTM B258: 12 AWG has a diameter of 2.053 mm, 3.31 mm2.
    assert wire.area_mm2 == pytest.approx(3.309, abs=0.002)
    assert (wire.minimum_stock, wire.service_frac, wire.unit) == (Decimal(3), 0.95, "m")
    url = address(room.scope, "part-edit", wire.pk)
    assert client.post(url, {**given, "size_typed": "10 AWG", "area_mm2": wire.area_mm2}).status_code == 302
    text = text_of(client, address(room.scope, "part-detail", wire.pk))
    assert "12 AWG → 10 AWG" in text


def test_a_wrong_part_names_each_field(client, room):
    given = {"code": "no good", "name": "", "size_typed": "fat", "insulation_class_c": "105",
             "minimum_stock": "0", "service_frac": "0.95"}  # fmt: skip
    answer = client.post(address(room.scope, "part-new", kind="wire"), given)
    assert answer.status_code == 422
    assert {"code", "name", "size_typed"} <= set(answer.context["form"].errors)
    assert client.get(address(room.scope, "part-new", kind="nonsense")).status_code == 404


def test_offers_and_suppliers_are_for_the_lead(client, room):
    supplier = Supplier.objects.create(team=room.scope.team, name="Harbour Supplies")
    given = {"supplier": supplier.pk, "price": "4.50", "pack_size": "100", "minimum_packs": "1",
             "lead_time_days": "2 weeks"}  # fmt: skip
    url = address(room.scope, "offer-new", room.fuse.pk)
    assert client.post(url, given).status_code == 403
    client.force_login(make_scope(room.scope.team, Role.LEAD).user)
    assert client.post(url, given).status_code == 302
    assert Offer.objects.get().lead_time_days == 14
    assert "Harbour Supplies, 14 days" in text_of(client, address(room.scope, "part-list"))


def test_archiving_is_for_the_lead_and_is_undone_by_the_same_button(client, room):
    url = address(room.scope, "bin-archive", room.crate.pk)
    assert client.post(url).status_code == 403
    client.force_login(make_scope(room.scope.team, Role.LEAD).user)
    for archived in (True, False):
        assert client.post(url).status_code == 302
        assert Bin.objects.get(pk=room.crate.pk).archived is archived
    assert "Archived: no → yes" in text_of(client, address(room.scope, "bin-detail", room.crate.pk))
