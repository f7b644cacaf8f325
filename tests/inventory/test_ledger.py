"""The ledger: lines, totals, refusals, repeated requests, corrections."""

from __future__ import annotations

import uuid
from datetime import timedelta
from decimal import Decimal

import pytest
from django.db import IntegrityError, connection, transaction
from django.db.models import ProtectedError
from django.utils import timezone

from inventory.models import Movement, MovementKind, Spool, StockItem
from inventory.services.ledger import (
    movement_reverse,
    stock_count,
    stock_move,
    stock_receive,
    stock_return,
    stock_scrap,
    stock_use,
)
from inventory.services.spools import spool_create, spool_move
from shared.errors import Conflict, DomainError, NotAllowed, NotEnoughStock
from shared.models import JobRun, Role, User
from tests.inventory.stockroom import Room, make_part, make_room, make_team

pytestmark = pytest.mark.django_db


@pytest.fixture
def room() -> Room:
    return make_room()


def amounts(lines):
    return [(m.quantity, m.balance) for m in lines]


def held(room, bin):
    return StockItem.objects.get(part=room.fuse, bin=bin).quantity


def receive(room, quantity, **more):
    return stock_receive(scope=room.scope, part=room.fuse, bin=room.shelf, quantity=quantity, **more)


def test_each_kind_of_movement_changes_the_total_and_leaves_a_line(room):
    common = {"scope": room.scope, "part": room.fuse, "bin": room.shelf}
    lines = [
        stock_receive(**common, quantity=20),
        stock_use(**common, quantity=7, reason="drive"),
        stock_return(**common, quantity=2),
        stock_scrap(**common, quantity=1, reason="bent"),
        stock_count(**common, quantity=12),
    ]
    assert amounts(lines) == [(20, 20), (-7, 13), (2, 15), (-1, 14), (-2, 12)]
    assert held(room, room.shelf) == 12
    assert {m.by for m in lines} == {room.scope.user}


def test_a_count_that_agrees_is_a_line_of_nothing(room):
    receive(room, 5)
    line = stock_count(scope=room.scope, part=room.fuse, bin=room.shelf, quantity=5)
    assert amounts([line]) == [(0, 5)]


def test_taking_more_than_there_is_names_what_there_is_and_where_more_lies(room):
    receive(room, 3)
    stock_receive(scope=room.scope, part=room.fuse, bin=room.crate, quantity=4)
    with pytest.raises(NotEnoughStock) as refused:
        stock_use(scope=room.scope, part=room.fuse, bin=room.shelf, quantity=5)
    assert "There are 3 of FUSE30 in bin A1, not 5" in refused.value.sentence
    assert "4 in CRATE" in refused.value.sentence
    assert held(room, room.shelf) == 3
    assert Movement.objects.filter(part=room.fuse).count() == 2


def test_taking_from_a_bin_where_it_never_lay_leaves_nothing_behind(room):
    with pytest.raises(NotEnoughStock):
        stock_use(scope=room.scope, part=room.fuse, bin=room.crate, quantity=1)
    assert not StockItem.objects.filter(part=room.fuse).exists()


@pytest.mark.parametrize(
    ("quantity", "said"),
    [
        (Decimal("1.5"), "whole number"),
        (0, "more than 0"),
        (-3, "more than 0"),
        (Decimal("NaN"), "not a quantity"),
        (10**9, "not a quantity"),
    ],
)
def test_a_quantity_that_cannot_be_is_refused_in_a_sentence(room, quantity, said):
    with pytest.raises(DomainError, match=said) as refused:
        receive(room, quantity)
    assert refused.value.field == "quantity"


def test_the_future_is_refused(room):
    with pytest.raises(DomainError, match="future"):
        receive(room, 1, at=timezone.now() + timedelta(hours=1))


def test_the_same_request_twice_is_one_line(room):
    request = uuid.uuid4()
    first = receive(room, 5, request_id=request)
    second = receive(room, 5, request_id=request)
    assert first.pk == second.pk
    assert held(room, room.shelf) == 5


