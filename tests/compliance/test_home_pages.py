"""Home: each role finds its own day; a new team finds a beginning."""

from __future__ import annotations

from datetime import timedelta
from decimal import Decimal
from types import SimpleNamespace

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext
from django.urls import reverse
from django.utils import timezone

from inventory.models import BatteryState, Bin, Charge, Charger, Offer, Supplier
from inventory.services.ledger import stock_receive
from shared.models import Membership, Role
from tests.builds.workshop import make_build, make_circuit, make_event, make_workshop
from tests.compliance.flagged import make_battery, make_flag, make_waiver
from tests.inventory.stockroom import make_part, make_scope, make_team

pytestmark = pytest.mark.django_db


def page(client, scope):
    return client.get(reverse("team-home", kwargs={"team": scope.team.slug}))


def signed_in(client, role: str, team=None):
    scope = make_scope(team or make_team(), role)
    client.force_login(scope.user)
    return scope


@pytest.mark.parametrize("role", Role.values)
def test_a_new_team_is_told_how_to_begin(client, role):
    scope = signed_in(client, role)
    text = page(client, scope).content.decode()
    assert "has nothing entered yet" in text
    assert ("Import a workbook" in text) == (role in (Role.LEAD, Role.MENTOR))


def test_the_pit_sees_which_batteries_go_out(client):
    scope = signed_in(client, Role.MEMBER)
    fit, tired, watched, waived, charging = (make_battery(scope.team, f"GP-0{n}") for n in range(1, 6))
    make_battery(scope.team, "GP-06", state=BatteryState.QUARANTINE, state_reason="dropped on its corner")
    make_battery(scope.team, "GP-07", state=BatteryState.RETIRED, state_reason="old")
    make_flag(scope.team, subject_id=tired.pk, severity="stop", message="It must not go out again.")
    make_flag(scope.team, subject_id=watched.pk, severity="watch")
    make_waiver(make_flag(scope.team, subject_id=waived.pk, severity="stop"))
    unread = make_battery(scope.team, "GP-08")
    make_flag(scope.team, subject_id=unread.pk, severity="unknown", message="No readings.")
    charger = Charger.objects.create(team=scope.team, name="1")
    Charge.objects.create(team=scope.team, battery=charging, charger=charger, started_at=timezone.now())
    answer = page(client, scope)
    board = answer.context["board"]
    assert [row.battery for row in board.fit] == [fit, watched, waived]
    assert [row.battery for row in board.charging] == [charging]
    # A battery that cannot be judged is never shown as fit.
    assert [held.row.battery for held in board.unjudged] == [unread]
    assert [(held.row.battery.code, held.why) for held in board.held] == [
        ("GP-02", "It must not go out again."),
        ("GP-06", "Quarantined: dropped on its corner"),
    ]
    assert "3 batteries are fit to go out, 2 are not." in answer.content.decode()


def make_shortage(shop, code: str, supplier, *, lead_days: int, needed: int = 4):
    """A part that the build of a robot lacks, sold with that lead time."""
    part = make_part(shop.team, code)
    Offer.objects.create(team=shop.team, part=part, supplier=supplier, price=Decimal("2.50"),
                         pack_size=Decimal(10), lead_time_days=lead_days)  # fmt: skip
    shop.build.lines.create(team=shop.team, part=part, quantity=Decimal(needed))
    return part


@pytest.fixture
def short(client):
    """A workshop with an event in twelve days, goods due in nine, and a build that lacks nothing yet."""
    shop = make_workshop(Role.LEAD)
    client.force_login(shop.scope.user)
    build, today = make_build(shop), timezone.localdate()
    make_event(shop, "Estuary Open", today + timedelta(days=12), [build.robot],
               goods_by=today + timedelta(days=9))  # fmt: skip
    return SimpleNamespace(shop=shop, team=shop.team, scope=shop.scope, build=build)


