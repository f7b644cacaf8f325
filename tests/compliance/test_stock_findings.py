"""Stock verdicts as findings: rules, packs, workings and queries."""

from __future__ import annotations

from datetime import UTC, date, datetime, timedelta
from decimal import Decimal
from typing import Any

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext

from compliance.models import RulePack, RuleSetting
from compliance.rules.base import Finding
from compliance.rules.stock import RULES
from compliance.sweeps.stock import findings
from inventory.models import Bin, Offer, Supplier
from inventory.services.ledger import stock_receive
from tests.builds.workshop import Workshop, make_build, make_circuit, make_event, make_robot, make_workshop

pytestmark = pytest.mark.django_db

NOW = datetime(2026, 11, 25, 12, 0, tzinfo=UTC)
TODAY = date(2026, 11, 25)


def lacking_three(days: int = 12) -> Workshop:
    """Three fuses lacking on the robot that goes in ``days``, and none on the shelf."""
    shop = make_workshop()
    robot = make_robot(shop)
    build = make_build(shop, robot)
    for i in range(3):
        make_circuit(shop, build, f"C{i}", wired=False, device_fitted=False)
    make_event(shop, "Winter regional", TODAY + timedelta(days=days), [robot])
    return shop


def offer(shop: Workshop, lead: int) -> None:
    supplier = Supplier.objects.create(team=shop.team, name="Harbour Electric")
    Offer.objects.create(
        team=shop.team, part=shop.fuse, supplier=supplier, lead_time_days=lead, price=Decimal(2), pack_size=10
    )


def pack(shop: Workshop, rule: str, *, enabled: bool = True, severity: str = "", **limits: Any) -> None:
    made, _ = RulePack.objects.get_or_create(team=shop.team, name="Ours", season=None)
    RuleSetting.objects.create(
        team=shop.team, pack=made, rule_code=rule, enabled=enabled, severity=severity, limits=limits
    )


def found(*shops: Workshop) -> dict[tuple[int, str], Finding]:
    """Findings on the fuse by team and rule."""
    rows, _ = findings([shop.team.pk for shop in shops], now=NOW)
    fuses = {shop.fuse.pk for shop in shops}
    return {(f.team_id, f.rule_code): f for f in rows if f.subject_id in fuses}


def only(shop: Workshop) -> Finding:
    ((_, flag),) = found(shop).items()
    return flag


def test_short_and_orderable_says_what_when_and_how_it_was_reckoned():
    shop = lacking_three()
    offer(shop, lead=5)
    flag = only(shop)
    assert (flag.rule_code, flag.severity, flag.subject_kind, flag.subject_label) == (
        "stock-short", "watch", "part", "F30",
    )  # fmt: skip
    assert (flag.value, flag.limit) == (0, 3)
    steps = {s["label"]: s["result"] for s in flag.working["steps"]}
    assert steps["Lacking on current builds"] == "3"
    assert steps["Last day to order"] == str(TODAY + timedelta(days=7))
    assert steps["Compared"] == "0 against 3"
    assert flag.working["limit"]["value"] == 3
    assert "default limits: events within 60 days, 3 days' notice" in flag.working["limit"]["source"]


def test_short_without_an_offer_cannot_be_judged():
    flag = only(lacking_three())
    assert (flag.rule_code, flag.severity) == ("stock-no-offer", "unknown")


def test_below_the_floor_without_any_event():
    shop = make_workshop()
    shop.fuse.minimum_stock = Decimal(4)
    shop.fuse.save()
    shelf = Bin.objects.create(team=shop.team, code="A1")
    stock_receive(scope=shop.scope, part=shop.fuse, bin=shelf, quantity=3)
    flag = only(shop)
    assert (flag.rule_code, flag.severity, flag.value, flag.limit) == ("stock-floor", "watch", 3, 4)
    assert flag.working["limit"]["source"] == "The team's own minimum stock"
    stock_receive(scope=shop.scope, part=shop.fuse, bin=shelf, quantity=1)
    assert found(shop) == {}


@pytest.mark.parametrize(("notice", "severity"), [(6, "watch"), (7, "fix")])
def test_how_soon_is_soon_is_the_packs(notice, severity):
    """Due in 12 days and 5 days on the way: 7 days are left."""
    shop = lacking_three()
    offer(shop, lead=5)
    pack(shop, "stock-short", soon_days=notice)
    assert only(shop).severity == severity


@pytest.mark.parametrize(("days", "horizon", "seen"), [(60, None, True), (61, None, False), (61, 61, True)])
def test_how_far_ahead_an_event_counts_is_the_packs(days, horizon, seen):
    shop = lacking_three(days)
    if horizon:
        pack(shop, "stock-short", horizon_days=horizon)
    assert bool(found(shop)) == seen


def test_a_pack_may_switch_off_and_rename_but_never_rename_cannot_judge():
    off, renamed, unknown = lacking_three(), lacking_three(), lacking_three()
    offer(off, lead=5)
    offer(renamed, lead=5)
    pack(off, "stock-short", enabled=False)
    pack(renamed, "stock-short", severity="stop")
    pack(unknown, "stock-no-offer", severity="watch")
    flags = found(off, renamed, unknown)
    assert {code: f.severity for (_, code), f in flags.items()} == {
        "stock-short": "stop",
        "stock-no-offer": "unknown",
    }


def test_a_value_that_is_no_number_is_passed_over_and_said():
    shop = lacking_three()
    offer(shop, lead=5)
    pack(shop, "stock-short", soon_days="a while")
    assert only(shop).severity == "watch"
    assert "passed over" in only(shop).working["limit"]["source"]


def test_every_limit_accepts_its_own_default():
    assert all(limit.read(limit.default) == limit.default for rule in RULES for limit in rule.limits)


@pytest.mark.parametrize("count", [2, 50])
def test_the_queries_do_not_grow_with_what_is_found(count):
    shops = [lacking_three() for _ in range(count // 2)]
    for shop in shops[::2]:
        offer(shop, lead=5)
        pack(shop, "stock-short", soon_days=2)
    with CaptureQueriesContext(connection) as seen:
        rows, counts = findings([shop.team.pk for shop in shops], now=NOW)
    assert len(seen) == 17
    assert len(rows) >= len(shops)
    assert counts["parts"] >= len(rows)
