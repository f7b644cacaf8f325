"""The battery sweep on what is not known, on capacity tests, on age and use."""

from __future__ import annotations

from datetime import date, timedelta

import pytest

from inventory.models import Battery, Charge, Charger
from tests.compliance.battery_shop import (
    FLAT,
    NOW,
    RISING,
    capacity,
    found,
    make_battery,
    make_model,
    make_team,
    pack,
    read,
)

pytestmark = pytest.mark.django_db


@pytest.fixture
def team():
    return make_team()


def unjudged(team):
    return found(team)[("B01", "battery-unjudged")]


def test_no_reading_says_what_to_take(team):
    make_battery(team)
    flag = unjudged(team)
    assert flag.severity == "unknown"
    assert "No readings: take one charged full, rested 4 h, at 15 to 30 °C" in flag.message


@pytest.mark.parametrize(
    ("values", "reason"),
    [
        ({"rest_v": 12.7}, "6 battery not full"),
        ({"rest_v": None}, "6 neither rest voltage nor state of charge noted"),
        ({"temperature_c": 8.0}, "6 not at 15 to 30 °C"),
        ({"rest_h": 1.0}, "6 rested less than 4 h"),
    ],
)
def test_readings_that_cannot_be_compared_are_counted_by_reason(team, values, reason):
    read(make_battery(team), RISING, **values)
    flags = found(team)
    assert set(flags) == {("B01", "battery-unjudged")}
    assert reason in flags[("B01", "battery-unjudged")].message


@pytest.mark.parametrize(
    ("count", "words"),
    [
        (
            2,
            "No baseline: 2 days with a comparable reading (AC, 1 kHz, Bench 1); 1 more on another day makes its",
        ),
        (
            3,
            "Too few readings: 3 days with a comparable reading (AC, 1 kHz, Bench 1); 3 more on other days give",
        ),
        (5, "Too few readings: 5 days"),
    ],
)
def test_too_little_says_how_many_more_by_which_instrument(team, count, words):
    read(make_battery(team), RISING[:count])
    assert unjudged(team).message.startswith(words)
    assert (unjudged(team).value, unjudged(team).limit, unjudged(team).unit) == (count, 6, "readings")


def test_six_days_are_enough(team):
    read(make_battery(team), FLAT)
    assert found(team) == {}


def test_six_readings_on_one_day_are_one_day(team):
    battery = make_battery(team)
    for minute, mohm in enumerate(FLAT, start=1):
        (row,) = read(battery, (mohm,), last=5)
        row.taken_at += timedelta(minutes=minute)
        row.save()
    assert "No baseline: 1 day with" in unjudged(team).message


@pytest.mark.parametrize(("last", "stale"), [(180, False), (181, True)])
def test_what_was_not_measured_for_half_a_year_is_not_known(team, last, stale):
    read(make_battery(team, acquired_on=date(2025, 1, 1)), FLAT, last=last)
    assert (("B01", "battery-unjudged") in found(team)) == stale
    if stale:
        assert "181 days old" in unjudged(team).message
        assert "AC, 1 kHz, Bench 1" in unjudged(team).message


def test_the_age_allowed_is_the_packs(team):
    read(make_battery(team), FLAT, last=60)
    pack(team, "battery-unjudged", stale_after_d=59)
    assert "60 days old" in unjudged(team).message


def test_readings_of_the_first_cycles_are_left_out(team):
    """Ended charges are counted: the first four readings follow 1 to 4 cycles, the others 5 and more."""
    battery, charger = make_battery(team, cycles_at_intake=0), Charger.objects.create(team=team, name="C")
    for row in read(battery, (20.0, 20.0, 20.0, 20.0, *FLAT)):
        start = row.taken_at - timedelta(hours=20)
        Charge.objects.create(
            team=team, battery=battery, charger=charger, started_at=start, ended_at=start + timedelta(hours=2)
        )
    assert found(team) == {}
    pack(team, "battery-rise", break_in_cycles=6)
    assert "Too few readings: 5 days" in unjudged(team).message


