"""The rules about care: a charge that is due, incidents nobody looked at, sag in outings; and who is left alone."""

from __future__ import annotations

from datetime import timedelta

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext

from builds.models import Build, MatchStudy, Outing, Robot, Season
from compliance.selectors.battery_health import battery_working, verdicts
from inventory.models import Battery, BatteryIncident, Charge, Charger
from shared.access import system_scope
from tests.compliance.battery_shop import FLAT, NOW, found, make_battery, make_model, make_team, pack, read

pytestmark = pytest.mark.django_db

USUAL = (3.3, 3.5, 3.4, 3.6, 3.5)
DEEP = (4.6, 4.8, 4.7, 4.5, 4.9)


@pytest.fixture
def team():
    return make_team()


def charged(battery, *, ago: float, ended: bool = True, name: str = "Charger 1") -> Charge:
    charger, _ = Charger.objects.get_or_create(team=battery.team, name=name)
    start = NOW - timedelta(days=ago, hours=2)
    return Charge.objects.create(
        team=battery.team, battery=battery, charger=charger, started_at=start,
        ended_at=start + timedelta(hours=2) if ended else None,
    )  # fmt: skip


def robot_of(team, code: str = "R1") -> Robot:
    season, _ = Season.objects.get_or_create(
        team=team, name="S", defaults={"starts_on": NOW.date(), "ends_on": NOW.date() + timedelta(days=90)}
    )
    robot, _ = Robot.objects.get_or_create(team=team, code=code, defaults={"season": season, "name": code})
    return robot


def outings(battery, sags, *, robot=None, ago: int = 20, start_v: float = 12.8, **values) -> None:
    Outing.objects.bulk_create(
        Outing(team=battery.team, battery=battery, robot=robot or robot_of(battery.team),
               started_at=NOW - timedelta(days=ago, hours=n), start_rest_v=start_v, lowest_v=start_v - sag, **values)
        for n, sag in enumerate(sags)
    )  # fmt: skip


def flag(team, rule, code="B01"):
    return found(team).get((code, rule))


def rows(battery, rule):
    told = {
        r.code: (state, w) for r, state, w in battery_working(system_scope(battery.team), battery, now=NOW)
    }
    return told[rule]


# A charge that is due.


@pytest.mark.parametrize(("ago", "due"), [(89, False), (90, True)])
def test_a_top_up_is_due_ninety_days_after_the_last_charge(team, ago, due):
    battery = make_battery(team)
    read(battery, FLAT, last=100)
    charged(battery, ago=ago)
    told = flag(team, "battery-topup")
    assert (told is not None) == due
    if told:
        assert (told.severity, told.value, told.limit, told.unit) == ("watch", 90, 90, "d")
        assert "90 days ago: a storage top-up is due" in told.message


def test_a_reading_of_a_full_battery_counts_as_full(team):
    battery = make_battery(team)
    charged(battery, ago=120)
    read(battery, FLAT, last=10)
    assert flag(team, "battery-topup") is None


@pytest.mark.parametrize(
    ("volts", "severity", "words"),
    [(12.6, None, ""), (12.59, "watch", "below 12.6 V: charge it soon"), (12.39, "fix", "charge it today"),
     (11.99, "fix", "damage is likely")],
)  # fmt: skip
def test_a_low_rest_voltage_since_the_charge(team, volts, severity, words):
    battery = make_battery(team)
    read(battery, FLAT, last=30)
    charged(battery, ago=20)
    read(battery, (12.0,), last=3, rest_v=volts)
    told = flag(team, "battery-topup")
    assert (told.severity if told else None) == severity
    assert words in (told.message if told else "")


def test_a_low_voltage_before_the_charge_is_past(team):
    battery = make_battery(team)
    read(battery, FLAT, last=30)
    read(battery, (12.0,), last=10, rest_v=12.1)
    charged(battery, ago=5)
    assert flag(team, "battery-topup") is None


@pytest.mark.parametrize(("ago", "due"), [(2, False), (3, True)])
def test_an_outing_without_a_charge_after_it(team, ago, due):
    battery = make_battery(team)
    read(battery, FLAT, last=30)
    charged(battery, ago=10)
    outings(battery, (3.0,), ago=ago)
    told = flag(team, "battery-topup")
    assert (told is not None) == due
    if told:
        assert told.severity == "fix"
        assert "no charge is noted since" in told.message


def test_on_a_charger_nothing_is_due(team):
    battery = make_battery(team)
    read(battery, FLAT, last=5, rest_v=12.2)
    charged(battery, ago=100)
    charged(battery, ago=0.1, ended=False)
    assert flag(team, "battery-topup") is None
    assert rows(battery, "battery-topup")[1]["conclusion"] == "It is on a charger."


def test_where_no_charge_is_noted_nobody_can_say(team):
    battery = make_battery(team)
    outings(battery, (3.0,), ago=30)
    assert flag(team, "battery-topup") is None
    assert rows(battery, "battery-topup")[0] == "not judged"


def test_lithium_and_batteries_out_of_use_need_no_top_up(team):
    charged(make_battery(team, model=make_model(team, code="LFP", chemistry="lfp")), ago=400)
    charged(make_battery(team, "B02", state="retired", state_reason="Old"), ago=400)
    assert not [rule for _, rule in found(team) if rule == "battery-topup"]


def test_the_days_are_the_packs(team):
    battery = make_battery(team)
    charged(battery, ago=40)
    pack(team, "battery-topup", topup_after_d=30)
    assert flag(team, "battery-topup").limit == 30


# Incidents.


