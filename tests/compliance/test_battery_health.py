"""What pages are told of batteries; and the queries it takes."""

from __future__ import annotations

from datetime import UTC, date, datetime

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext
from django.utils import timezone

from compliance.rules.batteries import RULES, policy_of
from compliance.selectors.battery_columns import day_to_date, local_days
from compliance.selectors.battery_health import battery_health, battery_working
from compliance.selectors.packs import PackTable
from compliance.sweeps.batteries import findings
from inventory.models import Battery
from shared.access import system_scope
from shared.planning.trends import DEFAULT_POLICY
from shared.web.charts import trend_chart
from tests.compliance.battery_shop import (
    FLAT,
    NOW,
    RISING,
    capacity,
    found,
    make_battery,
    make_team,
    pack,
    read,
)

pytestmark = pytest.mark.django_db


@pytest.fixture
def team():
    return make_team()


def health(team, **more):
    return {h.code: h for h in battery_health(system_scope(team), now=NOW, **more).values()}


def test_a_rising_battery_with_its_line_limits_and_crossing(team):
    """Baseline 12.1: limits at 14.52, 15.73 and 18.15 mohm; first reading 105 days ago, newest 5."""
    read(make_battery(team), RISING)
    h = health(team)["B01"]
    assert (h.word, h.severity, h.judged) == ("Practice only", "fix", True)
    assert [t.value for t in h.thresholds] == pytest.approx([14.52, 15.73, 18.15])
    assert [d for d, _ in h.fit] == [date(2026, 8, 12), date(2026, 11, 20)]
    assert len(h.band) == 3
    assert h.band[0].low < h.band[0].high
    # The band closes where the medians of day and resistance meet.
    assert h.band[1].low == h.band[1].high == pytest.approx((12.4 + 15.0) / 2)
    assert h.crossing is not None
    assert h.crossing.value == pytest.approx(18.15)
    assert h.slope_low_mohm_per_30d < h.slope_mohm_per_30d < h.slope_high_mohm_per_30d
    assert h.trend_mohm == RISING
    # By hand: of the 15 slopes of pairs the eighth is 0.0525 mohm a day. From the medians (day 50, 13.7) to
    # 18.15 that takes 84.8 days: day 134.8, that is 24 December, 34.8 days on and within half the span of 100.
    assert h.crossing_sentence.startswith("2026-12-24, interval 2026-1")


def test_no_date_is_told_past_half_the_span(team):
    """The straight line below meets 14.64 mohm 264 days after its first reading; 100 days of readings allow 150."""
    read(make_battery(team), (12.0, 12.2, 12.4, 12.6, 12.8, 13.0))
    h = health(team)["B01"]
    assert h.crossing_sentence == "not before 2027-01-09"
    assert h.crossing is not None
    assert (h.crossing.likely, h.crossing.latest) == (None, None)


def test_slope_is_the_median_of_all_pairs(team):
    """A straight line: 0.2 mohm every 20 days is 0.3 mohm in 30."""
    read(make_battery(team), (12.0, 12.2, 12.4, 12.6, 12.8, 13.0))
    assert health(team)["B01"].slope_mohm_per_30d == pytest.approx(0.3)


def test_readings_outside_the_trend_say_why(team):
    battery = make_battery(team)
    read(battery, FLAT)
    read(battery, (14.0,), last=50, rest_v=12.2)
    read(battery, (20.0,), last=51, instrument="Bench 2")
    notes = {p.value: p.note for p in health(team)["B01"].points if not p.counted}
    assert notes == {14.0: "battery not full", 20.0: "another method or instrument"}


def test_the_chart_can_be_drawn_whatever_is_known(team):
    read(make_battery(team), RISING)
    read(make_battery(team, "B02"), FLAT[:2])
    make_battery(team, "B03")
    drawn = {code: str(trend_chart(h.chart(NOW.date()))) for code, h in health(team).items()}
    assert "practice only +30%" in drawn["B01"]
    assert "<svg" in drawn["B02"]
    assert "no readings yet" in drawn["B03"]


