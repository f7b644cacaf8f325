"""Batteries as sources: which reading counts, what a battery never measured gives, and the price of a metre of wire."""

from __future__ import annotations

from datetime import UTC, date, datetime, timedelta
from decimal import Decimal
from typing import Any

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext

from inventory.models import Battery, BatteryModel, Offer, Reading, Supplier
from inventory.selectors.battery_sources import BatterySource, battery_sources
from inventory.selectors.wires import wire_choices
from shared.access import Scope
from shared.models import Role
from tests.inventory.stockroom import make_scope, make_team, make_wire

pytestmark = pytest.mark.django_db
NOON = datetime(2026, 3, 1, 12, 0, tzinfo=UTC)


@pytest.fixture
def scope() -> Scope:
    return make_scope(make_team(), Role.LEAD)


def make_battery(
    scope: Scope, code: str = "B1", *, model: dict[str, Any] | None = None, **values: Any
) -> Battery:
    given = {"name": "Block", "chemistry": "agm", "capacity_ah": 18.0, "kind": "battery"} | (model or {})
    kind, _ = BatteryModel.objects.get_or_create(team=scope.team, code="AGM", defaults=given)
    return Battery.objects.create(
        team=scope.team, code=code, model=kind, acquired_on=date(2025, 1, 1), **values
    )


def read(battery: Battery, mohm: float, method: str, days_ago: float = 0.0, **values: Any) -> Reading:
    return Reading.objects.create(
        team=battery.team, battery=battery, resistance_mohm=mohm, method=method, instrument=f"{method} meter",
        taken_at=NOON - timedelta(days=days_ago), **values,
    )  # fmt: skip


def only(scope: Scope) -> BatterySource:
    (source,) = battery_sources(scope)
    return source


def test_a_direct_current_reading_comes_before_a_later_hand_meter(scope: Scope) -> None:
    battery = make_battery(scope)
    read(battery, 12.0, "ac1k", 1)
    read(battery, 19.0, "step", 10)
    read(battery, 17.0, "pulse2", 20)
    read(battery, 16.0, "pulse2", 40)
    source = only(scope)
    assert source.internal_ohm == pytest.approx(0.017)
    assert (source.method_label, source.instrument) == ("Two-pulse DC", "pulse2 meter")
    assert source.words == "17.0 mΩ, Two-pulse DC, pulse2 meter, 2026-02-09"


def test_an_old_reading_does_not_count_for_a_battery_read_since(scope: Scope) -> None:
    battery = make_battery(scope)
    read(battery, 17.0, "pulse2", 300)
    read(battery, 22.0, "ac1k", 1)
    assert only(scope).internal_ohm == pytest.approx(0.022)
    assert only(scope).words == "22.0 mΩ, AC, 1 kHz: more under load, ac1k meter, 2026-02-28"


def test_never_measured_is_no_figure(scope: Scope) -> None:
    make_battery(scope, model={"resistance_new_mohm": 11.0})
    source = only(scope)
    assert source.internal_ohm is None
    assert source.words == "never measured"
    assert (source.polarisation_ohm, source.polarisation_s) == (None, None)


def test_full_voltage_from_the_rest_curve_else_from_the_model(scope: Scope) -> None:
    battery = make_battery(scope, model={"full_rest_v": 12.75})
    assert only(scope).open_v == 12.75
    battery.model.rest_curve = [[1.0, 12.9], [0.5, 12.3]]
    battery.model.save()
    assert only(scope).open_v == 12.9
    battery.model.rest_curve = [[0.9, 12.9], [0.5, 12.3]]
    battery.model.save()
    assert only(scope).open_v == 12.75


def test_polarisation_from_the_model_else_by_the_published_ratio(scope: Scope) -> None:
    battery = make_battery(scope)
    read(battery, 21.0, "pulse2")
    source = only(scope)
    # R10 / R00 = 1.0 / 4.2 mohm, 100 s (after SAE 2007-01-0778).
    assert source.polarisation_ohm == pytest.approx(0.005)
    assert source.polarisation_s == 100.0
    battery.model.polarisation_mohm, battery.model.polarisation_s = 8.0, 20.0
    battery.model.save()
    assert (only(scope).polarisation_ohm, only(scope).polarisation_s) == (0.008, 20.0)


def test_the_last_rest_voltage_may_come_from_another_reading(scope: Scope) -> None:
    battery = make_battery(scope)
    read(battery, 17.0, "pulse2", 5)
    read(battery, 12.0, "ac1k", 1, rest_v=12.71)
    read(battery, 12.0, "ac1k", 9, rest_v=12.9)
    assert only(scope).rest_v == 12.71


def test_state_archive_team_and_choice(scope: Scope) -> None:
    one = make_battery(scope, "B1")
    make_battery(scope, "B2", state="practice", state_reason="Old")
    make_battery(scope, "B3", archived=True)
    make_battery(make_scope(make_team(), Role.LEAD), "B4")
    assert [(s.battery.code, s.in_service) for s in battery_sources(scope)] == [("B1", True), ("B2", False)]
    assert [s.battery.code for s in battery_sources(scope, only=one.pk)] == ["B1"]


def test_two_queries_however_many(scope: Scope) -> None:
    for n in range(4):
        battery = make_battery(scope, f"B{n}")
        for day in range(5):
            read(battery, 15.0, "pulse2", day)
    with CaptureQueriesContext(connection) as seen:
        assert [s.words[:4] for s in battery_sources(scope)] == ["15.0"] * 4
    assert len(seen) == 2


def test_a_metre_costs_what_the_cheapest_offer_asks(scope: Scope) -> None:
    wire, other, gone = (make_wire(scope.team, code) for code in ("W1", "W2", "W3"))
    gone.archived = True
    gone.save()
    supplier, shut = (
        Supplier.objects.create(team=scope.team, name=name, archived=name == "Shut")
        for name in ("Quay", "Shut")
    )
    for price, pack, who, archived in (("9.00", "10", supplier, False), ("4.00", "5", supplier, False),
                                       ("1.00", "10", shut, False), ("0.50", "25", supplier, True)):  # fmt: skip
        Offer.objects.create(team=scope.team, part=wire, supplier=who, price=Decimal(price), pack_size=Decimal(pack),
                             lead_time_days=3, archived=archived)  # fmt: skip
    with CaptureQueriesContext(connection) as seen:
        found = {w.code: (w.price_per_m, w.supplier) for w in wire_choices(scope)}
    assert found == {"W1": (Decimal("0.8"), "Quay"), other.code: (None, "")}
    assert len(seen) == 2
