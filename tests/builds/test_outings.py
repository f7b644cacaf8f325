"""A battery goes into a robot and comes out again; entries sent twice, late, or by two people."""

from __future__ import annotations

from datetime import date, datetime, timedelta
from typing import Any

import pytest
from django.utils import timezone

from builds.models import Event, Match, Outing, Robot
from builds.services.charging import purpose_of, put_on_charger
from builds.services.outings import Whereabouts, outing_end, outing_end_of, outing_start
from inventory.models import Battery, Charge
from inventory.services.batteries import battery_set_state, charge_end, charge_start
from shared.errors import Conflict, DomainError, NotAllowed
from shared.models import Role
from tests.builds.workshop import Workshop, make_event, make_robot, make_workshop
from tests.inventory.test_batteries import make_battery

pytestmark = pytest.mark.django_db


@pytest.fixture
def shop() -> Workshop:
    return make_workshop()


@pytest.fixture
def robot(shop) -> Robot:
    return make_robot(shop)


@pytest.fixture
def battery(shop) -> Battery:
    return make_battery(shop.scope)


def make_match(shop: Workshop, robot: Robot, number: str = "1", **values: Any) -> Match:
    event = Event.objects.filter(team=shop.team).first() or make_event(
        shop, "Open", date(2026, 12, 7), [robot]
    )
    return Match.objects.create(
        team=shop.team, event=event, robot=robot, number=number, **{"starts_at": timezone.now(), **values}
    )


def ago(minutes: float) -> datetime:
    return timezone.now() - timedelta(minutes=minutes)


def start(shop, battery, robot=None, **more) -> Outing:
    return outing_start(scope=shop.scope, battery=battery, robot=robot, **more)


def test_the_battery_before_comes_out_of_the_robot_and_this_one_off_its_charger(shop, robot, battery):
    former = start(shop, make_battery(shop.scope, "B02"), robot, started_at=ago(40))
    charge_start(scope=shop.scope, battery=battery, charger="1", started_at=ago(90))
    made = start(shop, battery, robot, start_rest_v=12.84)
    former.refresh_from_db()
    charge = Charge.objects.get()
    assert (former.in_robot, former.ended_at) == (False, made.started_at)
    assert charge.ended_at == made.started_at
    assert (made.in_robot, made.ended_at, made.start_rest_v, made.by) == (True, None, 12.84, shop.scope.user)


def test_a_match_says_which_robot(shop, robot, battery):
    made = start(shop, battery, match=make_match(shop, robot))
    assert made.robot == robot
    with pytest.raises(DomainError, match="not of") as refused:
        start(shop, make_battery(shop.scope, "B02"), make_robot(shop), match=made.match)
    assert refused.value.field == "robot"
    with pytest.raises(DomainError, match="into which robot"):
        start(shop, make_battery(shop.scope, "B03"))


def test_a_second_tap_is_the_same_outing_however_late(shop, robot, battery):
    match = make_match(shop, robot)
    first = start(shop, battery, match=match, started_at=ago(5))
    assert start(shop, battery, match=match, start_rest_v=12.8) == first
    assert start(shop, battery, robot) == first
    assert start(shop, battery, match=match, started_at=first.started_at) == first
    assert Outing.objects.get().start_rest_v == 12.8
    with pytest.raises(Conflict, match=r"12\.8 noted") as refused:
        start(shop, battery, match=match, start_rest_v=12.6)
    assert refused.value.field == "start_rest_v"


def test_the_match_may_be_said_after_the_battery_is_in(shop, robot, battery):
    first = start(shop, battery, robot)
    match = make_match(shop, robot)
    assert start(shop, battery, match=match) == first
    assert Outing.objects.get().match == match


def test_one_that_stays_in_for_the_next_match_is_a_new_outing(shop, robot, battery):
    first = start(shop, battery, match=make_match(shop, robot, "1"), started_at=ago(30))
    second = start(shop, battery, match=make_match(shop, robot, "2"))
    first.refresh_from_db()
    assert first != second
    assert first.ended_at == second.started_at


def test_a_battery_is_not_in_two_robots(shop, robot, battery):
    start(shop, battery, robot, started_at=ago(10))
    with pytest.raises(Conflict, match=rf"B01 is in {robot} since .*Take it out of {robot} first"):
        start(shop, battery, make_robot(shop))
    assert Outing.objects.get().in_robot


def test_a_match_that_is_called_off_needs_no_battery(shop, robot, battery):
    with pytest.raises(DomainError, match="called off"):
        start(shop, battery, match=make_match(shop, robot, called_off=True))


def test_one_out_of_service_goes_out_only_if_it_is_said_so(shop, robot, battery):
    battery_set_state(scope=shop.scope, battery=battery, state="practice", reason="38 mohm")
    assert start(shop, battery, robot).in_robot
    match = make_match(shop, robot, importance="final")
    other = make_battery(shop.scope, "B02", state="quarantine", state_reason="dropped")
    with pytest.raises(DomainError, match="must not go out: quarantined"):
        start(shop, other, match=match)
    assert start(shop, other, match=match, although_out_of_service=True).in_robot


def test_what_happened_before_the_quarantine_is_taken_as_it_was(shop, robot, battery):
    """The phone sends at 11:00 that it went in at 10:40; at 10:50 somebody saw that it is swollen."""
    battery.history.update(history_date=ago(120))
    battery.save()
    battery.history.filter(history_date__gt=ago(60)).update(history_date=ago(100))
    battery_set_state(scope=shop.scope, battery=battery, state="quarantine", reason="swollen")
    made = start(shop, battery, robot, started_at=ago(20))
    assert made.in_robot
    with pytest.raises(DomainError, match="must not go out"):
        start(shop, battery, match=make_match(shop, robot), started_at=timezone.now())


