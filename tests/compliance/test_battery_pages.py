"""The pages of batteries: the answer on top, the pictures, the life in order, and what they cost."""

from __future__ import annotations

import re
from datetime import timedelta

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext
from django.utils import timezone

from builds.models import Outing, Robot, Season
from compliance.models import Flag, Waiver
from compliance.selectors.battery_health import verdicts
from compliance.selectors.battery_life import KINDS, life_of
from compliance.selectors.battery_study import battery_fleet, battery_study
from inventory.models import Battery, BatteryIncident, Charge, Charger, Reading
from inventory.services.batteries import battery_set_state
from shared.models import Role
from tests.compliance.battery_shop import FLAT, RISING, make_battery
from tests.compliance.flagged import make_flag
from tests.inventory.pages import address, text_of
from tests.inventory.stockroom import make_scope, make_team

pytestmark = pytest.mark.django_db


@pytest.fixture
def scope():
    return make_scope(make_team(), Role.LEAD)


@pytest.fixture(autouse=True)
def signed_in(client, scope):
    client.force_login(scope.user)


def ago(days: float):
    return timezone.now() - timedelta(days=days)


def read(battery, mohm, *, last: float = 5, apart: float = 20, **values):
    """Readings up to some days before now, comparable unless told otherwise."""
    given = {
        "method": "ac1k",
        "instrument": "Bench 1",
        "rest_v": 12.9,
        "rest_h": 8.0,
        "temperature_c": 21.0,
        **values,
    }
    Reading.objects.bulk_create(
        Reading(
            team=battery.team, battery=battery, taken_at=ago(last + apart * n), resistance_mohm=r, **given
        )
        for n, r in enumerate(reversed(list(mohm)))
    )


def charge(battery, *, days: float = 3, purpose: str = "use", ended: bool = True):
    charger, _ = Charger.objects.get_or_create(team=battery.team, name=f"Charger {battery.code}")
    return Charge.objects.create(
        team=battery.team, battery=battery, charger=charger, purpose=purpose, started_at=ago(days),
        ended_at=ago(days) + timedelta(hours=2) if ended else None, returned_ah=4.2,
    )  # fmt: skip


def outing(battery, *, days: float = 4, sag: float = 3.5, **values):
    season, _ = Season.objects.get_or_create(
        team=battery.team, name="S", defaults={"starts_on": ago(100).date(), "ends_on": ago(-100).date()}
    )
    robot, _ = Robot.objects.get_or_create(
        team=battery.team, code="R1", defaults={"season": season, "name": "Kittiwake"}
    )
    given = {"start_rest_v": 12.8, "end_rest_v": 12.3, "lowest_v": 12.8 - sag, "used_ah": 4.0, **values}
    return Outing.objects.create(
        team=battery.team, battery=battery, robot=robot, started_at=ago(days), **given
    )


def page(client, scope, battery, more: str = "") -> str:
    return text_of(client, address(scope, "battery-detail", battery.pk) + more)


def test_the_answer_stands_on_top(client, scope):
    battery = make_battery(scope.team, "B05")
    read(battery, RISING)
    text = page(client, scope, battery)
    assert "B05: practice only." in text
    assert "Not in a match; for practice it may go out." in text
    assert text.index("practice only, not for matches") < text.index('class="draw ')


@pytest.mark.parametrize(
    ("mohm", "said"),
    [(FLAT, "It may go into a match."), (FLAT[:2], "Nobody can say yet how it is.")],
)
def test_what_may_be_done_is_a_sentence(client, scope, mohm, said):
    battery = make_battery(scope.team)
    read(battery, mohm)
    assert said in page(client, scope, battery)


def test_how_far_each_baseline_has_come(client, scope):
    battery = make_battery(scope.team)
    read(battery, FLAT)
    read(battery, (15.0, 15.1), instrument="Hand 2", method="pulse2", last=3)
    text = page(client, scope, battery)
    assert "AC, 1 kHz, Bench 1" in text
    assert "made of the first 3" in text
    assert "2 of 3 readings" in text
    assert "2 of 6 days" in text


