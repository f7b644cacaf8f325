"""From the page of labels to a scanned label, on a phone: choose, see the sheet, tap a place, print, type the code."""

from __future__ import annotations

import io
from typing import Any

import pytest
import zxingcpp
from PIL import Image
from playwright.sync_api import Page, expect

from tests.browser.every_page import AXE, SERIOUS, sign_in
from tests.world import make_world

pytestmark = [pytest.mark.browser, pytest.mark.django_db(transaction=True)]


def codes_on(page: Page, selector: str) -> set[str]:
    """What a decoder reads from the pixels of a part of the page."""
    picture = Image.open(io.BytesIO(page.locator(selector).screenshot()))
    return {code.text for code in zxingcpp.read_barcodes(picture)}


def test_a_label_is_chosen_seen_printed_and_scanned(live_server: Any, page: Page) -> None:
    world = make_world()
    team = f"{live_server.url}/t/{world.home.team.slug}"
    sign_in(page, live_server.url, world)
    page.set_viewport_size({"width": 390, "height": 900})
    page.goto(f"{team}/labels/")
    expect(page.locator("h1")).to_have_text("Choose what gets a label.")
    page.get_by_label("All batteries").check()
    page.get_by_text("Bins one by one").click()
    page.get_by_label("A1").check()
    page.select_option("#id_layout", "a4-8")
    page.get_by_role("button", name="Show the sheet").click()
    expect(page.locator("h1")).to_contain_text("2 labels on 1 sheet (8 of 99.1 × 67.7 mm, A4)")
    labels = codes_on(page, "svg.labels")
    assert {text.rsplit(":", 1)[0] for text in labels} == {"B:B01", "N:A1"}

    page.get_by_role("link", name="begin at place 5").click()
    expect(page.locator("h1")).to_contain_text("from place 5 on")
    assert codes_on(page, "svg.labels") == labels
    page.evaluate(AXE)
    found = page.evaluate("axe.run()")["violations"]
    assert [one["id"] for one in found if one["impact"] in SERIOUS] == []
    assert page.evaluate("document.documentElement.scrollWidth") <= 390
    address = page.get_by_role("link", name="Open the PDF").get_attribute("href")
    answer = page.request.get(f"{live_server.url}{address}")
    assert answer.headers["content-type"] == "application/pdf"
    assert answer.body().startswith(b"%PDF")

    page.goto(f"{team}/scan/")
    # A USB reader types into whatever has the focus and ends with Enter.
    page.keyboard.type(next(text for text in labels if text.startswith("B:")))
    page.keyboard.press("Enter")
    page.wait_for_url("**/batteries/*/")