@pytest.mark.parametrize("change", [{"quantity": 6}, {"reason": "other"}, {"bin": "crate"}])
def test_one_request_id_for_two_different_movements_is_a_conflict(room, change):
    request = uuid.uuid4()
    receive(room, 5, request_id=request)
    again = {"part": room.fuse, "bin": room.shelf, "quantity": 5, **change}
    if again["bin"] == "crate":
        again["bin"] = room.crate
    with pytest.raises(Conflict, match="already used"):
        stock_receive(scope=room.scope, request_id=request, **again)
    assert held(room, room.shelf) == 5


def test_a_move_is_two_lines_of_one_group_and_can_be_repeated(room):
    receive(room, 5)
    request = uuid.uuid4()
    move = {"scope": room.scope, "part": room.fuse, "bin": room.shelf, "to_bin": room.crate, "quantity": 2}
    out, into = stock_move(**move, request_id=request)
    assert stock_move(**move, request_id=request) == (out, into)
    assert amounts([out, into]) == [(-2, 3), (2, 2)]
    assert out.group == into.group
    assert (held(room, room.shelf), held(room, room.crate)) == (3, 2)


def test_a_move_of_too_many_moves_nothing(room):
    receive(room, 1)
    with pytest.raises(NotEnoughStock):
        stock_move(scope=room.scope, part=room.fuse, bin=room.shelf, to_bin=room.crate, quantity=2)
    assert held(room, room.shelf) == 1
    assert not StockItem.objects.filter(bin=room.crate).exists()


@pytest.mark.parametrize(
    ("act", "undone_as"),
    [
        (stock_use, MovementKind.RETURN),
        (stock_return, MovementKind.USE),
        (stock_receive, MovementKind.COUNT),
        (stock_count, MovementKind.COUNT),
    ],
)
def test_undo_is_a_new_line_and_undoing_twice_undoes_once(room, act, undone_as):
    receive(room, 9)
    line = act(scope=room.scope, part=room.fuse, bin=room.shelf, quantity=4)
    made = movement_reverse(scope=room.scope, movement=line, reason="wrong bin")
    again = movement_reverse(scope=room.scope, movement=line, reason="pressed twice")
    assert [m.kind for m in made] == [undone_as]
    assert made == again
    assert held(room, room.shelf) == 9


def test_undoing_a_move_carries_it_back_and_the_undo_can_be_undone(room):
    receive(room, 5)
    out, into = stock_move(scope=room.scope, part=room.fuse, bin=room.shelf, to_bin=room.crate, quantity=2)
    back = movement_reverse(scope=room.scope, movement=into)
    assert movement_reverse(scope=room.scope, movement=out) == back
    assert (held(room, room.shelf), held(room, room.crate)) == (5, 0)
    movement_reverse(scope=room.scope, movement=back[0])
    assert (held(room, room.shelf), held(room, room.crate)) == (3, 2)


def test_what_was_used_up_since_cannot_be_un_received(room):
    line = receive(room, 5)
    stock_use(scope=room.scope, part=room.fuse, bin=room.shelf, quantity=2)
    with pytest.raises(NotEnoughStock):
        movement_reverse(scope=room.scope, movement=line)
    assert held(room, room.shelf) == 3


def test_wire_is_cut_from_a_spool_and_the_rest_goes_back(room):
    wire = {"scope": room.scope, "part": room.wire, "bin": room.shelf, "spool": room.spool}
    stock_use(**wire, quantity=Decimal("12.5"))
    stock_return(**wire, quantity=Decimal("0.25"))
    room.spool.refresh_from_db()
    assert room.spool.remaining_m == Decimal("87.750")
    with pytest.raises(Conflict, match=r"At most 12.25 m can go back"):
        stock_return(**wire, quantity=13)


def test_wire_without_a_spool_and_a_spool_of_another_place_are_refused(room):
    with pytest.raises(DomainError, match="kept on spools"):
        stock_use(scope=room.scope, part=room.wire, bin=room.shelf, quantity=1)
    with pytest.raises(DomainError, match="It lies in A1"):
        stock_use(scope=room.scope, part=room.wire, bin=room.crate, spool=room.spool, quantity=1)


def test_a_spool_moves_whole(room):
    request = uuid.uuid4()
    for _ in range(2):
        spool_move(scope=room.scope, spool=room.spool, to_bin=room.crate, request_id=request)
    lines = Movement.objects.filter(spool=room.spool, kind="move").order_by("quantity")
    assert [m.bin.code for m in lines] == ["A1", "CRATE"]
    assert amounts(lines) == [(-100, 0), (100, 100)]
    with pytest.raises(Conflict, match="moved out of A1 meanwhile"):
        stock_use(scope=room.scope, part=room.wire, bin=room.shelf, spool=room.spool, quantity=1)


