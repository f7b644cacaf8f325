"""Margins of circuits, and that pages and sweep say the same."""

from __future__ import annotations

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext

from compliance.rules.loads import RULES as LOAD_RULES
from compliance.selectors.margins import RULES, circuit_margins, circuit_working
from compliance.sweeps.loads import findings
from tests.compliance.load_shop import NOW, LoadShop

pytestmark = pytest.mark.django_db


@pytest.fixture
def shop() -> LoadShop:
    return LoadShop()


def margin(shop, code="C1"):
    return {m.circuit.code: m for m in circuit_margins(shop.shop.scope, shop.build)}[code]


def test_margins_of_a_circuit_within_its_limits(shop):
    """9 A of 45 A (33 CFR 183.425 Table 5) are a fifth; of 0.8 x 30 A (NEC 210.20(A)) three eighths."""
    shop.circuit(continuous_a=9.0)
    told = margin(shop)
    assert (told.effective_a, told.ampacity_a) == (9.0, 45.0)
    assert told.ampacity_frac == pytest.approx(0.2)
    assert told.device_frac == pytest.approx(0.375)
    # 2 x 1 m x 5.315 mohm/m at 33 C (x 1.051) x 9 A = 0.1005 V of 1.2 V
    assert told.drop_v == pytest.approx(0.1005, abs=0.0005)
    assert told.drop_frac == pytest.approx(0.0838, abs=0.0005)
    assert told.drop_limit_v == pytest.approx(1.2)
    # The rating of 30 A against 45 A is the nearest to its limit.
    assert told.worst_frac == pytest.approx(30 / 45)
    assert told.state == "ok"
    assert told.verdict == "Within limits: at most 67% of the largest device the wire allows."


def test_a_flagged_circuit_says_what_its_flag_says(shop):
    shop.circuit(device=shop.device(50.0))
    told = margin(shop)
    assert (told.state, told.worst_rule.code) == ("fix", "device-rating")
    assert told.verdict == shop.one().message


def test_missing_figures_leave_the_margins_they_belong_to_empty(shop):
    shop.circuit(length_m=None)
    told = margin(shop)
    assert told.state == "unknown"
    assert told.drop_v is None
    assert told.drop_frac is None
    assert told.ampacity_frac is not None


def test_nothing_entered_is_not_within_limits(shop):
    shop.circuit(role="signal", wire=None, length_m=None, continuous_a=None, device=None)
    told = margin(shop)
    assert told.state == "unknown"
    assert told.worst_frac is None


def test_worst_first(shop):
    shop.circuit("A-OK", continuous_a=9.0)
    shop.circuit("B-NEAR", continuous_a=23.0, length_m=0.2)
    shop.circuit("C-UNKNOWN", length_m=None)
    shop.circuit("D-STOP", device=None)
    shop.circuit("E-FIX", device=shop.device(50.0))
    order = [m.circuit.code for m in circuit_margins(shop.shop.scope, shop.build)]
    assert order == ["D-STOP", "E-FIX", "C-UNKNOWN", "B-NEAR", "A-OK"]


def test_every_rule_shows_its_working_passed_or_not(shop):
    circuit = shop.circuit(device=shop.device(50.0))
    checks = circuit_working(shop.shop.scope, circuit)
    assert [check.rule for check in checks] == list(RULES)
    assert all(rule.subject == "circuit" for rule in RULES)
    states = {check.rule.code: check.state for check in checks}
    assert states["device-rating"] == "fix"
    assert states["wire-ampacity"] == "ok"
    for check in checks:
        assert check.working["steps"]
        assert check.working["conclusion"]
        assert check.working["source"]
        assert check.state_label


def test_a_rule_switched_off_says_so(shop):
    circuit = shop.circuit(device=shop.device(50.0))
    shop.pack("device-rating", enabled=False)
    states = {c.rule.code: c.state for c in circuit_working(shop.shop.scope, circuit)}
    assert states["device-rating"] == "off"
    assert margin(shop).state == "ok"