def test_the_lead_sees_orders_by_the_last_day_to_place_them(client, short):
    supplier = Supplier.objects.create(team=short.team, name="Harbour Electric")
    slow = make_shortage(short, "SLOW", supplier, lead_days=8)
    quick = make_shortage(short, "QUICK", supplier, lead_days=2)
    late = make_shortage(short, "LATE", supplier, lead_days=30)
    unsold = make_part(short.team, "UNSOLD")
    short.build.lines.create(team=short.team, part=unsold, quantity=Decimal(1))
    answer = page(client, short.scope)
    orders, today = answer.context["orders"], timezone.localdate()
    assert [(day.too_late, day.day, [o.part.code for o in day.orders]) for day in orders.days] == [
        (True, today - timedelta(days=21), [late.code]),
        (False, today + timedelta(days=1), [slow.code]),
        (False, today + timedelta(days=7), [quick.code]),
    ]
    assert [case.part.code for case in orders.unsold] == ["UNSOLD"]
    assert orders.days[0].cost == Decimal("2.50")
    text = answer.content.decode()
    assert "3 orders to place before Estuary Open." in text
    assert "1 pack of 10 from Harbour Electric" in text


def test_what_is_in_stock_needs_no_order(client, short):
    supplier = Supplier.objects.create(team=short.team, name="Harbour Electric")
    part = make_shortage(short, "TIE", supplier, lead_days=2, needed=4)
    shelf = Bin.objects.create(team=short.team, code="A1", name="Shelf")
    stock_receive(scope=short.scope, part=part, bin=shelf, quantity=Decimal(4))
    assert page(client, short.scope).context["orders"].count == 0


def test_the_countdown_names_event_and_day_of_goods(client, short):
    text = page(client, short.scope).content.decode()
    assert '<span class="big-fig">12</span> days to' in text
    assert "Goods must be here in 9 days" in text


def test_the_mentor_sees_which_team_needs_a_visit(client):
    calm, busy = make_team("Calm Water"), make_team("Rough Water")
    scope = signed_in(client, Role.MENTOR, calm)
    Membership.objects.create(team=busy, user=scope.user, role=Role.MENTOR)
    read_only = make_team("Only Read")
    Membership.objects.create(team=read_only, user=scope.user, role=Role.AUDITOR)
    make_battery(calm, "C1")
    make_flag(calm, severity="watch")
    make_flag(busy, severity="stop", message="Replace the main breaker.")
    make_waiver(make_flag(busy, severity="stop"))
    answer = page(client, scope)
    assert [line.membership.team for line in answer.context["lines"]] == [busy, calm]
    assert answer.context["lines"][0].counts == {"stop": 1, "fix": 0, "unknown": 0, "watch": 0}
    text = answer.content.decode()
    assert "Rough Water needs a visit first: 1 to stop, 0 to fix." in text
    assert "Replace the main breaker." in text


def test_flags_of_the_team_are_on_every_home(client):
    scope = signed_in(client, Role.AUDITOR)
    make_battery(scope.team, "GP-01")
    make_flag(scope.team, message="Resistance rose.")
    text = page(client, scope).content.decode()
    assert "1 flag to look at." in text
    assert "Resistance rose." in text


def test_an_empty_list_of_flags_says_so(client):
    scope = signed_in(client, Role.AUDITOR)
    make_battery(scope.team, "GP-01")
    assert "No flag is open." in page(client, scope).content.decode()


def queries_of(client, scope) -> int:
    page(client, scope)
    with CaptureQueriesContext(connection) as queries:
        page(client, scope)
    return len(queries)


def test_the_pit_page_asks_as_often_for_fifty_batteries_as_for_two(client):
    scope = signed_in(client, Role.MEMBER)
    counts = []
    for numbers in (range(2), range(2, 50)):
        for n in numbers:
            battery = make_battery(scope.team, f"B{n}")
            make_flag(scope.team, subject_id=battery.pk)
        counts.append(queries_of(client, scope))
    assert counts[0] == counts[1]


def test_the_lead_page_asks_as_often_for_fifty_shortages_as_for_two(client, short):
    supplier = Supplier.objects.create(team=short.team, name="Harbour Electric")
    counts = []
    for numbers in (range(2), range(2, 50)):
        for n in numbers:
            make_shortage(short, f"P{n}", supplier, lead_days=n % 9)
            make_circuit(short.shop, short.build, f"C{n}")
        counts.append(queries_of(client, short.scope))
    assert counts[0] == counts[1]


def test_the_mentor_page_asks_as_often_for_ten_teams_as_for_two(client):
    scope = signed_in(client, Role.MENTOR)
    make_battery(scope.team, "B1")
    counts = []
    for number in (1, 8):
        for _ in range(number):
            team = make_team()
            Membership.objects.create(team=team, user=scope.user, role=Role.MENTOR)
            make_flag(team, severity="stop")
        counts.append(queries_of(client, scope))
    assert counts[0] == counts[1]
