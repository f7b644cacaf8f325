"""People who act in the same second, on PostgreSQL, with real threads and connections."""

from __future__ import annotations

import threading
import uuid
from collections import Counter
from collections.abc import Callable, Sequence

import pytest
from django.db import connections

from inventory.models import Movement, Spool, StockItem
from inventory.services.ledger import stock_count, stock_move, stock_receive, stock_use
from shared.errors import NotEnoughStock
from tests.inventory.stockroom import Room, make_room

pytestmark = [pytest.mark.postgres, pytest.mark.django_db(transaction=True)]


def together(acts: Sequence[Callable[[], object]]) -> Counter[str]:
    """Run every act in its own thread, released by one barrier; returns how many ended how."""
    barrier = threading.Barrier(len(acts))
    ends: list[str] = []

    def run(act: Callable[[], object]) -> None:
        try:
            barrier.wait(timeout=20)
            act()
            ends.append("done")
        except Exception as error:
            ends.append(type(error).__name__)
        finally:
            connections.close_all()

    threads = [threading.Thread(target=run, args=[act]) for act in acts]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join(timeout=60)
    assert len(ends) == len(acts)
    return Counter(ends)


def room_with(pieces: int) -> Room:
    room = make_room()
    stock_receive(scope=room.scope, part=room.fuse, bin=room.shelf, quantity=pieces)
    return room


def total(room: Room, bin_code: str = "A1") -> int:
    return int(StockItem.objects.get(part=room.fuse, bin__code=bin_code).quantity)


def line_sum(room: Room, bin_code: str = "A1") -> int:
    lines = Movement.objects.filter(part=room.fuse, bin__code=bin_code)
    return int(sum(lines.values_list("quantity", flat=True)))


@pytest.mark.parametrize(("people", "pieces"), [(2, 1), (8, 1), (8, 5), (8, 8)])
def test_exactly_as_many_get_the_last_pieces_as_there_are(people, pieces):
    room = room_with(pieces)

    def take() -> None:
        stock_use(scope=room.scope, part=room.fuse, bin=room.shelf, quantity=1)

    ends = together([take] * people)
    assert ends["done"] == pieces
    assert ends["NotEnoughStock"] == people - pieces
    assert total(room) == line_sum(room) == 0
    balances = Movement.objects.filter(part=room.fuse, kind="use").values_list("balance", flat=True)
    assert sorted(balances) == list(range(pieces))


def test_uneven_takes_never_go_below_zero_and_lose_nothing():
    room = room_with(10)

    def take(quantity: int) -> Callable[[], object]:
        return lambda: stock_use(scope=room.scope, part=room.fuse, bin=room.shelf, quantity=quantity)

    ends = together([take(q) for q in (4, 4, 4, 3, 3, 2, 2, 1)])
    assert set(ends) <= {"done", "NotEnoughStock"}
    assert ends["NotEnoughStock"] >= 1
    assert total(room) == line_sum(room) >= 0


def test_two_people_cut_the_same_spool():
    room = room_with(1)

    def cut() -> None:
        stock_use(scope=room.scope, part=room.wire, bin=room.shelf, spool=room.spool, quantity=30)

    ends = together([cut] * 8)
    assert ends == Counter(done=3, NotEnoughStock=5)
    assert Spool.objects.get(pk=room.spool.pk).remaining_m == 10


def test_receiving_and_taking_at_once_add_up():
    room = room_with(20)
    acts: list[Callable[[], object]] = []
    for _ in range(4):
        acts.append(lambda: stock_use(scope=room.scope, part=room.fuse, bin=room.shelf, quantity=2))
        acts.append(lambda: stock_receive(scope=room.scope, part=room.fuse, bin=room.shelf, quantity=3))
    assert together(acts) == Counter(done=8)
    assert total(room) == line_sum(room) == 24


def test_first_pieces_of_a_part_received_by_two_at_once_share_one_total():
    room = make_room()
    acts = [lambda: stock_receive(scope=room.scope, part=room.fuse, bin=room.crate, quantity=1)] * 8
    assert together(acts) == Counter(done=8)
    assert total(room, "CRATE") == 8


def test_crossing_moves_do_not_deadlock():
    room = room_with(40)
    stock_receive(scope=room.scope, part=room.fuse, bin=room.crate, quantity=40)

    def carry(there: bool) -> Callable[[], object]:
        ends = (room.shelf, room.crate) if there else (room.crate, room.shelf)

        def act() -> None:
            for _ in range(5):
                stock_move(scope=room.scope, part=room.fuse, bin=ends[0], to_bin=ends[1], quantity=1)

        return act

    assert together([carry(i % 2 == 0) for i in range(8)]) == Counter(done=8)
    assert (total(room), total(room, "CRATE")) == (40, 40)


def test_a_count_beside_takes_agrees_with_the_lines():
    room = room_with(10)
    acts: list[Callable[[], object]] = [
        lambda: stock_use(scope=room.scope, part=room.fuse, bin=room.shelf, quantity=1)
    ] * 4
    acts += [lambda: stock_count(scope=room.scope, part=room.fuse, bin=room.shelf, quantity=9)] * 4
    assert together(acts) == Counter(done=8)
    assert total(room) == line_sum(room)


def test_one_request_sent_eight_times_at_once_is_one_line():
    room = room_with(10)
    request = uuid.uuid4()

    def take() -> None:
        stock_use(scope=room.scope, part=room.fuse, bin=room.shelf, quantity=3, request_id=request)

    assert together([take] * 8) == Counter(done=8)
    assert total(room) == 7
    assert Movement.objects.filter(request_id=request).count() == 1


def test_the_last_piece_is_refused_in_a_sentence_to_the_one_who_was_late():
    room = room_with(1)
    stock_use(scope=room.scope, part=room.fuse, bin=room.shelf, quantity=1)
    with pytest.raises(NotEnoughStock, match="There are 0 of FUSE30 in bin A1, not 1"):
        stock_use(scope=room.scope, part=room.fuse, bin=room.shelf, quantity=1)
