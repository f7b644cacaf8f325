"""The battery sweep on resistance: limits met exactly, both gates, baselines, jumps."""

from __future__ import annotations

import pytest

from inventory.models import Battery
from tests.compliance.battery_shop import FLAT, RISING, found, make_battery, make_team, pack, read

pytestmark = pytest.mark.django_db


@pytest.fixture
def team():
    return make_team()


def rising_to(top: float) -> list[float]:
    """Baseline 10.0, newest three with median ``top``, every reading above the one before."""
    return [9.9, 10.0, 10.1, top - 0.01, top, top + 0.01]


@pytest.mark.parametrize(
    ("top", "severity"),
    [(11.99, None), (12.0, "watch"), (12.99, "watch"), (13.0, "fix"), (14.99, "fix"), (15.0, "stop")],
)
def test_limits_are_met_exactly_at_20_30_and_50_per_cent(team, top, severity):
    """Ranks of all six rise, so p = 1/6! = 0.0014 and size alone decides."""
    read(make_battery(team), rising_to(top))
    flag = found(team).get(("B01", "battery-rise"))
    assert (flag.severity if flag else None) == severity


def test_the_finding_can_be_followed_by_hand(team):
    read(make_battery(team), RISING)
    flag = found(team)[("B01", "battery-rise")]
    steps = {s["label"]: s for s in flag.working["steps"]}
    assert flag.value == pytest.approx(16.2 / 12.1 - 1)
    assert (flag.limit, flag.unit) == (0.3, "frac")
    assert steps["Baseline"]["numbers"] == "12.00, 12.10, 12.40"
    assert steps["Baseline"]["result"] == pytest.approx(12.1)
    assert steps["Level"]["result"] == pytest.approx(16.2)
    # Exact table of Kendall (1975): the largest S of six readings is met by 1 order in 720.
    assert "p = 0.001389 with 6 readings" in steps["Gate 2, beyond chance"]["numbers"]
    assert "IEEE 1188-2005" in flag.working["limit"]["source"]
    assert "practice only" in flag.message


def test_size_without_significance_asks_for_another_reading(team):
    """Median of 17, 13, 16.9 over that of 12.5, 12, 12.4 is +36 %, but S = 7 of 15: p = 0.136."""
    read(make_battery(team), (12.5, 12.0, 12.4, 17.0, 13.0, 16.9))
    flag = found(team)[("B01", "battery-rise")]
    assert flag.severity == "watch"
    assert "may be chance" in flag.message


def test_significance_without_size_is_no_finding(team):
    read(make_battery(team), (12.0, 12.1, 12.2, 12.3, 12.4, 12.5))
    assert found(team) == {}


def test_a_new_instrument_opens_a_new_baseline_and_hides_nothing(team):
    read(make_battery(team), RISING, last=60)
    read(make_battery(team, "B02"), FLAT, last=60)
    for battery in Battery.objects.filter(team=team):
        read(battery, (20.0, 20.1), last=5, instrument="Bench 2")
    flags = found(team)
    assert flags[("B01", "battery-rise")].severity == "fix"
    assert ("B01", "battery-unjudged") not in flags
    assert flags[("B02", "battery-unjudged")].severity == "unknown"
    assert "1 more" in flags[("B02", "battery-unjudged")].message
    assert "Bench 2" in flags[("B02", "battery-unjudged")].message


def test_one_meter_written_in_two_ways_is_one_meter(team):
    battery = make_battery(team)
    read(battery, RISING[:3], last=65)
    read(battery, RISING[3:], last=5, instrument="BENCH 1")
    assert found(team)[("B01", "battery-rise")].severity == "fix"


@pytest.mark.parametrize(("newest", "flagged"), [(15.6, False), (15.7, True)])
def test_a_jump_past_30_per_cent_within_14_days_asks_for_the_lugs(team, newest, flagged):
    """15.6 / 12.0 - 1 = 30 % is at the limit, not past it."""
    battery = make_battery(team)
    read(battery, (*FLAT[:5], 12.0), last=15)
    read(battery, (newest,), last=1)
    flags = found(team)
    assert (("B01", "battery-sudden") in flags) == flagged
    if flagged:
        assert flags[("B01", "battery-sudden")].severity == "fix"
        assert "check the lugs first" in flags[("B01", "battery-sudden")].message
    assert ("B01", "battery-rise") not in flags


def test_fifteen_days_apart_is_no_jump(team):
    battery = make_battery(team)
    read(battery, FLAT, last=16)
    read(battery, (16.5,), last=1)
    assert ("B01", "battery-sudden") not in found(team)


@pytest.mark.parametrize(
    ("state", "top", "codes"),
    [
        ("practice", 13.5, set()),
        ("practice", 15.5, {"battery-rise"}),
        ("retired", 15.5, set()),
        ("quarantine", 15.5, set()),
    ],
)
def test_what_is_out_of_matches_is_not_sent_out_of_them_again(team, state, top, codes):
    read(make_battery(team, state=state, state_reason="Old"), rising_to(top))
    assert {code for _, code in found(team)} == codes


def test_archived_batteries_are_passed_over(team):
    read(make_battery(team, archived=True), RISING)
    assert found(team) == {}


def test_a_pack_changes_the_verdict_of_its_own_team_only(team):
    other = make_team()
    read(make_battery(team), RISING)
    read(make_battery(other, "B02"), RISING)
    pack(team, "battery-rise", practice_rise_frac=0.4)
    flags = found(team, other)
    assert flags[("B01", "battery-rise")].severity == "watch"
    assert flags[("B02", "battery-rise")].severity == "fix"


def test_a_pack_may_switch_a_rule_off_or_rename_its_severity(team):
    read(make_battery(team), RISING)
    pack(team, "battery-rise", severity="stop")
    assert found(team)[("B01", "battery-rise")].severity == "stop"
    team.refresh_from_db()
    other = make_team()
    read(make_battery(other, "B02"), RISING)
    pack(other, "battery-rise", enabled=False)
    assert found(other) == {}


@pytest.mark.parametrize("limits", [{"watch_rise_frac": 0.6}, {"alpha": "lots"}])
def test_a_pack_that_contradicts_itself_is_said_and_stops_nobody_else(team, limits):
    other = make_team()
    read(make_battery(team), RISING)
    read(make_battery(other, "B02"), RISING)
    pack(team, "battery-rise", **limits)
    flags = found(team, other)
    assert flags[("B01", "battery-unjudged")].severity == "unknown"
    assert "rule pack Ours" in flags[("B01", "battery-unjudged")].message
    assert flags[("B02", "battery-rise")].severity == "fix"
