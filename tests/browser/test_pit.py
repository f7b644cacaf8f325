"""An afternoon in the pit on a phone: planned, swapped by scanning, a battery pulled, a match 20 minutes earlier."""

from __future__ import annotations

from datetime import timedelta
from typing import Any

import pytest
from django.test import Client
from django.utils import timezone
from playwright.sync_api import Page, expect

from builds.models import Match, Outing, RotationPlan, RotationStep
from inventory.models import Charge
from shared.models import Role
from tests.compliance.pit_shop import PitShop, busy_pit, make_pit

pytestmark = [pytest.mark.browser, pytest.mark.django_db(transaction=True)]


def on_a_phone(page: Page, base: str, shop: PitShop) -> str:
    """Signed in, on a small screen; returns the address of the team's pages."""
    client = Client()
    assert shop.scope.user is not None
    client.force_login(shop.scope.user, backend="django.contrib.auth.backends.ModelBackend")
    page.context.add_cookies([{"name": "sessionid", "value": client.cookies["sessionid"].value, "url": base}])
    page.set_viewport_size({"width": 390, "height": 844})
    return f"{base}/t/{shop.scope.team.slug}"


def fold(page: Page, words: str) -> Any:
    """Open the fold of these words."""
    found = page.locator("details.fold").filter(has=page.locator("summary", has_text=words)).first
    found.locator("summary").first.click()
    return found


def planned(shop: PitShop, number: str) -> str:
    step = RotationStep.objects.get(plan__event=shop.event, plan__current=True, match=shop.matches[number])
    return step.battery.code if step.battery else ""


def test_plan_swap_pull_and_move(live_server: Any, page: Page) -> None:
    shop = make_pit(Role.MEMBER, timezone.now(), batteries=5)
    for number, minutes in (("1", 40), ("2", 110), ("3", 190), ("4", 270)):
        shop.match(number, minutes)
    for code in shop.batteries:
        shop.ready(code)
    team = on_a_phone(page, live_server.url, shop)

    page.goto(f"{team}/pit/")  # one event is on, so this is its page
    expect(page.locator("h1")).to_have_text("Match 1 is next; nothing is planned.")
    page.get_by_role("button", name="Plan the rotation").click()
    expect(page.locator("h1")).to_contain_text("goes into Heron for match 1.")
    first = planned(shop, "1")
    expect(page.locator(".next__code")).to_have_text(first)
    expect(page.locator(".next__state")).to_contain_text("Ready")
    expect(page.locator("#next-start")).to_contain_text("39 min")

    # A scanner types while no field is chosen; Enter leads on to the voltage.
    page.locator("h1").click()
    page.keyboard.type(first)
    page.keyboard.press("Enter")
    expect(page.locator("#swap-said")).to_contain_text(f"{first} is the planned one")
    expect(page.locator("#swap-start")).to_be_focused()
    page.keyboard.type("128")
    expect(page.locator("#swap-said")).to_contain_text("Was it 12.8 V?")
    page.get_by_role("button", name="It is in").click()
    assert not Outing.objects.exists()  # the browser stops three figures
    page.locator("#swap-start").fill("12,84")
    expect(page.locator("#swap-start")).to_have_value("12.84")
    page.get_by_role("button", name="It is in").click()
    expect(page.locator("h1")).to_have_text(f"{first} is in Heron for match 1.")
    assert Outing.objects.get().start_rest_v == 12.84

    # The battery planned next is pulled: one tap, and the plan says what it changed.
    pulled = planned(shop, "2")
    asked = fold(page, "A battery is pulled")
    asked.get_by_label("Which one").select_option(pulled)
    asked.get_by_role("button", name="Hot").click()
    expect(page.locator("#messages")).to_contain_text(f"{pulled} is pulled (hot)")
    expect(page.locator("#pit-later")).to_contain_text(f"instead of {pulled}")
    assert planned(shop, "2") not in ("", pulled)

    # Match 2 is moved up by 20 minutes.
    starts_at = shop.matches["2"].starts_at
    asked = fold(page, "A match is earlier or later")
    asked.get_by_label("From which match on").select_option(str(shop.matches["2"].pk))
    asked.get_by_role("button", name="20 earlier").click()
    expect(page.locator("#messages")).to_contain_text("Match 2: 20 min earlier.")
    assert Match.objects.get(pk=shop.matches["2"].pk).starts_at == starts_at - timedelta(minutes=20)
    assert RotationPlan.objects.get(event=shop.event, current=True).reason == RotationPlan.Reason.TIMES

    # Nothing that a thumb taps is smaller than 48 px.
    small = page.locator(".pit button:visible, .pit summary:visible, .pit select:visible").evaluate_all(
        "all => all.filter(one => one.getBoundingClientRect().height < 48).map(one => one.outerHTML)"
    )
    assert small == []


def test_the_wrong_battery_is_told_at_once_and_may_go_in_anyway(live_server: Any, page: Page) -> None:
    shop = busy_pit(now=timezone.now())
    team = on_a_phone(page, live_server.url, shop)
    page.goto(f"{team}/pit/{shop.event.pk}/")
    page.locator("#swap-code").fill("gp04")
    expect(page.locator("#swap-said")).to_contain_text("The plan has GP-01 for match 9.")
    expect(page.get_by_label("It went in anyway")).to_be_hidden()
    page.locator("#swap-code").fill("GP-05")
    expect(page.locator("#swap-said")).to_contain_text("on Charger B until")
    page.get_by_role("button", name="It is in").click()
    assert not Outing.objects.filter(match=shop.matches["9"]).exists()
    page.get_by_label("It went in anyway").check()
    page.locator("#swap-out").fill("12.4")
    page.get_by_role("button", name="It is in").click()
    expect(page.locator("h1")).to_have_text("GP-05 is in Heron for match 9.")
    assert Outing.objects.get(match=shop.matches["8"]).end_rest_v == 12.4


def test_scan_tap_done_on_the_charging_board(live_server: Any, page: Page) -> None:
    shop = busy_pit(now=timezone.now())
    team = on_a_phone(page, live_server.url, shop)
    page.goto(f"{team}/charging/")
    expect(page.locator("#board-code")).to_be_focused()
    page.keyboard.type("GP-07")
    page.keyboard.press("Enter")
    page.get_by_role("button", name="Charger C").click()
    expect(page.locator("#board")).to_contain_text("GP-07 went on Charger C just now.")
    assert Charge.objects.get(battery__code="GP-07").charger.name == "Charger C"
    page.get_by_role("button", name="Undo GP-07").click()
    expect(page.locator("#messages")).to_contain_text("GP-07 was not put on Charger C.")
    assert not Charge.objects.filter(battery__code="GP-07").exists()
    # The clocks go on without the server.
    left = page.locator("#board time[data-countdown]").first
    expect(left).to_contain_text("min")
    page.clock.install(time=timezone.now() + timedelta(hours=3))
    page.reload()
    expect(left).to_have_text("ready now")
