"""Whatever is done in whatever order: the totals are the sums of the lines and never below zero."""

from __future__ import annotations

from collections import defaultdict
from decimal import Decimal

import pytest
from django.db import connection, transaction
from hypothesis import settings
from hypothesis import strategies as st
from hypothesis.stateful import RuleBasedStateMachine, invariant, rule, run_state_machine_as_test

from inventory.models import Movement, Spool, StockItem
from inventory.services.ledger import (
    movement_reverse,
    stock_count,
    stock_move,
    stock_receive,
    stock_return,
    stock_scrap,
    stock_use,
)
from inventory.services.spools import spool_move
from shared.errors import Conflict
from tests.inventory.stockroom import make_part, make_room

LENGTHS = st.decimals(min_value=Decimal("0.001"), max_value=Decimal(60), places=3)
COUNTS = st.integers(min_value=1, max_value=12)


class Stockroom(RuleBasedStateMachine):
    def __init__(self) -> None:
        super().__init__()
        self.example = transaction.atomic()
        self.example.__enter__()
        self.room = make_room()
        self.tube = make_part(self.room.scope.team, "TUBE", unit="m")
        self.expected: dict[tuple[int, int], Decimal] = defaultdict(Decimal)

    def teardown(self):
        transaction.set_rollback(True)
        self.example.__exit__(None, None, None)

    def bin(self, crate: bool):
        return self.room.crate if crate else self.room.shelf

    @rule(
        act=st.sampled_from([stock_receive, stock_use, stock_return, stock_scrap]),
        n=COUNTS,
        crate=st.booleans(),
    )
    def counted(self, act, n, crate):
        self.attempt(act, self.room.fuse, crate, Decimal(n))

    @rule(act=st.sampled_from([stock_receive, stock_use, stock_return]), length=LENGTHS, crate=st.booleans())
    def by_the_metre(self, act, length, crate):
        self.attempt(act, self.tube, crate, length)

    def attempt(self, act, part, crate, quantity):
        """Our own sum decides whether the ledger should agree."""
        key = (part.pk, self.bin(crate).pk)
        sign = -1 if act in (stock_use, stock_scrap) else 1
        possible = self.expected[key] + sign * quantity >= 0
        try:
            act(scope=self.room.scope, part=part, bin=self.bin(crate), quantity=quantity, reason="test")
        except Conflict:
            assert not possible
        else:
            assert possible
            self.expected[key] += sign * quantity

    @rule(n=COUNTS, crate=st.booleans())
    def count(self, n, crate):
        stock_count(scope=self.room.scope, part=self.room.fuse, bin=self.bin(crate), quantity=n)
        self.expected[self.room.fuse.pk, self.bin(crate).pk] = Decimal(n)

    @rule(length=LENGTHS, crate=st.booleans())
    def move(self, length, crate):
        here, there = (self.tube.pk, self.bin(crate).pk), (self.tube.pk, self.bin(not crate).pk)
        try:
            stock_move(
                scope=self.room.scope,
                part=self.tube,
                bin=self.bin(crate),
                to_bin=self.bin(not crate),
                quantity=length,
            )
        except Conflict:
            assert self.expected[here] < length
        else:
            self.expected[here] -= length
            self.expected[there] += length

    @rule(length=LENGTHS, back=st.booleans())
    def spool(self, length, back):
        spool = Spool.objects.get(pk=self.room.spool.pk)
        room_left = spool.full_length_m - spool.remaining_m if back else spool.remaining_m
        act = stock_return if back else stock_use
        try:
            act(scope=self.room.scope, part=self.room.wire, bin=spool.bin, spool=spool, quantity=length)
        except Conflict:
            assert room_left < length
        else:
            assert room_left >= length

    @rule()
    def carry_the_spool(self):
        spool = Spool.objects.get(pk=self.room.spool.pk)
        spool_move(scope=self.room.scope, spool=spool, to_bin=self.bin(spool.bin == self.room.shelf))

    @rule(which=st.integers(min_value=0, max_value=40))
    def undo(self, which):
        lines = list(Movement.objects.filter(spool=None).exclude(quantity=0).order_by("pk"))
        if lines:
            line = lines[which % len(lines)]
            before = Movement.objects.count()
            try:
                made = movement_reverse(scope=self.room.scope, movement=line)
            except Conflict:
                return
            if Movement.objects.count() > before:
                for back in made:
                    self.expected[back.part_id, back.bin_id] += back.quantity

    @invariant()
    def totals_are_the_sums_of_the_lines(self):
        sums: dict[tuple[int, int, int | None], Decimal] = defaultdict(Decimal)
        for line in Movement.objects.all():
            sums[line.part_id, line.bin_id, line.spool_id] += line.quantity
            assert line.balance >= 0
        for item in StockItem.objects.all():
            assert item.quantity == sums[item.part_id, item.bin_id, None] >= 0
            assert item.quantity == self.expected[item.part_id, item.bin_id]
        for spool in Spool.objects.all():
            assert 0 <= spool.remaining_m == sums[spool.wire_id, spool.bin_id, spool.pk]

    @invariant()
    def the_database_compares_what_it_stored_exactly(self):
        for item in StockItem.objects.filter(quantity__gt=0):
            assert StockItem.objects.filter(pk=item.pk, quantity=item.quantity).exists(), connection.vendor


@pytest.mark.django_db
def test_totals_are_sums_after_any_sequence_of_movements():
    run_state_machine_as_test(
        Stockroom, settings=settings(max_examples=15, stateful_step_count=25, deadline=None)
    )