def test_saving_an_old_copy_of_a_spool_leaves_its_length_alone(room):
    stale = Spool.objects.get(pk=room.spool.pk)
    stock_use(scope=room.scope, part=room.wire, bin=room.shelf, spool=room.spool, quantity=40)
    stale.code = "S1-RED"
    stale.save()
    room.spool.refresh_from_db()
    assert (room.spool.code, room.spool.remaining_m) == ("S1-RED", 60)


def test_a_part_used_spool_and_its_request_sent_twice(room):
    request = uuid.uuid4()
    given = {"code": "S2", "wire": room.wire, "bin": room.shelf, "full_length_m": Decimal(50)}
    for _ in range(2):
        spool = spool_create(scope=room.scope, **given, remaining_m=Decimal("8.125"), request_id=request)
    assert spool.remaining_m == Decimal("8.125")
    assert Movement.objects.get(spool=spool).quantity == Decimal("8.125")


def test_an_auditor_reads_only(room):
    auditor = make_room(Role.AUDITOR)
    with pytest.raises(NotAllowed):
        receive(auditor, 1)


def test_a_part_of_another_team_is_refused(room):
    other = make_part(make_team(), "X")
    with pytest.raises(Conflict, match="another team"):
        stock_receive(scope=room.scope, part=other, bin=room.shelf, quantity=1)


def test_an_archived_bin_takes_nothing_in_but_can_be_emptied(room):
    receive(room, 2)
    room.shelf.archived = True
    room.shelf.save()
    with pytest.raises(DomainError, match="A1 is archived"):
        receive(room, 1)
    stock_move(scope=room.scope, part=room.fuse, bin=room.shelf, to_bin=room.crate, quantity=2)
    assert held(room, room.crate) == 2


def test_a_movement_sets_off_the_stock_sweep(room):
    JobRun.objects.all().delete()
    receive(room, 1)
    assert [run.name for run in JobRun.objects.all()] == ["sweep.stock"]


def test_the_models_refuse_to_change_or_delete_a_line(room):
    line = receive(room, 1)
    line.quantity = Decimal(9)
    for act in (
        line.save,
        line.delete,
        Movement.objects.all().delete,
        lambda: Movement.objects.update(quantity=9),
    ):
        with pytest.raises(Conflict, match="append-only"):
            act()
    with pytest.raises(ProtectedError):
        room.scope.team.delete()


def raw(sql: str) -> None:
    with transaction.atomic(), connection.cursor() as cursor:
        cursor.execute(sql)


@pytest.mark.parametrize(
    "column", ["quantity = 99", "balance = 99", "reason = 'x'", "kind = 'use'", "id = -1"]
)
def test_the_database_refuses_to_change_a_line(room, column):
    receive(room, 1)
    with pytest.raises(IntegrityError, match="append-only"):
        raw(f"UPDATE inventory_movement SET {column}")


def test_the_database_lets_an_author_go_but_not_be_exchanged(room):
    line = receive(room, 1)
    other = User.objects.create(username="other")
    with pytest.raises(IntegrityError, match="append-only"):
        raw(f"UPDATE inventory_movement SET by_id = {other.pk}")
    room.scope.user.delete()
    line.refresh_from_db()
    assert line.by is None


@pytest.mark.postgres
def test_postgresql_refuses_to_delete_a_line(room):
    receive(room, 1)
    with pytest.raises(IntegrityError, match="append-only"):
        raw("DELETE FROM inventory_movement")


def test_totals_equal_the_sum_of_the_lines_after_decimals_that_binary_cannot_hold(room):
    tube = make_part(room.scope.team, "TUBE", unit="m")
    at = {"scope": room.scope, "part": tube, "bin": room.shelf}
    stock_receive(**at, quantity=Decimal("0.3"))
    stock_use(**at, quantity=Decimal("0.1"))
    stock_use(**at, quantity=Decimal("0.2"))
    assert StockItem.objects.get(part=tube).quantity == 0
    assert sum(Movement.objects.filter(part=tube).values_list("quantity", flat=True)) == 0