@pytest.mark.parametrize(("typed", "meant"), [(128, r"Was it 12\.8 V"), (1.28, "between 6 and 15 V")])
def test_a_slip_of_the_voltmeter_is_named(shop, robot, battery, typed, meant):
    with pytest.raises(DomainError, match=meant) as refused:
        start(shop, battery, robot, start_rest_v=typed)
    assert refused.value.field == "start_rest_v"
    made = start(shop, battery, robot)
    with pytest.raises(DomainError, match=meant):
        outing_end(scope=shop.scope, outing=made, end_rest_v=typed)
    assert Outing.objects.get().in_robot


def test_an_entry_that_arrives_late_takes_its_place_in_the_past(shop, robot, battery):
    """Two phones: the later swap is on record before the earlier one arrives."""
    second = make_battery(shop.scope, "B02")
    charge_start(scope=shop.scope, battery=battery, charger="1", started_at=ago(200))
    now_in = start(shop, second, robot, started_at=ago(5))
    late = start(shop, battery, robot, started_at=ago(40))
    now_in.refresh_from_db()
    assert (late.in_robot, late.ended_at) == (False, now_in.started_at)
    assert now_in.in_robot
    assert Charge.objects.get().ended_at == late.started_at


def test_one_charged_since_is_out_of_the_robot_again(shop, robot, battery):
    charge = charge_start(scope=shop.scope, battery=battery, charger="1", started_at=ago(10))
    late = start(shop, battery, robot, started_at=ago(40))
    charge.refresh_from_db()
    assert (late.in_robot, late.ended_at, charge.ended_at) == (False, charge.started_at, None)


def test_it_comes_out_with_what_is_known_and_the_rest_follows(shop, robot, battery):
    made = start(shop, battery, robot, started_at=ago(20))
    out = outing_end(scope=shop.scope, outing=made, lowest_v=9.4)
    assert (out.in_robot, out.lowest_v, out.end_rest_v) == (False, 9.4, None)
    again = outing_end(scope=shop.scope, outing=made, end_rest_v=12.4, used_ah=2.1)
    assert (again.ended_at, again.end_rest_v, again.used_ah, again.lowest_v) == (out.ended_at, 12.4, 2.1, 9.4)
    assert outing_end(scope=shop.scope, outing=made, end_rest_v=12.4) == out
    with pytest.raises(Conflict, match=r"12\.4 noted") as refused:
        outing_end(scope=shop.scope, outing=made, end_rest_v=12.1)
    assert refused.value.field == "end_rest_v"


def test_it_does_not_come_out_before_it_went_in(shop, robot, battery):
    made = start(shop, battery, robot, started_at=ago(20))
    with pytest.raises(DomainError, match="cannot come back before") as refused:
        outing_end(scope=shop.scope, outing=made, ended_at=ago(30))
    assert refused.value.field == "ended_at"


def test_the_robot_or_the_battery_names_the_outing(shop, robot, battery):
    made = start(shop, battery, robot, started_at=ago(20))
    assert outing_end_of(scope=shop.scope, where=Whereabouts(robot=robot), end_rest_v=12.4) == made
    other = start(shop, make_battery(shop.scope, "B02"), robot, started_at=ago(5))
    # Sent late: at that moment the first battery was in the robot.
    assert (
        outing_end_of(scope=shop.scope, where=Whereabouts(robot=robot), ended_at=ago(10), lowest_v=9) == made
    )
    assert outing_end_of(scope=shop.scope, where=Whereabouts(battery=other.battery)) == other
    with pytest.raises(Conflict, match="Nothing is noted"):
        outing_end_of(scope=shop.scope, where=Whereabouts(robot=make_robot(shop)))


def test_on_the_charger_it_is_out_of_the_robot(shop, robot, battery):
    made = start(shop, battery, robot, started_at=ago(20))
    charge = put_on_charger(scope=shop.scope, battery=battery, charger="1")
    made.refresh_from_db()
    assert (made.in_robot, made.ended_at) == (False, charge.started_at)
    assert put_on_charger(scope=shop.scope, battery=battery, charger="1") == charge


def test_a_charge_that_arrives_late_ends_where_the_battery_went_out(shop, robot, battery):
    made = start(shop, battery, robot, started_at=ago(20))
    late = put_on_charger(scope=shop.scope, battery=battery, charger="1", started_at=ago(60))
    made.refresh_from_db()
    assert (late.ended_at, made.in_robot) == (made.started_at, True)


def test_the_purpose_of_a_charge_is_found_out(shop, robot, battery):
    assert purpose_of(battery, timezone.now()) == "first"
    assert purpose_of(make_battery(shop.scope, "B02", cycles_at_intake=4), timezone.now()) == "use"
    put_on_charger(scope=shop.scope, battery=battery, charger="1", started_at=ago(90))
    charge_end(scope=shop.scope, battery=battery, ended_at=ago(60))
    assert purpose_of(battery, timezone.now()) == "topup"
    start(shop, battery, robot, started_at=ago(30))
    assert put_on_charger(scope=shop.scope, battery=battery, charger="1").purpose == "use"


def test_an_auditor_logs_nothing(shop, robot, battery):
    auditor = make_workshop(Role.AUDITOR)
    with pytest.raises(NotAllowed):
        outing_start(scope=auditor.scope, battery=battery, robot=robot)