def test_where_nobody_counts_cycles_no_reading_is_left_out_for_them(team):
    read(make_battery(team, cycles_at_intake=1), FLAT)
    assert found(team) == {}


def test_lithium_is_judged_by_capacity_alone(team):
    model = make_model(team, code="LFP18", chemistry="lfp")
    battery = make_battery(team, model=model)
    read(battery, RISING)
    flags = found(team)
    assert set(flags) == {("B01", "battery-unjudged")}
    assert "lithium" in flags[("B01", "battery-unjudged")].message
    capacity(battery, 17.0)
    assert found(team) == {}


def judged_well(team, **values) -> Battery:
    battery = make_battery(team, **values)
    read(battery, FLAT)
    return battery


@pytest.mark.parametrize(
    ("ah", "severity"), [(14.39, "stop"), (14.4, "watch"), (16.19, "watch"), (16.2, None), (18.5, None)]
)
def test_capacity_limits_are_80_and_90_per_cent_of_rated(team, ah, severity):
    """18 Ah at the 20-hour rate; 14.4 Ah is 80 %, 16.2 Ah is 90 %."""
    capacity(judged_well(team), ah)
    flag = found(team).get(("B01", "battery-capacity"))
    assert (flag.severity if flag else None) == severity


@pytest.mark.parametrize(
    ("values", "why"),
    [
        ({"current_a": 1.0}, "its current is not the one"),
        ({"end_v": 11.0}, "another end voltage"),
        ({"temperature_c": 35.0}, "too cold or too warm"),
    ],
)
def test_a_test_at_other_conditions_cannot_be_judged(team, values, why):
    capacity(judged_well(team), 10.0, **values)
    flag = found(team)[("B01", "battery-capacity")]
    assert flag.severity == "unknown"
    assert why in flag.message
    assert "Test at 0.9 A (18 Ah in 20 h) to 10.5 V" in flag.message


def test_the_newest_test_counts_and_a_useless_one_does_not_hide_a_bad_one(team):
    battery = judged_well(team)
    capacity(battery, 14.0, ago=50)
    assert found(team)[("B01", "battery-capacity")].severity == "stop"
    capacity(battery, 14.0, ago=40, current_a=5.0)
    assert found(team)[("B01", "battery-capacity")].severity == "stop"
    capacity(battery, 17.5, ago=30)
    assert found(team) == {}


def test_a_cool_test_is_brought_to_25_degrees(team):
    """14.5 Ah at 20 C and the 20-hour rate is 14.5 / (1 - 0.006 * 5) = 14.95 Ah: watch, 83 %."""
    capacity(judged_well(team), 14.5, temperature_c=20.0)
    flag = found(team)[("B01", "battery-capacity")]
    assert flag.value == pytest.approx(14.5 / 0.97 / 18)
    assert flag.severity == "watch"


@pytest.mark.parametrize(("age", "old"), [(1094, False), (1095, True)])
def test_three_years_ask_for_a_test(team, age, old):
    judged_well(team, in_service_on=(NOW - timedelta(days=age)).date(), acquired_on=date(2020, 1, 1))
    assert (("B01", "battery-use") in found(team)) == old


@pytest.mark.parametrize(("intake", "much"), [(198, False), (199, True)])
def test_cycles_are_those_at_intake_and_the_charges_that_ended(team, intake, much):
    battery, charger = judged_well(team, cycles_at_intake=intake), Charger.objects.create(team=team, name="C")
    Charge.objects.create(
        team=team, battery=battery, charger=charger, started_at=NOW - timedelta(days=3), ended_at=NOW
    )
    # Neither a top-up in storage nor the charge it is on is a cycle.
    week = NOW - timedelta(days=7)
    Charge.objects.create(
        team=team, battery=battery, charger=charger, purpose="topup", started_at=week, ended_at=week
    )
    Charge.objects.create(team=team, battery=battery, charger=charger, started_at=NOW)
    flag = found(team).get(("B01", "battery-use"))
    assert (flag is not None) == much
    if flag:
        assert (flag.severity, flag.value, flag.limit, flag.unit) == ("watch", 200, 200, "cycles")
