"""The rotation on a phone and on paper: schedule in, planned, the best plan by itself, one sheet for the cart."""

from __future__ import annotations

from datetime import timedelta
from pathlib import Path
from typing import Any

import pypdfium2
import pytest
from django.utils import timezone
from playwright.sync_api import Page, expect

from builds.models import Match, RotationPlan
from builds.services.rotation import plan_work_out
from compliance.selectors.rotation import judged_for
from shared.models import Role
from tests.browser.test_pit import fold, on_a_phone
from tests.builds.workshop import make_robot
from tests.compliance.pit_shop import PitShop, make_pit

pytestmark = [pytest.mark.browser, pytest.mark.django_db(transaction=True)]


def charged(batteries: int = 6) -> PitShop:
    shop = make_pit(Role.LEAD, timezone.now(), batteries=batteries)
    for code in shop.batteries:
        shop.ready(code)
    return shop


def test_a_schedule_is_pasted_planned_and_slips_on_a_phone(live_server: Any, page: Page) -> None:
    shop = charged()
    team = on_a_phone(page, live_server.url, shop)
    address = f"{team}/events/{shop.event.pk}"
    day = shop.event.ends_on

    page.goto(f"{address}/rotation/")
    expect(page.locator("h1")).to_contain_text("has no matches yet")
    page.get_by_role("link", name="Schedule in").first.click()
    page.get_by_label("Schedule").fill(f"Day\tTime\tMatch\n{day}\t9:40\t1\n{day}\t25:20\t2\n")
    page.get_by_role("button", name="Look at it").click()
    expect(page.locator("h1")).to_contain_text("1 thing to mend first")
    expect(page.locator("table")).to_contain_text("25:20")
    # What was typed stands in the field again.
    page.get_by_label("Schedule").fill(page.get_by_label("Schedule").input_value().replace("25:20", "10:20"))
    page.get_by_role("button", name="Look at it").click()
    expect(page.locator("h1")).to_have_text("2 matches: 2 new, 0 changed, 0 as they are.")
    page.get_by_role("button", name="Bring it in").click()
    page.wait_for_url("**/rotation/")

    page.get_by_role("button", name="Make a plan").click()
    expect(page.locator("h1")).to_contain_text("goes out next, in match 1.")
    expect(page.get_by_role("progressbar")).to_be_visible()
    plan_work_out(scope=shop.scope, event=shop.event, judged=judged_for(shop.scope, shop.event))
    # The page asks for itself; nothing is loaded anew by hand.
    expect(page.locator("#rotation-lead")).to_contain_text("No better plan exists", timeout=10_000)
    expect(page.get_by_role("progressbar")).to_have_count(0)

    drawing = page.locator(".rotation .draw--compact").first
    before = drawing.bounding_box()
    page.get_by_role("button", name="Draw it larger").first.click()
    after = drawing.bounding_box()
    assert before is not None
    assert after is not None
    assert after["width"] > 1.3 * before["width"]
    assert page.evaluate("document.documentElement.scrollWidth") <= 390

    fold(page, "Matches are earlier or later").get_by_role("button", name="+20 later").click()
    expect(page.locator("#messages")).to_contain_text("20 min later")
    assert [timezone.localtime(m.starts_at).strftime("%H:%M") for m in Match.objects.order_by("starts_at")] == [
        "10:00", "10:40",
    ]  # fmt: skip
    assert RotationPlan.objects.filter(event=shop.event).count() == 2


@pytest.mark.parametrize("matches", [14, 20])
def test_the_plan_fits_on_one_sheet_of_paper(
    live_server: Any, page: Page, tmp_path: Path, matches: int
) -> None:
    shop = charged(8)
    second = make_robot(shop.shop, "LONGER-NAMED")
    second.name = "Oystercatcher with the long name"
    second.save()
    shop.event.robots.add(second)
    for n in range(matches):
        # Two days of them, of two robots, carried by somebody with a long name.
        at = 30 + 40 * (n // 2) + 12 * (n % 2) + (24 * 60 if n >= matches // 2 else 0)
        shop.match(f"R{n + 1}", at, robot=(shop.robot, second)[n % 2], carrier="Wilhelmina Sandpiper")
    plan = shop.plan(**{f"mR{n + 1}": f"GP-{n % 8 + 1:02d}" for n in range(matches)})
    plan.told = {
        "headline": "All matches have a fit and charged battery; " + "least to spare is in match R7. " * 3
    }
    plan.save()
    plan.steps.update(
        charger=shop.chargers["B"], charge_from=shop.at(10), charge_until=shop.at(103),
        ready_at=shop.at(108), margin_v=0.6,
    )  # fmt: skip
    team = on_a_phone(page, live_server.url, shop)
    page.goto(f"{team}/events/{shop.event.pk}/rotation/sheet/")
    page.pdf(path=tmp_path / "sheet.pdf", prefer_css_page_size=True)
    paper = pypdfium2.PdfDocument(tmp_path / "sheet.pdf")
    assert len(paper) == 1
    words = paper[0].get_textpage().get_text_bounded()
    for number in shop.matches:
        assert number in words
    assert "qualified adult" in words  # the caution goes with it
    width, height = paper[0].get_size()
    assert (round(width), round(height)) == (
        842,
        595,
    )  # A4 across, ISO 216: 297 x 210 mm at 72 points an inch


def test_a_sheet_names_the_moment_it_was_made(live_server: Any, page: Page) -> None:
    shop = charged()
    shop.match("1", 60)
    shop.plan(m1="GP-01")
    team = on_a_phone(page, live_server.url, shop)
    page.goto(f"{team}/events/{shop.event.pk}/rotation/sheet/")
    made = timezone.localtime(timezone.now() - timedelta(minutes=30))
    expect(page.locator(".lead")).to_contain_text(f"{made:%Y-%m-%d}")