@pytest.mark.parametrize(
    ("rule", "limits"),
    [
        ("device-rating", {"allowed_frac": "a lot"}),
        ("wire-ampacity", {"table": "no such table"}),
        ("wire-drop", {"other_frac": -1}),
    ],
)
def test_a_broken_value_of_a_pack_is_passed_over_and_said(shop, rule, limits):
    """The default holds in its place, and one team's mistake does not stop the sweep of the others."""
    circuit = shop.circuit(device=shop.device(50.0))
    expected = shop.said()
    shop.pack(rule, limits=limits)
    assert shop.said() == expected == {"device-rating": "fix"}
    checks = {c.rule.code: c for c in circuit_working(shop.shop.scope, circuit)}
    (name,) = limits
    assert f"passed over: {name} is" in checks[rule].working["limit"]["source"]


def test_page_and_sweep_agree_on_everything(shop):
    """Every load rule flags one circuit here; what the page shows of each circuit is what the sweep finds."""
    ring = shop.end("RING5", form="ring", hole_mm=6.4)
    slow = shop.device(20.0, code="SLOW")
    shop.points(slow, (2.0, 0.5, 60.0))
    main = shop.circuit("MAIN", role="main", device=shop.device(20.0), continuous_a=12.0, length_m=0.2)
    faults = {
        "AMPACITY": {"continuous_a": 46.0, "device": shop.device(45.0)},
        "DROP": {"length_m": 20.0},
        "RATING": {"device": shop.device(70.0)},
        "LOAD": {"continuous_a": 28.0},
        "PEAK": {"device": slow, "continuous_a": 1.0, "peak_a": 40.0, "duty_frac": 0.1, "cycle_s": 10.0},
        "INTERRUPT": {"device": shop.device(5.0, code="GLASS", interrupt_a=35.0), "continuous_a": 1.0},
        "MISSING": {"device": None, "wire": shop.wire("20 AWG"), "continuous_a": 0.5},
        "BARREL": {"terminal_load": shop.end("SMALL", 0.2, 1.6)},
        "HOLE": {"terminal_load": ring, "stud_load_mm": 5.0},
        "UNKNOWN": {"length_m": None},
    }
    circuits = [shop.circuit(code, fed_from=main, **values) for code, values in faults.items()]
    swept = {(f.subject_id, f.rule_code): (f.severity, f.working) for f in shop.found()}
    shown = {
        (c.pk, check.rule.code): (check.state, check.working)
        for c in [main, *circuits]
        for check in circuit_working(shop.shop.scope, c)
        if check.state not in ("ok", "silent", "off")
    }
    assert shown == swept
    assert {rule for _, rule in swept} >= {rule.code for rule in LOAD_RULES}


def queries_of(do) -> int:
    with CaptureQueriesContext(connection) as seen:
        do()
    return len(seen)


def grow(shop, robots: int) -> None:
    for _ in range(robots):
        build = shop.new_build()
        for n in range(3):
            shop.circuit(f"C{n}", build=build, device=shop.device(50.0))


def test_the_sweep_asks_as_often_for_fifty_robots_as_for_two(shop):
    grow(shop, 2)
    few = queries_of(shop.found)
    grow(shop, 48)
    assert queries_of(shop.found) == few
    assert findings([shop.shop.team.pk], now=NOW)[1]["circuits"] == 150
    assert len(shop.found()) == 150


def test_a_build_page_asks_as_often_for_fifty_circuits_as_for_two(shop):
    def page():
        return circuit_margins(shop.shop.scope, shop.build)

    for n in range(2):
        shop.circuit(f"C{n}")
    few = queries_of(page)
    for n in range(2, 50):
        shop.circuit(f"C{n}", device=shop.device(50.0))
    assert queries_of(page) == few
    assert len(page()) == 50


def test_many_teams_at_once_are_judged_as_each_alone(shop):
    other = LoadShop()
    shop.circuit("A", device=shop.device(50.0))
    other.circuit("B", device=None)
    other.circuit("C", continuous_a=30.0, bundle_count=6)
    other.pack("wire-ampacity", limits={"table": "nec310_16", "bundle_table": "nec310_15c1"})
    teams = [shop.shop.team.pk, other.shop.team.pk]
    together = findings(teams, now=NOW)[0]
    alone = [finding for team in teams for finding in findings([team], now=NOW)[0]]
    assert sorted(together, key=lambda f: f.key) == sorted(alone, key=lambda f: f.key)
    assert len(together) > 2


def test_another_team_sees_nothing(shop):
    circuit = shop.circuit()
    stranger = LoadShop().shop.scope
    assert circuit_margins(stranger, shop.build) == []
    assert circuit_working(stranger, circuit) == []
