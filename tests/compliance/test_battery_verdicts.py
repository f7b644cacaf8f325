"""One verdict from everything known of a battery: which evidence decides, and what may go out."""

from __future__ import annotations

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext

from compliance.selectors.battery_health import verdicts
from shared.access import system_scope
from tests.compliance.battery_shop import (
    FLAT,
    NOW,
    RISING,
    capacity,
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


def told(team):
    return {v.code: v for v in verdicts(system_scope(team), now=NOW).values()}


def test_each_word_with_what_may_be_done(team):
    read(make_battery(team, "FIT"), FLAT)
    read(make_battery(team, "WATCH", acquired_on=NOW.date().replace(year=2020)), FLAT)
    read(make_battery(team, "PRACTICE"), RISING)
    capacity(make_battery(team, "RETIRE"), 13.0)
    make_battery(team, "NEW")
    make_battery(team, "HELD", state="quarantine", state_reason="Dropped")
    make_battery(team, "GONE", state="retired", state_reason="Old")
    read(make_battery(team, "KEPT", state="practice", state_reason="Old"), FLAT)
    shown = {code: (v.word, v.may_match, v.may_practice) for code, v in told(team).items()}
    assert shown == {
        "FIT": ("Fit", True, True),
        "WATCH": ("Watch", True, True),
        "PRACTICE": ("Practice only", False, True),
        "RETIRE": ("Retire", False, False),
        "NEW": ("Cannot judge", True, True),
        "HELD": ("Quarantine", False, False),
        "GONE": ("Retire", False, False),
        "KEPT": ("Practice only", False, True),
    }


def test_too_little_evidence_names_the_reading_that_settles_it(team):
    read(make_battery(team), FLAT[:2])
    verdict = told(team)["B01"]
    assert verdict.state == "unknown"
    assert "1 more on another day makes its baseline" in verdict.settles
    assert "rested 4 h" in verdict.settles


def test_after_a_jump_the_lugs_come_first_and_no_match(team):
    battery = make_battery(team)
    read(battery, FLAT, last=10)
    read(battery, (17.0,), last=2)
    verdict = told(team)["B01"]
    assert (verdict.word, verdict.may_match, verdict.may_practice) == ("Cannot judge", False, True)
    assert "check the lugs first, then measure again" in verdict.sentence


def test_a_capacity_past_its_limit_outweighs_flat_resistance(team):
    battery = make_battery(team)
    read(battery, FLAT)
    capacity(battery, 13.0)
    verdict = told(team)["B01"]
    assert verdict.word == "Retire"
    assert "72% of rated" in verdict.sentence
    assert [str(reason.standing) for reason in verdict.reasons][:2] == ["retire", "fit"]


def test_a_capacity_test_that_says_nothing_takes_nothing_away(team):
    battery = make_battery(team)
    read(battery, FLAT)
    capacity(battery, 9.0, current_a=20.0)
    assert told(team)["B01"].word == "Fit"


def test_a_lithium_pack_is_fit_by_its_capacity_alone(team):
    model = make_model(team, code="LFP20", chemistry="lfp")
    capacity(make_battery(team, model=model), 17.5)
    make_battery(team, "B02", model=model)
    assert {code: v.word for code, v in told(team).items()} == {"B01": "Fit", "B02": "Cannot judge"}


def test_with_every_judging_rule_off_nothing_says_fit(team):
    read(make_battery(team), FLAT)
    for rule in ("battery-rise", "battery-capacity", "battery-unjudged"):
        pack(team, rule, enabled=False)
    assert told(team)["B01"].word == "Cannot judge"


@pytest.mark.parametrize("many", [2, 12])
def test_the_queries_do_not_grow_with_the_batteries(team, many):
    for n in range(many):
        battery = make_battery(team, f"B{n:02}")
        read(battery, RISING if n % 2 else FLAT)
        capacity(battery, 15.0)
    scope = system_scope(team)
    with CaptureQueriesContext(connection) as seen:
        assert len(verdicts(scope, now=NOW)) == many
    assert len(seen) == 11
