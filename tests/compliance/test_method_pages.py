"""Methods and rule packs: every rule explained with a live example, limits set by a mentor."""

from __future__ import annotations

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext
from django.urls import reverse
from django.utils.html import escape

from builds.models import Season
from compliance.models import RulePack, RuleSetting
from compliance.rules.examples import EXAMPLES
from compliance.rules.planning_methods import METHODS, example_day
from compliance.rules.registry import RULES
from compliance.selectors.packs import PackTable
from shared.electrical import ampacity
from shared.models import JobRun, Role
from shared.planning.rotation import solve
from tests.inventory.stockroom import make_scope, make_team

pytestmark = pytest.mark.django_db


@pytest.fixture
def mentor(client):
    scope = make_scope(make_team(), Role.MENTOR)
    client.force_login(scope.user)
    return scope


def address(scope, name: str, **kwargs) -> str:
    return reverse(name, kwargs={"team": scope.team.slug, **kwargs})


def test_there_is_an_example_for_every_rule_and_for_nothing_else():
    assert EXAMPLES.keys() == RULES.keys()


@pytest.mark.parametrize("code", RULES)
def test_every_rule_is_explained(client, mentor, code):
    rule = RULES[code]
    answer = client.get(address(mentor, "method-detail", code=code))
    text = answer.content.decode()
    assert escape(rule.title) in text
    assert all(limit.name in text for limit in rule.limits)
    assert all(source.status in text for source in rule.sources)
    assert answer.context["example"]["steps"]
    assert "nan" not in str(answer.context["example"])


@pytest.mark.parametrize("code", METHODS)
def test_every_method_of_planning_is_explained(client, mentor, code):
    method = METHODS[code]
    assert code not in RULES  # one address each
    assert (
        address(mentor, "method-detail", code=code)
        in client.get(address(mentor, "method-list")).content.decode()
    )
    text = client.get(address(mentor, "method-detail", code=code)).content.decode()
    assert all(escape(line) in text for line in (method.title, method.asks, *method.says, *method.needs))
    assert all(escape(source.title) in text for source in method.sources)


def test_the_charging_example_follows_the_formula_by_hand():
    """Bulk Ah/A plus absorption, 110 % returned: 1.1 x 3 Ah / 6 A = 33 min, and 60 min of absorption."""
    steps = {step["label"]: step["result"] for step in METHODS["charging"].example()["steps"]}
    assert steps["At full current"] == pytest.approx(33)
    assert steps["Until full"] == pytest.approx(93)
    assert 15 / 18 < steps["Taken off early"] / 100 < 1


def test_the_rotation_example_is_the_best_there_is():
    """By hand: 50 minutes do not bring a battery back: ABA or BAB; the last match counts double, and A falls less."""
    worked = METHODS["rotation"].example()
    goes = [step["numbers"][0] for step in worked["steps"] if step["label"].startswith("Match ")]
    assert goes == ["A", "B", "A"]
    assert [step["result"] for step in worked["steps"][-2:]] == [0, 0]
    best = solve(example_day())
    assert best.proven
    assert ["AB"[b] for b in best.battery] == goes


def test_the_ampacity_example_follows_the_tables_by_hand():
    """33 CFR 183.425 Table 5: 12 AWG, 105 C column, 45 A; ABYC E-11: 0.7 for three conductors; sqrt(65 / 75)."""
    steps = {step["label"]: step["result"] for step in EXAMPLES["wire-ampacity"]()["steps"]}
    assert steps["Area"] == pytest.approx(3.309, abs=1e-3)
    assert steps["Listed"] == 45.0
    assert steps["Bundle"] == 0.7
    assert steps["Allowed"] == pytest.approx(45 * 0.7 * (65 / 75) ** 0.5, rel=1e-6)


def test_the_drop_example_follows_ohms_law_by_hand():
    """0.017241 x 1.02 / 3.309 ohm/m at 20 C, (234.5 + T) / 254.5, 40 A over 2 x 2 m, 12 V."""
    steps = {step["label"]: step["result"] for step in EXAMPLES["wire-drop"]()["steps"]}
    warm = 0.017241 * 1.02 / 3.3088 * (234.5 + steps["Conductor temperature"]) / 254.5
    assert steps["Drop at the peak"] == pytest.approx(40 * 4 * warm, rel=1e-4)
    assert steps["Of the system"] == pytest.approx(100 * 160 * warm / 12, rel=1e-4)


