"""The bars of the rotation: what happened as it was logged, what is planned after it, nothing overlapping."""

from __future__ import annotations

from datetime import datetime, timedelta
from itertools import pairwise

import pytest
from django.utils import timezone

from builds.models import Outing
from builds.selectors.cart import cart
from builds.selectors.cart_rows import handling_of
from builds.selectors.events import matches_of
from builds.selectors.rotation import current_plan
from compliance.selectors.rotation_days import Drawn, charges_during, rotation_picture
from shared.web.charts import RotationBar, RotationChart
from tests.compliance.pit_shop import NOW, PitShop, busy_pit, make_pit

pytestmark = pytest.mark.django_db


def picture(shop: PitShop) -> RotationChart:
    rows = cart(shop.scope, shop.event, shop.now)
    drawn = Drawn(
        view=current_plan(shop.scope, shop.event),
        cart=rows,
        matches=list(matches_of(shop.scope, shop.event).select_related("event")),
        outings=list(Outing.objects.filter(match__event=shop.event).select_related("match", "battery").order_by("pk")),
        charges=charges_during(shop.scope, shop.event, rows),
        handling=handling_of(shop.event),
        now=shop.now,
    )  # fmt: skip
    return rotation_picture(shop.event, drawn)


def bars(chart: RotationChart, code: str) -> list[RotationBar]:
    return [bar for day in chart.days for lane in day.lanes if lane.code == code for bar in lane.bars]


def minutes(shop: PitShop, moment: datetime) -> int:
    return round((moment - shop.now) / timedelta(minutes=1))


def told(shop: PitShop, code: str) -> list[tuple[str, int, int, str, bool]]:
    return [
        (b.kind, minutes(shop, b.start), minutes(shop, b.end), b.label, b.planned)
        for b in bars(picture(shop), code)
    ]


def test_a_match_that_was_played_is_a_bar_with_cooling_and_the_charge_after_it() -> None:
    shop = busy_pit()
    assert told(shop, "GP-03")[:3] == [
        ("robot", -65, -38, "7", False),
        ("cool", -38, -18, "", False),
        ("charge", -15, told(shop, "GP-03")[2][2], "Charger A", False),
    ]


def test_a_battery_in_the_robot_reaches_to_now_at_least() -> None:
    (robot, cool, *_) = told(busy_pit(), "GP-02")
    assert robot == ("robot", -20, 2, "8", False)  # back ten minutes after its match began
    assert cool == ("cool", 2, 22, "", True)


def test_a_planned_match_is_outlined_and_the_battery_is_ready_from_now_on() -> None:
    shop = make_pit()
    shop.match("9", 60)
    shop.ready("GP-01")
    shop.plan(m9="GP-01")
    assert told(shop, "GP-01")[-3:] == [
        ("ready", 0, 45, "", True),
        ("robot", 45, 70, "9", True),
        ("cool", 70, 90, "", True),
    ]


def test_a_planned_charge_stands_before_its_match() -> None:
    shop = make_pit()
    shop.match("9", 180)
    plan = shop.plan(m9="GP-01")
    plan.steps.update(
        charger=shop.chargers["B"], charge_from=shop.at(20), charge_until=shop.at(113), ready_at=shop.at(118)
    )
    assert told(shop, "GP-01") == [
        ("charge", 20, 113, "Charger B", True),
        ("rest", 113, 118, "", True),
        ("ready", 118, 165, "", True),
        ("robot", 165, 190, "9", True),
        ("cool", 190, 210, "", True),
    ]


def test_bars_of_a_battery_never_overlap() -> None:
    shop = busy_pit()
    chart = picture(shop)
    for code in shop.batteries:
        row = bars(chart, code)
        assert all(a.end <= b.start for a, b in pairwise(row)), code


def test_a_night_begins_a_new_drawing_and_midnight_does_not() -> None:
    shop = make_pit(now=NOW.replace(hour=23))
    for number, at in (("1", 10), ("2", 90), ("3", 600), ("4", 660)):
        shop.match(number, at)
    shop.match("5", 300, called_off=True)
    days = picture(shop).days
    assert [[mark.label for mark in day.matches] for day in days] == [["1", "2"], ["3", "4"]]
    assert all(day.start < day.end for day in days)
    assert days[0].end < days[1].start
    assert days[0].label.endswith("March")


def test_batteries_without_a_bar_are_named_under_the_drawing() -> None:
    shop = make_pit(batteries=3)
    shop.match("9", 60)
    shop.plan(m9="GP-02")
    (day,) = picture(shop).days
    assert [lane.code for lane in day.lanes] == ["GP-02"]
    assert day.note == "Nothing to do for GP-01, GP-03."


def test_times_are_those_of_the_event() -> None:
    with timezone.override("Europe/Lisbon"):
        shop = busy_pit()
        (first, *_) = bars(picture(shop), "GP-03")
        assert first.start.utcoffset() == timezone.localtime(shop.now).utcoffset()
