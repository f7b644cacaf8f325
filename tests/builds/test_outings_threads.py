"""Two phones at once, on PostgreSQL: one swap, one charge, one move; nobody is left in two places."""

from __future__ import annotations

from collections.abc import Callable
from datetime import date
from functools import partial

import pytest
from django.utils import timezone

from builds.models import Handling, Match, Outing
from builds.services.charging import put_on_charger
from builds.services.events import handling_save, matches_shift
from builds.services.outings import outing_end, outing_start
from inventory.models import Battery, BatteryIncident, Charge, Charger, Reading
from inventory.services.batteries import charge_start
from inventory.services.incidents import incident_log
from inventory.services.intake import FirstReading, battery_intake
from tests.builds.workshop import Workshop, make_event, make_robot, make_workshop
from tests.inventory.test_batteries import make_battery
from tests.inventory.test_ledger_threads import together

pytestmark = [pytest.mark.postgres, pytest.mark.django_db(transaction=True)]


@pytest.fixture
def shop() -> Workshop:
    return make_workshop()


def make_match(shop: Workshop) -> Match:
    robot = make_robot(shop)
    event = make_event(shop, "Open", date(2026, 12, 7), [robot])
    return Match.objects.create(
        team=shop.team, event=event, robot=robot, number="1", starts_at=timezone.now()
    )


def times(count: int, act: Callable[[], object]) -> list[Callable[[], object]]:
    return [act] * count


def test_the_same_swap_from_many_phones_is_one_outing(shop):
    match, battery = make_match(shop), make_battery(shop.scope)
    ends = together(times(6, lambda: outing_start(scope=shop.scope, battery=battery, match=match)))
    assert ends == {"done": 6}
    assert Outing.objects.count() == 1


def test_two_batteries_into_one_robot_leave_one_in_it(shop):
    match = make_match(shop)
    batteries = [make_battery(shop.scope, f"B{n}") for n in range(5)]
    together([partial(outing_start, scope=shop.scope, battery=b, match=match) for b in batteries])
    assert Outing.objects.filter(in_robot=True).count() == 1
    # The others came out when the next one went in; none is left open.
    assert Outing.objects.filter(in_robot=False, ended_at=None).count() == 0
    assert Outing.objects.count() == 5


def test_one_battery_into_two_robots_goes_into_one(shop):
    battery, robots = make_battery(shop.scope), [make_robot(shop) for _ in range(2)]
    ends = together([partial(outing_start, scope=shop.scope, battery=battery, robot=r) for r in robots])
    assert ends == {"done": 1, "Conflict": 1}
    assert Outing.objects.filter(in_robot=True).count() == 1


def test_on_a_charger_and_into_a_robot_at_once_is_one_of_the_two(shop):
    battery, robot = make_battery(shop.scope), make_robot(shop)
    for _ in range(4):
        together(
            [
                lambda: outing_start(scope=shop.scope, battery=battery, robot=robot),
                lambda: put_on_charger(scope=shop.scope, battery=battery, charger="1"),
            ]
        )
        inside = Outing.objects.filter(in_robot=True).count()
        charging = Charge.objects.filter(ended_at=None).count()
        assert inside + charging == 1


def test_two_batteries_on_one_charger_is_one_and_a_new_name_is_one_charger(shop):
    batteries = [make_battery(shop.scope, f"B{n}") for n in range(4)]
    ends = together([partial(charge_start, scope=shop.scope, battery=b, charger="New") for b in batteries])
    assert ends == {"done": 1, "Conflict": 3}
    assert (Charger.objects.count(), Charge.objects.count()) == (1, 1)


def test_swaps_between_two_robots_do_not_wait_for_each_other_for_ever(shop):
    """Both robots get the battery that is in the other one: refused, and nobody hangs."""
    robots = [make_robot(shop) for _ in range(2)]
    batteries = [make_battery(shop.scope, f"B{n}") for n in range(2)]
    for robot, battery in zip(robots, batteries, strict=True):
        outing_start(scope=shop.scope, battery=battery, robot=robot)
    ends = together(
        [
            lambda: outing_start(scope=shop.scope, battery=batteries[1], robot=robots[0]),
            lambda: outing_start(scope=shop.scope, battery=batteries[0], robot=robots[1]),
        ]
    )
    assert ends == {"Conflict": 2}
    assert Outing.objects.filter(in_robot=True).count() == 2


def test_the_same_end_twice_fills_in_once(shop):
    made = outing_start(scope=shop.scope, battery=make_battery(shop.scope), robot=make_robot(shop))
    ends = together(times(4, lambda: outing_end(scope=shop.scope, outing=made, end_rest_v=12.4)))
    assert ends == {"done": 4}
    assert Outing.objects.get().end_rest_v == 12.4
    assert made.history.count() <= 3


def test_dropped_seen_by_three_is_one_incident(shop):
    battery = make_battery(shop.scope)
    charge_start(scope=shop.scope, battery=battery, charger="1")
    ends = together(times(3, lambda: incident_log(scope=shop.scope, battery=battery, kind="dropped")))
    assert ends == {"done": 3}
    assert BatteryIncident.objects.count() == 1
    assert Charge.objects.filter(ended_at=None).count() == 0


def test_an_incident_and_a_charge_at_once_leave_nothing_charging(shop):
    battery = make_battery(shop.scope)
    together(
        [
            lambda: incident_log(scope=shop.scope, battery=battery, kind="swollen"),
            lambda: charge_start(scope=shop.scope, battery=battery, charger="1"),
        ]
    )
    battery.refresh_from_db()
    assert battery.state == "quarantine"
    assert Charge.objects.filter(ended_at=None).count() == 0


def test_the_same_announcement_heard_by_four_moves_the_match_once(shop):
    match = make_match(shop)
    was = match.starts_at
    ends = together(
        times(
            4,
            lambda: matches_shift(scope=shop.scope, event=match.event, from_match=match, minutes=20, was=was),
        )
    )
    assert ends == {"done": 4}
    match.refresh_from_db()
    assert (match.starts_at - was).total_seconds() == 1200


def test_an_event_gets_one_handling(shop):
    match = make_match(shop)
    ends = together(
        times(
            4,
            lambda: handling_save(scope=shop.scope, handling=Handling(team=shop.team, event=match.event)),
        )
    )
    assert ends == {"done": 4}
    assert Handling.objects.count() == 1


def test_the_same_new_battery_entered_by_three_is_one(shop):
    def join(serial: str) -> object:
        battery = Battery(
            team=shop.team, code="B50", model=shop.block, serial=serial, acquired_on=date(2026, 2, 1)
        )
        first = FirstReading(resistance_mohm=14.2, method="ac1k", instrument="Bench 1", rest_v=12.8)
        return battery_intake(scope=shop.scope, battery=battery, first=first, charger="Pit 1")

    ends = together([partial(join, "") for _ in range(3)])
    assert set(ends) <= {"done", "Conflict", "ValidationError"}
    assert ends["done"] >= 1
    assert (Battery.objects.count(), Reading.objects.count(), Charge.objects.count()) == (1, 1, 1)
