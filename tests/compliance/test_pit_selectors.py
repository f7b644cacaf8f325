"""What the event page says: which match is next, is its battery ready, what speaks against a scanned one."""

from __future__ import annotations

from datetime import timedelta

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext

from builds.models import Match, RotationStep
from compliance.selectors.pit import LATE, carriers, likely_batteries, pit
from compliance.selectors.pit_swap import known_batteries, swap_cautions
from inventory.models import BatteryState
from shared.models import Role
from tests.compliance.pit_shop import PitShop, busy_pit, make_pit

pytestmark = pytest.mark.django_db


@pytest.fixture
def busy() -> PitShop:
    return busy_pit()


def seen(shop: PitShop, minutes: float = 0):
    return pit(shop.scope, shop.event, shop.at(minutes))


def set_state(shop: PitShop, code: str, state: str, reason: str = "38 mohm") -> None:
    battery = shop.batteries[code]
    battery.state, battery.state_reason = state, reason
    battery.save()


def test_the_next_match_and_the_two_after_it(busy):
    now = seen(busy)
    assert now.next.match.number == "9"
    assert now.next.battery.code == "GP-01"
    assert (now.next.ready.weight, now.next.ready.word) == ("ok", "Ready")
    assert now.next.due_at == busy.at(10)
    assert [after.match.number for after in now.after] == ["10", "11"]
    assert now.on_field.match.number == "8"
    assert "GP-01" in now.do_now


def of_match(now, number: str):
    return next(m for m in (now.next, *now.after) if m.match.number == number)


def test_a_battery_on_a_charger_is_full_in_time_charged_enough_or_too_late(busy):
    enough = of_match(seen(busy), "10")
    assert enough.battery.code == "GP-03"
    assert enough.row.ready_at > enough.due_at
    assert (enough.ready.weight, enough.ready.word) == ("watch", "Charged enough")
    # Needed by 14:55, and it rests for five minutes.
    assert "not full by 14:55, but enough. Take it off at 14:50." in enough.ready.sentence
    busy.matches["10"].starts_at = busy.at(240)
    busy.matches["10"].save()
    assert of_match(seen(busy), "10").ready.word == "Charging, in time"
    step = RotationStep.objects.get(match=busy.matches["9"])
    step.battery = busy.batteries["GP-05"]
    step.save()
    late = of_match(seen(busy), "9")
    assert (late.ready.weight, late.ready.word) == ("fix", "Charging, too late")
    assert late.ready.at > late.due_at


def test_what_the_plan_charges_first_is_told_with_charger_and_time(busy):
    step = RotationStep.objects.get(match=busy.matches["11"])
    step.battery, step.charger = busy.batteries["GP-02"], busy.chargers["C"]
    step.charge_from, step.charge_until, step.ready_at = busy.at(30), busy.at(90), busy.at(95)
    step.save()
    told = of_match(seen(busy), "11").ready
    assert (told.weight, told.word) == ("watch", "In a robot")
    assert told.sentence == "Goes on Charger C at 14:30; ready at 15:35, needed by 15:55."
    busy.matches["11"].starts_at = busy.at(20 * 60)
    busy.matches["11"].save()
    tomorrow = of_match(seen(busy), "11").ready
    assert tomorrow.sentence.endswith("ready at Sun 15:35, needed by Mon 09:45.")
    busy.matches["11"].starts_at = busy.at(130)
    busy.matches["11"].save()
    step.ready_at = busy.at(120)
    step.save()
    assert of_match(seen(busy), "11").ready.word == "To be charged, too late"


def test_once_it_is_in_the_robot_that_is_what_is_said(busy):
    outing = busy.event.matches.get(number="8").outings.get()
    outing.in_robot, outing.ended_at = False, busy.at(-1)
    outing.save()
    busy.outing("GP-01", "9", -1, None, start_rest_v=12.87)
    now = seen(busy)
    assert now.next.is_in
    assert now.next.ready.sentence == "Went in at 13:59 at 12.87 V."
    assert now.in_robot_of(busy.matches["9"]).battery.code == "GP-01"
    assert now.unmeasured[0].battery.code == "GP-02"


def test_a_match_that_should_have_begun_stays_next_until_its_battery_is_logged(busy):
    late = seen(busy, 25 + LATE / timedelta(minutes=1) - 1)
    assert late.next.match.number == "9"
    gone = seen(busy, 25 + LATE / timedelta(minutes=1))
    assert gone.next.match.number == "10"
    assert "9" not in [match.number for match in gone.unlogged]
    assert "9" in [match.number for match in seen(busy, 45).unlogged]


