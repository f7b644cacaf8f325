"""Helpers for the page and API tests: a team with a lead signed in, addresses, batteries, query counts."""

from __future__ import annotations

from datetime import UTC, date, datetime, timedelta
from decimal import Decimal
from typing import Any

from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext
from django.urls import reverse

from inventory.models import Battery, BatteryModel, Method, Movement, Offer, Reading, Supplier
from inventory.services.ledger import stock_receive
from inventory.services.spools import spool_create
from shared.access import Scope, system_scope
from tests.inventory.stockroom import Room, make_part

DAY = datetime(2026, 3, 2, 9, tzinfo=UTC)


def address(scope: Scope, name: str, pk: int | None = None, **more: Any) -> str:
    kwargs = {"team": scope.team.slug, **({} if pk is None else {"pk": pk}), **more}
    return reverse(name, kwargs=kwargs)


def text_of(client: Client, url: str) -> str:
    answer = client.get(url)
    assert answer.status_code == 200, (url, answer.status_code)
    return answer.content.decode()


def make_battery(scope: Scope, code: str = "B01", readings: int = 0) -> Battery:
    model, _ = BatteryModel.objects.get_or_create(
        team=scope.team,
        code="M18",
        defaults={
            "name": "12 V 18 Ah",
            "kind": "battery",
            "chemistry": "agm",
            "capacity_ah": 18.0,
            "end_v": 10.5,
        },
    )
    battery = Battery.objects.create(
        team=scope.team, code=code, model=model, acquired_on=date(2026, 1, 5), cycles_at_intake=20
    )
    for i in range(readings):
        Reading.objects.create(
            team=scope.team, battery=battery, taken_at=DAY + timedelta(days=14 * i), resistance_mohm=14.0 + 0.02 * i,
            method=Method.AC_1KHZ, instrument="Meter A", rest_v=12.95, rest_h=6, temperature_c=21,
        )  # fmt: skip
    return battery


def fill(room: Room, first: int, last: int) -> None:
    """Parts with stock, offers and lines, spools and batteries, numbered first to last."""
    scope = system_scope(room.scope.team)
    supplier, _ = Supplier.objects.get_or_create(team=scope.team, name="Harbour Supplies")
    for i in range(first, last + 1):
        part = make_part(scope.team, f"P{i:02}", minimum_stock=Decimal(5))
        stock_receive(scope=scope, part=part, bin=room.shelf, quantity=3)
        Offer.objects.create(
            team=scope.team, part=part, supplier=supplier, price=Decimal("2.50"), lead_time_days=4
        )
        spool_create(scope=scope, code=f"SP{i:02}", wire=room.wire, bin=room.shelf, full_length_m=Decimal(20))
        Supplier.objects.create(team=scope.team, name=f"Supplier {i:02}")
        type(room.shelf).objects.create(team=scope.team, code=f"BIN{i:02}")
        make_battery(scope, f"B{i:02}", readings=6)


def queries(client: Any, url: str) -> int:
    with CaptureQueriesContext(
        connection,
    ) as caught:
        assert client.get(url).status_code == 200
    return len(caught)


def lines(scope: Scope) -> list[Movement]:
    return list(scope.rows(Movement).order_by("pk"))