def incident(battery, kind, *, ago: int = 2, looked: bool = False) -> BatteryIncident:
    when = NOW - timedelta(days=ago)
    return BatteryIncident.objects.create(
        team=battery.team, battery=battery, kind=kind, happened_at=when, looked_at=NOW if looked else None
    )


@pytest.mark.parametrize(
    ("kind", "severity", "word", "match", "practice"),
    [("dropped", "stop", "Quarantine", False, False), ("swollen", "stop", "Quarantine", False, False),
     ("flat", "fix", "Watch", False, True), ("lug", "fix", "Watch", False, True),
     ("other", "watch", "Watch", True, True)],
)  # fmt: skip
def test_an_incident_nobody_looked_at(team, kind, severity, word, match, practice):
    battery = make_battery(team)
    read(battery, FLAT)
    incident(battery, kind)
    told = flag(team, "battery-incident")
    assert told.severity == severity
    assert "nobody has looked at it" in told.message
    verdict = verdicts(system_scope(team), now=NOW)[battery.pk]
    assert verdict.word == word
    assert (verdict.may_match, verdict.may_practice) == (match, practice)


def test_what_was_looked_at_is_settled(team):
    battery = make_battery(team)
    read(battery, FLAT)
    incident(battery, "dropped", looked=True)
    assert flag(team, "battery-incident") is None
    assert verdicts(system_scope(team), now=NOW)[battery.pk].word == "Fit"


def test_the_gravest_of_several_speaks_and_all_are_counted(team):
    battery = make_battery(team)
    incident(battery, "hot", ago=9)
    incident(battery, "other", ago=1)
    told = flag(team, "battery-incident")
    assert told.message.startswith("Hot on 2026-11-16")
    assert "2 incidents wait in all" in told.message
    assert len(told.working["steps"]) == 2


def test_in_quarantine_it_still_waits_and_retired_no_more(team):
    incident(make_battery(team, state="quarantine", state_reason="Dropped"), "dropped")
    incident(make_battery(team, "B02", state="retired", state_reason="Cracked"), "cracked")
    assert {code for code, _ in found(team)} == {"B01"}


# Sag in outings.


def three(team, first=DEEP, **values) -> Battery:
    battery = make_battery(team)
    read(battery, FLAT)
    outings(battery, first, **values)
    for code in ("B02", "B03"):
        other = make_battery(team, code)
        read(other, FLAT)
        outings(other, USUAL, **values)
    return battery


def test_one_that_sags_more_than_the_others_is_watched(team):
    battery = three(team)
    told = flag(team, "battery-sag")
    assert (told.severity, told.unit) == ("watch", "frac")
    assert told.value == pytest.approx(4.7 / 3.5 - 1)
    assert "1.34 times as far" in told.message
    assert "Check lugs, plug and leads" in told.message
    assert {code for code, rule in found(team) if rule == "battery-sag"} == {"B01"}
    verdict = verdicts(system_scope(team), now=NOW)[battery.pk]
    assert (verdict.word, verdict.may_match) == ("Watch", True)
    assert any("p = 0.03125" in s["numbers"] for s in told.working["steps"])


def test_where_its_resistance_explains_it_the_rule_is_silent(team):
    """Half as much again by resistance: 18 over 12 mohm explains 1.34."""
    battery = three(team)
    battery.readings.all().delete()
    read(battery, (18.0,) * 6)
    assert flag(team, "battery-sag") is None
    state, working = rows(battery, "battery-sag")
    assert state == "pass"
    assert "no more than it should" in working["conclusion"]


def test_old_outings_say_nothing_of_today(team):
    battery = three(team, ago=181)
    assert flag(team, "battery-sag") is None
    assert "No outing noted lately" in rows(battery, "battery-sag")[1]["conclusion"]


@pytest.mark.parametrize(
    ("sags", "words"),
    [
        ((), "No outing noted lately. 5 say something"),
        (DEEP[:3], "3 of 3 outings have both voltages, 5 are needed"),
    ],
)
def test_what_is_missing_is_named(team, sags, words):
    assert words in rows(three(team, sags), "battery-sag")[1]["conclusion"]


def test_without_others_in_the_same_robot_there_is_no_comparison(team):
    battery = make_battery(team)
    outings(battery, DEEP)
    other = make_battery(team, "B02")
    outings(other, USUAL, robot=robot_of(team, "R2"))
    assert "to compare them with" in rows(battery, "battery-sag")[1]["conclusion"]


def test_a_simulated_match_turns_the_sag_into_a_resistance(team):
    """4.7 V at 200 A is 23.5 mohm; the largest load draws 60 A, three tenths of it all."""
    battery = three(team)
    build = Build.objects.create(team=team, robot=robot_of(team), label="A", dated=NOW.date())
    outcome = {"summary": {"used_ah": 3.5}, "contributors": [{"amps": 60.0, "share_frac": 0.3}]}
    MatchStudy.objects.create(
        team=team, build=build, key="k", runs=10, duration_s=150, outcome=outcome, computed_at=NOW
    )
    assert "(23.5 mΩ with leads and joints" in flag(team, "battery-sag").message
    assert rows(battery, "battery-sag")[1]["steps"][-1]["result"] == pytest.approx(23.5)


@pytest.mark.parametrize("many", [3, 8])
def test_the_queries_do_not_grow_with_outings(team, many):
    for n in range(many):
        battery = make_battery(team, f"B{n:02}")
        read(battery, FLAT)
        outings(battery, USUAL)
        incident(battery, "other")
    scope = system_scope(team)
    with CaptureQueriesContext(connection) as seen:
        verdicts(scope, now=NOW)
    assert len(seen) == 12
