"""Where every battery is, what is left in it, and when it may go out: by hand-worked cases."""

from __future__ import annotations

import pytest

from builds.models import Handling, Outing
from builds.selectors.cart import CartState, by_next_ready, cart
from builds.selectors.cart_charge import LevelSource, Phase
from inventory.models import Battery, BatteryState, Charge, Method, Reading
from tests.builds.pit_shop import Pit, make_pit

pytestmark = pytest.mark.django_db


@pytest.fixture
def pit() -> Pit:
    return make_pit(batteries=2, chargers=2, matches=3)


def test_a_charged_and_rested_battery_is_ready(pit):
    row = pit.row(pit.batteries[0])
    assert (row.state, row.charge_frac, row.level.source) == (CartState.READY, 1.0, LevelSource.CHARGED)
    assert row.ready_at == row.since == pit.at(-115), "five minutes of rest after the charge"
    assert row.words == "Ready"


def test_nothing_for_days_makes_it_stored_and_its_charge_still_counts(pit):
    row = pit.row(pit.batteries[0], minutes=4 * 24 * 60)
    assert (row.state, row.charge_frac) == (CartState.STORED, 1.0)


def test_a_battery_nobody_charged_is_stored_and_nothing_is_known_of_it(pit):
    row = pit.row(pit.add_battery(charged=False))
    assert (row.state, row.charge_frac, row.ready_at) == (CartState.STORED, None, None)
    assert row.charge_words.startswith("Not known")


def test_the_way_of_a_battery_through_a_match(pit):
    battery, match = pit.batteries[0], pit.matches[0]  # the match begins at 60
    out = pit.went_out(battery, 40, match)
    row = pit.row(battery, 50)
    assert (row.state, row.next_state, row.next_at) == (CartState.IN_ROBOT, CartState.COOLING, pit.at(70))
    assert row.charge_frac == 1.0, "what it went in with"
    Outing.objects.filter(pk=out.pk).update(in_robot=False, ended_at=pit.at(75), used_ah=3.6)
    row = pit.row(battery, 80)
    assert (row.state, row.next_state, row.next_at) == (CartState.COOLING, CartState.WAITING, pit.at(95))
    assert row.charge_frac == pytest.approx(1 - 3.6 / 18)
    assert row.level.source == LevelSource.MEASURED
    assert pit.row(battery, 95).state == CartState.WAITING


def test_when_a_charge_will_be_done(pit):
    """3.6 Ah of 18 at 6 A with 60 min of absorption: 1.1 x 3.6 / 6 h = 39.6 min, and 60 (charging.py)."""
    battery = pit.batteries[0]
    pit.went_out(battery, 0, pit.matches[0], until=30, used_ah=3.6)
    pit.charged(battery, 60, None, pit.chargers[0])
    row = pit.row(battery, 70)
    assert (row.state, row.phase, row.charger) == (CartState.CHARGING, Phase.BULK, pit.chargers[0])
    assert (row.next_at - pit.at(60)).total_seconds() / 60 == pytest.approx(99.6)
    assert (row.ready_at - row.next_at).total_seconds() == 300
    assert 0.8 < row.charge_frac < 1.0
    assert pit.row(battery, 110).phase == Phase.ABSORPTION
    done = pit.row(battery, 60 + 100)
    assert (done.phase, done.charge_frac) == (Phase.FULL, 1.0)
    assert "On Charger 1" in row.words


def test_a_battery_taken_off_early_has_less_and_waits_if_it_is_too_little(pit):
    battery = pit.batteries[0]
    pit.went_out(battery, 0, pit.matches[0], until=30, used_ah=9.0)
    charge = pit.charged(battery, 60, 80, pit.chargers[0])
    row = pit.row(battery, 90)
    # 20 min at 6 A, of which 1/1.1 comes back: 1.82 Ah of 18.
    assert row.charge_frac == pytest.approx(0.5 + 6 * 20 / 60 / 1.1 / 18)
    assert row.state == CartState.WAITING
    Charge.objects.filter(pk=charge.pk).update(ended_at=pit.at(200))
    assert pit.row(battery, 202).state == CartState.RESTING
    assert pit.row(battery, 206).state == CartState.READY


def test_what_a_charger_says_it_gave_back_counts(pit):
    battery = pit.batteries[0]
    pit.went_out(battery, 0, pit.matches[0], until=30, used_ah=5.4)
    charge = pit.charged(battery, 60, 100, pit.chargers[0])
    Charge.objects.filter(pk=charge.pk).update(returned_ah=3.3)
    assert pit.row(battery, 110).charge_frac == pytest.approx(0.7 + 3.0 / 18)


def test_handling_of_the_event_counts(pit):
    battery = pit.batteries[0]
    Handling.objects.create(team=pit.scope.team, event=pit.event, cool_min=45, absorption_min=0, rest_min=0)
    pit.went_out(battery, 0, pit.matches[0], until=30, used_ah=3.6)
    assert pit.row(battery, 70).state == CartState.COOLING
    pit.charged(battery, 75, None, pit.chargers[0])
    row = pit.row(battery, 76)
    assert (row.ready_at - pit.at(75)).total_seconds() / 60 == pytest.approx(39.6)