def test_a_control_chart_with_enough_readings_and_a_sentence_without(client, scope):
    battery = make_battery(scope.team)
    read(battery, (12.0, 12.1, 11.9, 12.1, 12.0, 12.2, 11.8, 12.1, 12.0, 18.0), apart=10)
    text = page(client, scope, battery)
    assert "d-newest--out" in text
    assert "check the lugs, then measure again before anything else" in text
    young = make_battery(scope.team, "B02")
    read(young, FLAT)
    assert "needs 8 comparable readings before the newest one; there are 5" in page(client, scope, young)


def test_capacity_tests_against_what_is_rated(scope):
    battery = make_battery(scope.team)
    given = {"end_v": 10.5, "temperature_c": 25.0}
    battery.capacity_tests.create(
        team=scope.team, tested_at=ago(60), current_a=0.9, capacity_ah=17.1, **given
    )
    battery.capacity_tests.create(
        team=scope.team, tested_at=ago(30), current_a=9.0, capacity_ah=11.0, **given
    )
    chart = battery_study(scope, battery).capacity
    assert chart is not None
    assert [(round(p.value), p.counted) for p in chart.points] == [(95, True), (61, False)]
    assert "left out: its current is not the one" in chart.points[1].note
    assert [t.value for t in chart.thresholds] == pytest.approx([100, 90, 80])
    assert chart.summary.startswith("95 % of rated on")


def test_outings_against_others_and_the_charge_by_both_ways(client, scope):
    """4 of 18 Ah; from 12.8 to 12.3 V the usual curve says half of it, outside 15 points."""
    battery, others = make_battery(scope.team), [make_battery(scope.team, code) for code in ("B02", "B03")]
    for n in range(5):
        outing(battery, days=4 + n, sag=4.7)
        for other in others:
            outing(other, days=4 + n, sag=3.5)
    outing(battery, days=20, lowest_v=None, end_rest_v=12.7)
    told = battery_study(scope, battery).outings
    assert [one.ratio for one in told[:5]] == pytest.approx([4.7 / 3.5] * 5)
    assert told[0].agrees is False
    assert told[-1].note == "lowest voltage not noted"
    assert told[-1].agrees is True
    text = page(client, scope, battery)
    assert "charge does not agree" in text


def test_outings_are_marked_on_the_axis_of_the_trend(client, scope):
    battery = make_battery(scope.team)
    read(battery, FLAT)
    outing(battery, days=30)
    assert "d-rug" in page(client, scope, battery)


def whole_life(scope) -> Battery:
    battery = make_battery(scope.team, in_service_on=ago(200).date())
    read(battery, FLAT[:1])
    charge(battery, days=9)
    charge(battery, days=8, purpose="topup")
    outing(battery, days=7)
    battery.capacity_tests.create(
        team=scope.team, tested_at=ago(6), current_a=0.9, capacity_ah=17.0, end_v=10.5, temperature_c=25
    )
    BatteryIncident.objects.create(team=scope.team, battery=battery, kind="dropped", happened_at=ago(2))
    battery_set_state(scope=scope, battery=battery, state="quarantine", reason="Fell off the cart")
    return battery


def test_its_life_in_order(scope):
    entries = life_of(scope, whole_life(scope))
    assert [e.at for e in entries] == sorted((e.at for e in entries), reverse=True)
    assert {e.kind for e in entries} == set(KINDS)
    assert [(e.what, e.severity) for e in entries if e.severity] == [
        ("Quarantined", "stop"),
        ("Dropped", "stop"),
    ]
    out = next(e for e in entries if e.kind == "outing")
    assert out.figures == (
        ("V before", "12.80"),
        ("V lowest", "9.3"),
        ("V after", "12.30"),
        ("Ah used", "4.0"),
    )
    assert entries[-1].what == "Bought"


@pytest.mark.parametrize("kind", KINDS)
def test_the_filter_shows_one_kind(client, scope, kind):
    battery = whole_life(scope)
    assert {e.kind for e in life_of(scope, battery, [kind])} == {kind}
    text = page(client, scope, battery, f"?life={kind}")
    current = re.search(r'aria-current="page">([^<]+)</a></li>', text[text.index('id="life"') :])
    assert current is not None
    assert current.group(1) == KINDS[kind]