def test_the_battery_example_is_that_of_the_trend_tests():
    """Slope by scipy 1.17.1 theilslopes, 0.0117647 mohm/d; exact chance of S = 17 with 7 readings, 0.005357."""
    steps = {step["label"]: step["result"] for step in EXAMPLES["battery-rise"]()["steps"]}
    assert steps["Slope"] == pytest.approx(30 * 0.0117647, abs=1e-4)
    assert steps["Chance"] == pytest.approx(0.005357, abs=1e-6)
    assert steps["Rise"] == pytest.approx(100 * (13.2 / 12.1 - 1))


def test_three_readings_cannot_show_a_trend():
    """Kendall (1975): with n = 3 the strongest order has p = 1/6."""
    steps = {step["label"]: step["result"] for step in EXAMPLES["battery-unjudged"]()["steps"]}
    assert steps["Chance"] == pytest.approx(1 / 6)


def test_the_withstand_example_follows_the_adiabatic_equation_by_hand():
    """12.8 V over 13.99 mohm; a 30 A breaker: 4 s at 180 A (memory), I2t constant beyond; k = 87.4, 2.081 mm2."""
    steps = {step["label"]: step["result"] for step in EXAMPLES["fault-withstand"]()["steps"]}
    amps = 12.8 / (0.011 + 2 * 0.6 * 17.241e-3 * 1.02 / 21.15 + 0.002)
    assert steps["Largest fault current"] == pytest.approx(amps, rel=1e-3)
    assert steps["Opens at the latest after"] == pytest.approx(4.0 * (180 / amps) ** 2, rel=1e-3)
    assert steps["The wire bears it for"] == pytest.approx((87.4 * 2.081 / amps) ** 2, rel=5e-3)


def test_the_main_breaker_example_follows_the_rms_by_hand():
    """80 A and 220 A for a fifth of the time: sqrt(0.2 x 48,400 + 0.8 x 6,400) = 121.66 A."""
    steps = {step["label"]: step["result"] for step in EXAMPLES["main-trip"]()["steps"]}
    assert steps["RMS"] == pytest.approx(121.66, abs=0.01)
    assert steps["It holds"] == 120.0


def test_the_solved_examples_obey_kirchhoff_by_hand():
    """What leaves the battery comes back through R: 12.8 V less I x 11 mohm, less I x 2.99 mohm of main feed."""
    steps = {step["label"]: step["result"] for step in EXAMPLES["board-sag"]()["steps"]}
    amps = (12.8 - steps["Battery"]) / 0.011
    assert steps["Lost in the main feed"] == pytest.approx(
        amps * (2 * 0.6 * 17.241e-3 * 1.02 / 21.15 + 0.002), rel=1e-3
    )
    assert steps["Board"] == pytest.approx(steps["Battery"] - steps["Lost in the main feed"], rel=1e-9)
    most = {step["label"]: step["result"] for step in EXAMPLES["supply-collapse"]()["steps"]}
    assert most["Network"] == "no solution"
    assert most["Most that can arrive"] < most["Asked for"]


def test_an_example_is_worked_out_when_it_is_asked_for(client, mentor, monkeypatch):
    """Another table value gives another answer on the page: nothing is typed in."""
    monkeypatch.setattr("compliance.rules.examples_electrical.bundle_factor", lambda n: 0.5)
    assert ampacity.bundle_factor(3) == 0.7
    answer = client.get(address(mentor, "method-detail", code="wire-ampacity"))
    assert {s["label"]: s["result"] for s in answer.context["example"]["steps"]}["Bundle"] == 0.5


def test_the_list_shows_the_tables_with_their_source(client, mentor):
    text = client.get(address(mentor, "method-list")).content.decode()
    assert "Source: 33 CFR 183.425, Table 5" in text
    assert "ABYC E-11" in text
    assert "(memory)" in text
    assert all(address(mentor, "method-detail", code=code) in text for code in RULES)


def test_an_unknown_rule_is_not_found(client, mentor):
    assert client.get(address(mentor, "method-detail", code="no-such-rule")).status_code == 404


def make_pack(client, mentor) -> RulePack:
    client.post(address(mentor, "pack-new"), {"name": "Estuary 2026", "source": "League handbook"})
    return RulePack.objects.get(team=mentor.team)