def test_batteries_out_of_use_are_shown_and_archived_ones_only_by_name(team):
    read(make_battery(team, state="retired", state_reason="Old"), RISING)
    gone = make_battery(team, "B02", archived=True)
    assert set(health(team)) == {"B01"}
    assert set(health(team, battery_ids=[gone.pk])) == {"B02"}


def test_another_teams_battery_is_not_told(team):
    other = make_battery(make_team(), "B09")
    assert health(team, battery_ids=[other.pk]) == {}


def test_the_page_says_what_the_sweep_says(team):
    capacity(make_battery(team, "B01"), 14.0)
    read(make_battery(team, "B02"), RISING)
    read(make_battery(team, "B03"), FLAT)
    make_battery(team, "B04")
    swept = {(code, rule): f.severity for (code, rule), f in found(team).items()}
    shown = {
        (b.code, rule.code): state
        for b in Battery.objects.filter(team=team)
        for rule, state, _ in battery_working(system_scope(team), b, now=NOW)
        if state not in ("pass", "not judged")
    }
    assert shown == swept
    assert len(swept) == 4


def test_passed_rules_have_a_working_too(team):
    battery = make_battery(team)
    read(battery, FLAT)
    capacity(battery, 17.5)
    rows = battery_working(system_scope(team), battery, now=NOW)
    assert {rule for rule, _, _ in rows} == set(RULES)
    # Without an outing there is nothing to say of its sag.
    assert {rule.code: state for rule, state, _ in rows if state != "pass"} == {"battery-sag": "not judged"}
    assert all(w["conclusion"] and w["source"] for _, _, w in rows)
    assert {rule.code for rule, _, w in rows if not w["steps"]} == {"battery-sag", "battery-incident"}
    pack(team, "battery-use", enabled=False)
    rows = battery_working(system_scope(team), battery, now=NOW)
    assert {rule.code for rule, state, _ in rows if state == "off"} == {"battery-use"}


def test_without_a_pack_the_policy_is_the_default():
    assert policy_of(PackTable(), 0) == DEFAULT_POLICY


def test_every_limit_accepts_its_own_default():
    assert all(limit.read(limit.default) == limit.default for rule in RULES for limit in rule.limits)


@pytest.mark.parametrize("teams", [1, 5])
def test_the_queries_grow_neither_with_batteries_nor_with_teams(teams):
    made = [make_team() for _ in range(teams)]
    for team in made:
        for i in range(2 if teams == 1 else 10):
            battery = make_battery(team, f"B{i:02}")
            read(battery, RISING if i % 2 else FLAT[:4])
            capacity(battery, 15.0)
        pack(team, "battery-rise", practice_rise_frac=0.3 + team.pk / 10000)
    with CaptureQueriesContext(connection) as seen:
        rows, counts = findings([t.pk for t in made], now=NOW)
    assert len(seen) == 11
    assert counts["batteries"] == (2 if teams == 1 else 50)
    assert len(rows) == 2 * counts["batteries"]


@pytest.mark.parametrize(
    ("moment", "day"),
    [
        (datetime(2026, 7, 1, 3, 59, tzinfo=UTC), date(2026, 6, 30)),
        (datetime(2026, 7, 1, 4, 0, tzinfo=UTC), date(2026, 7, 1)),
        (datetime(2026, 12, 1, 4, 59, tzinfo=UTC), date(2026, 11, 30)),
        (datetime(2026, 12, 1, 5, 0, tzinfo=UTC), date(2026, 12, 1)),
    ],
)
def test_days_are_those_of_the_local_calendar(moment, day):
    """Eastern time is 4 h behind UTC in summer and 5 h in winter."""
    with timezone.override("America/New_York"):
        assert day_to_date(local_days([moment])[0]) == day