def test_a_charger_with_a_time_of_its_own_keeps_to_it(pit):
    slow = pit.add_charger(3.0, absorption_min=120)
    pit.went_out(pit.batteries[0], 0, pit.matches[0], until=30, used_ah=3.6)
    pit.charged(pit.batteries[0], 60, None, slow)
    row = pit.row(pit.batteries[0], 61)
    assert (row.next_at - pit.at(60)).total_seconds() / 60 == pytest.approx(1.1 * 3.6 / 3 * 60 + 120)


def test_an_unknown_charger_current_is_assumed_and_said(pit):
    bare = pit.add_charger(None)
    pit.went_out(pit.batteries[0], 0, pit.matches[0], until=30, used_ah=3.6)
    pit.charged(pit.batteries[0], 60, None, bare)
    assert "6 A assumed" in pit.row(pit.batteries[0], 61).charge_words


def test_an_outing_without_measured_charge_takes_what_is_expected(pit):
    battery = pit.batteries[0]
    pit.went_out(battery, 45, pit.matches[0], until=75)
    row = pit.row(battery, 80)
    assert (row.level.source, row.charge_frac) == (LevelSource.ASSUMED, pytest.approx(1 - 3 / 18))
    for i, used in enumerate((2.0, 4.5, 5.0)):
        pit.went_out(pit.batteries[1], -9000 + 60 * i, pit.matches[1], until=-8990 + 60 * i, used_ah=used)
    row = pit.row(battery, 80)
    assert (row.level.source, row.charge_frac) == (LevelSource.PAST, pytest.approx(1 - 4.5 / 18))


def test_a_battery_that_came_back_unused_lost_nothing(pit):
    pit.went_out(pit.batteries[0], 30, pit.matches[0], until=45)  # the match begins at 60
    row = pit.row(pit.batteries[0], 100)
    assert (row.state, row.charge_frac) == (CartState.READY, 1.0)


def test_a_match_called_off_takes_nothing(pit):
    match = pit.matches[0]
    match.called_off = True
    match.save()
    pit.went_out(pit.batteries[0], 30, match, until=80)
    assert pit.row(pit.batteries[0], 110).charge_frac == 1.0


def test_the_rest_voltage_tells_where_nothing_else_does(pit):
    battery = pit.add_battery(charged=False)
    Reading.objects.create(team=pit.scope.team, battery=battery, taken_at=pit.at(-60), resistance_mohm=13,
                           method=Method.TWO_PULSE, instrument="Meter A", rest_v=12.575, rest_h=8)  # fmt: skip
    row = pit.row(battery)
    assert row.level.source == LevelSource.REST
    assert row.charge_frac == pytest.approx(0.75), "halfway between 12.3 V at 50 % and 12.85 V at 100 %"
    assert "±15%" in row.charge_words


def test_a_voltage_soon_after_a_charge_is_not_believed(pit):
    Reading.objects.create(team=pit.scope.team, battery=pit.batteries[0], taken_at=pit.at(-60), resistance_mohm=13,
                           method=Method.TWO_PULSE, instrument="Meter B", rest_v=12.4, rest_h=1)  # fmt: skip
    assert pit.row(pit.batteries[0]).level.source == LevelSource.CHARGED


@pytest.mark.parametrize("state", [BatteryState.QUARANTINE, BatteryState.RETIRED])
def test_out_of_service(pit, state):
    pit.event.batteries.set(pit.batteries)
    Battery.objects.filter(pk=pit.batteries[0].pk).update(state=state, state_reason="Dropped")
    row = pit.row(pit.batteries[0])
    assert (row.state, row.ready_at) == (CartState.OUT, None)
    assert "Dropped" in row.words


def test_a_quarantined_battery_in_a_robot_is_shown_there(pit):
    """Somebody must take it out."""
    pit.went_out(pit.batteries[0], 30, pit.matches[0])
    Battery.objects.filter(pk=pit.batteries[0].pk).update(state=BatteryState.QUARANTINE, state_reason="Hot")
    assert pit.row(pit.batteries[0], 40).state == CartState.IN_ROBOT


def test_the_cart_of_an_event_is_what_was_chosen_for_it(pit):
    codes = [row.battery.code for row in cart(pit.scope, pit.event, pit.now)]
    assert codes == ["P01", "P02"]
    pit.event.batteries.set(pit.batteries[1:])
    assert [row.battery.code for row in cart(pit.scope, pit.event, pit.now)] == ["P02"]
    assert [row.battery.code for row in cart(pit.scope, None, pit.now)] == ["P01", "P02"]


def test_sorted_by_what_is_ready_next(pit):
    waiting, charging = pit.batteries
    ready = pit.add_battery()
    pit.went_out(waiting, -100, pit.matches[0], until=-60, used_ah=3.6)
    pit.went_out(charging, -100, pit.matches[0], until=-60, used_ah=3.6)
    pit.charged(charging, -30, None, pit.chargers[0])
    order = [row.battery for row in by_next_ready(cart(pit.scope, pit.event, pit.now))]
    assert order == [ready, charging, waiting]


def test_the_queries_do_not_grow(pit, django_assert_num_queries, django_assert_max_num_queries):
    with django_assert_max_num_queries(11):
        cart(pit.scope, pit.event, pit.now)
    for i in range(6):
        battery = pit.add_battery(12 + i)
        pit.went_out(battery, -100, pit.matches[0], until=-60, used_ah=3.6)
        pit.charged(battery, -50, -20, pit.chargers[0])
    with django_assert_max_num_queries(11):
        cart(pit.scope, pit.event, pit.now)
