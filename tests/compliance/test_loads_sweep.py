"""The load sweep as a whole: what it looks at, which pack it uses, what it costs."""

from __future__ import annotations

from datetime import date

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext

from builds.models import BuildState, Season
from compliance.models import RulePack, RuleSetting, SubjectKind
from compliance.rules import loads, network
from compliance.rules.registry import RULES as REGISTERED
from compliance.sweeps.loads import findings
from shared.models import Team
from tests.compliance.wiring_shop import NOW, WiringShop

pytestmark = pytest.mark.django_db


@pytest.fixture
def shop() -> WiringShop:
    return WiringShop.open()


def test_a_healthy_circuit_is_counted_and_not_flagged(shop: WiringShop) -> None:
    shop.circuit()
    found, counts = findings([shop.team.pk], now=NOW)
    assert counts == {"circuits": 1, "builds": 1}
    assert {f.subject_kind for f in found} == {SubjectKind.BUILD}


def test_only_current_builds_of_robots_in_use_are_judged(shop: WiringShop) -> None:
    draft = shop.robot("DRAFT", shop.season, state=BuildState.DRAFT)
    kept = shop.robot("KEPT", shop.season)
    kept.robot.archived = True
    kept.robot.save()
    for build in (draft, kept):
        shop.circuit(build=build, device=None)
    assert {f.subject_id for f in findings([shop.team.pk], now=NOW)[0]} == {shop.build.pk}


def test_other_teams_are_left_alone(shop: WiringShop) -> None:
    other = WiringShop.open("far-shore")
    other.circuit(device=None)
    shop.circuit(device=None)
    found, counts = findings([shop.team.pk], now=NOW)
    assert {f.team_id for f in found} == {shop.team.pk}
    assert counts["circuits"] == 1


def test_each_season_is_judged_by_its_own_pack(shop: WiringShop) -> None:
    # 12 AWG of 90 C carries 40 A by 33 CFR 183.425 Table 5, and 30 A by NEC Table 310.16.
    last = Season.objects.create(
        team=shop.team, name="2025", starts_on=date(2025, 1, 1), ends_on=date(2025, 12, 31)
    )
    old = shop.robot("OLD", last)
    wire, device = shop.wire("12 AWG", 90), shop.device(30.0)
    of_now = shop.circuit(wire=wire, device=device, continuous_a=35.0, length_m=0.2)
    of_then = shop.circuit(build=old, wire=wire, device=device, continuous_a=35.0, length_m=0.2)
    assert "wire-ampacity" not in shop.said(of_now)
    pack = RulePack.objects.create(team=shop.team, name="Indoor", season=last)
    RuleSetting.objects.create(
        team=shop.team, pack=pack, rule_code="wire-ampacity", limits={"table": "nec310_16"}
    )
    assert "wire-ampacity" not in shop.said(of_now)
    found = shop.found(of_then)["wire-ampacity"]
    assert found.limit == pytest.approx(30)
    assert "nec310_16" in str(found.working)
    assert found.working["limit"]["source"] == "rule pack Indoor"


def test_a_general_pack_sets_limits_severity_and_switches_off(shop: WiringShop) -> None:
    circuit = shop.circuit(continuous_a=17.0)
    assert shop.said(circuit) == {"device-load": "watch"}
    pack = RulePack.objects.create(team=shop.team, name="House rules")
    setting = RuleSetting.objects.create(team=shop.team, pack=pack, rule_code="device-load", severity="stop")
    assert shop.said(circuit) == {"device-load": "stop"}
    setting.limits = {"load_frac": 0.9}
    setting.save()
    assert shop.said(circuit) == {}
    setting.limits, setting.enabled = {}, False
    setting.save()
    assert shop.said(circuit) == {}


def test_a_pack_cannot_rename_cannot_judge(shop: WiringShop) -> None:
    circuit = shop.circuit(length_m=None)
    pack = RulePack.objects.create(team=shop.team, name="House rules")
    RuleSetting.objects.create(team=shop.team, pack=pack, rule_code="circuit-unknown", severity="watch")
    assert shop.said(circuit) == {"circuit-unknown": "unknown"}


def _queries(robots: int) -> int:
    shop = WiringShop.open(f"team-{robots}")
    wire, device, end = shop.wire("12 AWG"), shop.device(20.0), shop.terminal()
    for n in range(robots):
        build = shop.robot(f"R{n}", shop.season)
        for running_a in (10.0, 60.0):
            shop.circuit(build=build, wire=wire, device=device, continuous_a=running_a, terminal_source=end,
                         terminal_load=end)  # fmt: skip
    with CaptureQueriesContext(
        connection,
    ) as queries:
        found, _ = findings([shop.team.pk], now=NOW)
    of_circuits = [f for f in found if f.subject_kind == SubjectKind.CIRCUIT]
    assert len(of_circuits) == 2 * robots  # wire and device of one circuit of each robot
    return len(queries)


def test_the_number_of_queries_does_not_grow_with_the_robots() -> None:
    assert _queries(50) == _queries(2)


def test_the_same_rows_say_the_same_thing_twice(shop: WiringShop) -> None:
    shop.circuit(continuous_a=60.0)
    assert findings([shop.team.pk], now=NOW) == findings([shop.team.pk], now=NOW)


def test_no_rows_are_no_trouble() -> None:
    assert findings([], now=NOW) == ([], {"circuits": 0, "builds": 0})
    empty = Team.objects.create(name="Empty", slug="empty")
    assert findings([empty.pk], now=NOW) == ([], {"circuits": 0, "builds": 0})


def test_every_rule_is_registered_and_explains_itself() -> None:
    for rule in (*loads.RULES, *network.RULES):
        assert REGISTERED[rule.code] is rule
        assert rule.asks.endswith("?")
        assert rule.remedy.endswith(".")
        assert rule.sources
        for limit in rule.limits:
            assert limit.read(limit.default) == limit.default