def test_a_match_called_off_is_not_next(busy):
    busy.matches["9"].called_off = True
    busy.matches["9"].save()
    assert seen(busy).next.match.number == "10"


def test_no_plan_no_battery_no_match():
    empty = make_pit(batteries=0)
    now = seen(empty)
    assert (now.next, now.matches, now.plan, now.over) == (None, [], None, False)
    empty.match("1", 30)
    assert seen(empty).next.ready.word == "No battery planned"
    empty.plan(m1=None)
    assert (seen(empty).next.ready.weight, seen(empty).next.ready.word) == ("stop", "No battery left")
    assert seen(empty, 60).over


def test_a_battery_put_aside_after_the_plan_is_told_to_stay(busy):
    set_state(busy, "GP-01", BatteryState.QUARANTINE)
    told = seen(busy).next.ready
    assert told.weight == "stop"
    assert "GP-01 must not go out" in told.sentence


def test_a_battery_for_practice_only_stops_for_a_match_and_not_for_practice(busy):
    set_state(busy, "GP-01", BatteryState.PRACTICE)
    now = seen(busy)
    practice = Match(number="P1", importance=Match.Importance.PRACTICE, robot=busy.robot, event=busy.event)
    assert any(c.stops for c in swap_cautions(now, busy.batteries["GP-01"], busy.matches["9"]))
    assert not any(c.stops for c in swap_cautions(now, busy.batteries["GP-01"], practice))


@pytest.mark.parametrize(
    ("code", "stops", "words"),
    [
        ("GP-01", False, ""),
        ("GP-04", False, "The plan has GP-01 for match 9."),
        ("GP-03", False, "GP-03 is 90 % charged, on Charger A until"),
        ("GP-05", True, "GP-05 is 70 % charged, on Charger B until"),
        ("GP-02", True, "The log has GP-02 in Heron."),
        ("GP-06", True, "GP-06 must not go out. "),
        ("GP-07", False, "was not used for days"),
    ],
)
def test_what_is_said_of_a_scanned_battery(busy, code, stops, words):
    told = swap_cautions(seen(busy), busy.batteries[code], busy.matches["9"])
    assert any(caution.stops for caution in told) is stops
    assert words in " ".join(caution.sentence for caution in told)


def test_a_low_voltage_says_that_the_battery_is_not_charged(busy):
    now = seen(busy)
    low = swap_cautions(now, busy.batteries["GP-01"], busy.matches["9"], 12.2)
    assert [caution.sentence for caution in low] == ["12.2 V at rest is not a charged battery."]
    assert not swap_cautions(now, busy.batteries["GP-01"], busy.matches["9"], 12.8)


def test_the_page_carries_what_it_says_without_the_server(busy):
    now = seen(busy)
    carried = {entry["code"]: entry for entry in known_batteries(now, busy.matches["9"])}
    assert len(carried) == 8
    assert carried["GP-01"]["planned"]
    assert carried["GP-01"]["cautions"] == []
    assert carried["GP-06"]["cautions"][0]["stops"]
    assert carried["GP-01"]["label"].startswith("B:GP-01:")


def test_taps_are_offered_for_the_planned_battery_first_and_for_nothing_unfit(busy):
    assert [battery.code for battery in likely_batteries(seen(busy))] == ["GP-01", "GP-04"]
    set_state(busy, "GP-04", BatteryState.PRACTICE)
    assert [battery.code for battery in likely_batteries(seen(busy))] == ["GP-01"]


def test_who_carried_before_is_offered_first(busy):
    busy.matches["7"].carrier = "Wren"
    busy.matches["7"].save()
    names = carriers(busy.scope, seen(busy))
    assert names[0] == "Wren"
    assert busy.scope.user.display_name in names


def test_the_queries_do_not_grow_with_the_event():
    def count(shop: PitShop) -> int:
        with CaptureQueriesContext(connection) as asked:
            known_batteries(seen(shop), shop.matches["9"])
        return len(asked)

    small, large = busy_pit(Role.MEMBER), busy_pit(Role.MEMBER)
    for i in range(20, 40):
        large.match(str(i), 200 + 10 * i)
    for i in range(11, 19):
        large.batteries[f"GP-{i}"] = type(large.batteries["GP-01"]).objects.create(
            team=large.scope.team, code=f"GP-{i}", model=large.shop.block, acquired_on=large.now.date()
        )
    assert count(large) == count(small)
    assert count(small) <= 32