def test_a_filter_nobody_knows_shows_everything(client, scope):
    assert "Storage top-up" in page(client, scope, whole_life(scope), "?life=nonsense")


def test_long_lives_are_cut_and_can_be_opened(client, scope):
    battery = make_battery(scope.team)
    for n in range(20):
        charge(battery, days=3 + n)
    assert "7 earlier ones" in page(client, scope, battery)
    assert "earlier one" not in page(client, scope, battery, "?length=all")


def test_the_list_says_how_many_may_go_and_draws_them_on_one_scale(client, scope):
    read(make_battery(scope.team, "B01"), FLAT)
    read(make_battery(scope.team, "B02"), RISING)
    make_battery(scope.team, "B03", state="quarantine", state_reason="Hot")
    make_battery(scope.team, "B04", state="retired", state_reason="Old")
    text = text_of(client, address(scope, "battery-list"))
    assert "1 of 4 batteries may go into a match, 1 for practice only, 2 stay here." in text
    strip = battery_fleet(scope, [b.pk for b in Battery.objects.filter(team=scope.team)]).strip
    assert [row.label for row in strip.rows] == ["B03", "B02", "B01"], "gravest first, retired ones not drawn"
    assert [limit.rise for limit in strip.limits] == pytest.approx([20, 30, 50])
    assert strip.rows[1].level == pytest.approx(33.9, abs=0.1)


def test_a_waived_rule_lets_it_out_and_keeps_its_word(scope):
    battery = make_battery(scope.team)
    read(battery, RISING)
    flag: Flag = make_flag(scope.team, subject_id=battery.pk, subject_label="B01")
    Waiver.objects.create(
        team=scope.team, flag=flag, reason="Spare for the last match", until=ago(-5).date(), by=scope.user
    )
    told = verdicts(scope)[battery.pk]
    assert (told.word, told.may_match) == ("Practice only", True)


def test_nobody_waives_a_quarantine(scope):
    battery = make_battery(scope.team)
    read(battery, FLAT)
    BatteryIncident.objects.create(team=scope.team, battery=battery, kind="hot", happened_at=ago(1))
    flag = make_flag(scope.team, rule_code="battery-incident", subject_id=battery.pk, subject_label="B01")
    Waiver.objects.create(
        team=scope.team, flag=flag, reason="It is cold now", until=ago(-5).date(), by=scope.user
    )
    assert not verdicts(scope)[battery.pk].may_practice


def test_cautions_name_gas_acid_short_circuit_lifting_and_disposal(client, scope):
    text = page(client, scope, make_battery(scope.team))
    for word in (
        "gas",
        "acid",
        "draws hundreds of amperes",
        "Never lift it by post",
        "recycler",
        "20 minutes",
    ):
        assert word in text


def test_the_api_says_the_same(client, scope):
    battery = make_battery(scope.team, "B05")
    read(battery, RISING)
    make_battery(scope.team, "B06")
    answer = client.get(address(scope, "api-battery-verdicts"))
    assert answer.status_code == 200
    first, second = answer.json()
    assert (first["battery"], first["state"], first["may_match"]) == (battery.pk, "practice", False)
    assert first["reasons"][0]["rule_code"] == "battery-rise"
    assert first["reasons"][0]["working"]["limit"]["source"].startswith("+30 to +50 % over baseline")
    assert second["settles"].startswith("No readings: take one")


@pytest.mark.parametrize("many", [1, 9])
def test_the_queries_of_both_pages_do_not_grow(client, scope, many):
    for n in range(many):
        battery = make_battery(scope.team, f"B{n:02}")
        read(battery, RISING if n % 2 else FLAT)
        for k in range(many):
            charge(battery, days=10 + k)
            outing(battery, days=5 + k)
        BatteryIncident.objects.create(team=scope.team, battery=battery, kind="other", happened_at=ago(1))
    page(client, scope, battery)  # warms what is kept between requests
    counted = []
    for url in (address(scope, "battery-list"), address(scope, "battery-detail", battery.pk)):
        with CaptureQueriesContext(connection) as seen:
            text_of(client, url)
        counted.append(len(seen))
    assert counted == QUERIES


#: Of the list and of one battery: both read the book (12), flags, session and team.
QUERIES = [23, 30]