def test_a_mentor_sets_a_limit_and_the_sweeps_are_queued(client, mentor):
    pack = make_pack(client, mentor)
    JobRun.objects.all().delete()
    where = address(mentor, "pack-rule", pk=pack.pk, code="wire-drop")
    values = {"enabled": "on", "limit_critical_frac": "0.05", "limit_other_frac": "0.10", "source": "par. 4"}
    assert client.post(where, values).status_code == 302
    setting = RuleSetting.objects.get()
    assert (setting.limits, setting.source, setting.enabled) == ({"critical_frac": 0.05}, "par. 4", True)
    assert JobRun.objects.filter(name="sweep.loads", team=mentor.team).exists()
    table = PackTable.load([mentor.team.pk])
    assert table.value(RULES["wire-drop"], "critical_frac", table.pack_of(mentor.team.pk, None)) == 0.05
    text = client.get(address(mentor, "pack-detail", pk=pack.pk)).content.decode()
    assert "(default 3 %)" in text
    assert "Estuary 2026" in client.get(address(mentor, "method-detail", code="wire-drop")).content.decode()


def test_the_form_shows_what_is_set_and_the_defaults_come_back(client, mentor):
    pack = make_pack(client, mentor)
    RuleSetting.objects.create(team=mentor.team, pack=pack, rule_code="wire-ampacity",
                               limits={"table": "nec310_16"}, severity="watch")  # fmt: skip
    where = address(mentor, "pack-rule", pk=pack.pk, code="wire-ampacity")
    text = client.get(where).content.decode()
    assert '<option value="nec310_16" selected>' in text
    assert "33 CFR 183.425" in text
    assert client.post(where, {"reset": "yes"}).status_code == 302
    assert not RuleSetting.objects.exists()


def test_every_wrong_limit_is_told_at_once(client, mentor):
    pack = make_pack(client, mentor)
    where = address(mentor, "pack-rule", pk=pack.pk, code="wire-drop")
    answer = client.post(where, {"enabled": "on", "limit_critical_frac": "lots", "limit_other_frac": "7"})
    assert answer.status_code == 422
    assert set(answer.context["form"].errors) == {"limit_critical_frac", "limit_other_frac"}
    assert not RuleSetting.objects.exists()


def test_a_second_general_pack_is_refused_in_a_sentence(client, mentor):
    make_pack(client, mentor)
    answer = client.post(address(mentor, "pack-new"), {"name": "Another"})
    assert answer.status_code == 422
    assert "already has a general rule pack" in answer.content.decode()


def test_a_pack_is_deleted_with_its_settings(client, mentor):
    pack = make_pack(client, mentor)
    RuleSetting.objects.create(team=mentor.team, pack=pack, rule_code="wire-drop")
    assert client.post(address(mentor, "pack-delete", pk=pack.pk)).status_code == 302
    assert not RulePack.objects.exists()


@pytest.mark.parametrize("role", [Role.LEAD, Role.MEMBER, Role.AUDITOR])
def test_others_read_packs_but_set_nothing(client, mentor, role):
    pack = make_pack(client, mentor)
    scope = make_scope(mentor.team, role)
    client.force_login(scope.user)
    where = address(scope, "pack-rule", pk=pack.pk, code="wire-drop")
    assert client.get(address(scope, "pack-detail", pk=pack.pk)).status_code == 200
    assert client.get(where).status_code == 403
    assert client.post(where, {"enabled": "on"}).status_code == 403
    assert client.post(address(scope, "pack-new"), {"name": "Mine"}).status_code == 403
    assert client.post(address(scope, "pack-delete", pk=pack.pk)).status_code == 403


def test_the_number_of_queries_does_not_grow_with_the_packs(client, mentor):
    counts = []
    for numbers in (range(2), range(2, 50)):
        for n in numbers:
            season = Season.objects.create(
                team=mentor.team, name=f"S{n}", starts_on="2026-01-01", ends_on="2026-12-31"
            )
            RulePack.objects.create(team=mentor.team, name=f"Pack {n}", season=season)
        client.get(address(mentor, "pack-list"))
        with CaptureQueriesContext(connection) as queries:
            client.get(address(mentor, "pack-list"))
        counts.append(len(queries))
    assert counts[0] == counts[1]
