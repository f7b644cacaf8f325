"""The specimen in a real browser: no blocked content, no serious accessibility finding, large targets."""

from __future__ import annotations

from pathlib import Path

import pytest
from django.urls import path

from shared.web.views import specimen

urlpatterns = [path("specimen/", specimen)]
AXE = Path(__file__).resolve().parents[2] / "browser" / "vendor" / "axe.min.js"
SMALL_TARGETS = """
[...document.querySelectorAll('button, input:not([type=hidden]), select, textarea, summary, nav a, .button')]
  .map(node => [node, (node.closest('label') || node).getBoundingClientRect()])
  .filter(([node, box]) => box.width > 1 && (box.height < 44 || box.width < 44))
  .map(([node, box]) => `${node.outerHTML.slice(0, 80)} ${box.width}x${box.height}`)
"""

pytestmark = [pytest.mark.browser, pytest.mark.urls(__name__), pytest.mark.django_db]


@pytest.mark.parametrize("mode", ["light", "dark"])
@pytest.mark.parametrize("width", [390, 1280])
def test_no_serious_finding(page, live_server, width, mode):
    page.set_viewport_size({"width": width, "height": 900})
    page.emulate_media(color_scheme=mode)
    page.goto(f"{live_server.url}/specimen/")
    page.evaluate(AXE.read_text())
    violations = page.evaluate("axe.run()")["violations"]
    serious = [v for v in violations if v["impact"] in ("serious", "critical")]
    assert [(v["id"], [node["html"][:120] for node in v["nodes"]]) for v in serious] == []


@pytest.mark.parametrize("width", [390, 1280])
def test_nothing_sticks_out_and_targets_are_large(page, live_server, width):
    page.set_viewport_size({"width": width, "height": 900})
    page.goto(f"{live_server.url}/specimen/")
    assert page.evaluate("document.documentElement.scrollWidth") <= width
    assert page.evaluate(SMALL_TARGETS) == []


def test_one_drawing_shows_at_each_width(page, live_server):
    page.goto(f"{live_server.url}/specimen/")
    for width, shown in ((390, "compact"), (1280, "wide")):
        page.set_viewport_size({"width": width, "height": 900})
        visible = page.eval_on_selector_all(
            "svg.draw",
            "nodes => nodes.filter(n => n.getBoundingClientRect().width).map(n => n.getAttribute('class'))",
        )
        assert set(visible) == {f"draw draw--{shown}"}


def test_the_phone_menu_opens_without_script(browser, live_server):
    context = browser.new_context(viewport={"width": 390, "height": 844}, java_script_enabled=False)
    page = context.new_page()
    page.goto(f"{live_server.url}/specimen/")
    assert not page.get_by_role("link", name="Methods").is_visible()
    page.get_by_text("Menu", exact=True).click()
    assert page.get_by_role("link", name="Methods").is_visible()
    context.close()


def test_stepper_keypad_and_filter(page, live_server):
    page.goto(f"{live_server.url}/specimen/")
    volts = page.locator("#quick")
    page.get_by_role("button", name="raise Rest voltage by 0.01").click()
    assert volts.input_value() == "12.61"
    pad = page.get_by_role("group", name="Number pad for Rest voltage")
    for _ in range(6):
        pad.get_by_role("button", name="delete the last figure").click()
    for key in ("1", "3", "decimal point", "0", "5"):
        pad.get_by_role("button", name=key, exact=True).click()
    assert volts.input_value() == "13.05"
    page.locator("#find").fill("gp-04")
    assert page.locator("#cart tbody tr:visible").count() == 1
    assert page.locator("#cart-count").inner_text() == "1 of 4 rows"


def test_a_dangerous_submit_asks_first_and_may_be_left(page, live_server):
    page.goto(f"{live_server.url}/specimen/")
    form = page.locator("form[data-confirm]")
    form.locator("#id_resistance_mohm").fill("12.5")
    form.locator("#id_taken_on").fill("2026-03-12")
    form.locator("#id_method_0").check()
    form.get_by_role("button", name="Keep the reading").click()
    dialog = page.get_by_role("dialog")
    assert dialog.inner_text().startswith("Keep this reading?")
    dialog.get_by_role("button", name="Leave it as it was").click()
    assert page.get_by_role("dialog").count() == 0
    assert form.get_attribute("data-busy") is None


def test_a_second_click_sends_nothing_while_the_first_is_under_way(page, live_server):
    page.goto(f"{live_server.url}/specimen/")
    form = page.locator("form[data-once]")
    form.evaluate("form => { form.noValidate = true; delete form.dataset.confirm; }")
    # Looks last at every submit, notes whether it was stopped, and keeps the page where it is.
    page.evaluate(
        "window.stopped = []; window.addEventListener('submit', event => {"
        " window.stopped.push(event.defaultPrevented); event.preventDefault(); });"
    )
    button = form.get_by_role("button", name="Keep the reading")
    button.click()
    button.click(force=True)  # it says it is disabled now; a thumb does not read that
    assert page.evaluate("window.stopped") == [False, True]
    assert button.get_attribute("aria-disabled") == "true"


def test_the_feed_tree_grows_by_its_buttons_and_its_rows_by_the_keyboard(page, live_server):
    page.set_viewport_size({"width": 390, "height": 900})
    page.goto(f"{live_server.url}/specimen/")
    drawing = page.locator(".feed .draw--compact")
    before = drawing.bounding_box()["width"]
    larger, smaller = (page.get_by_role("button", name=f"Draw it {word}") for word in ("larger", "smaller"))
    assert smaller.is_disabled()
    larger.focus()
    page.keyboard.press("Enter")
    assert drawing.bounding_box()["width"] == pytest.approx(before * 1.35, rel=0.01)
    assert page.evaluate("document.documentElement.scrollWidth") <= 390
    smaller.click()
    assert drawing.bounding_box()["width"] == pytest.approx(before, rel=0.01)
    row = drawing.get_by_role("link", name="ARM-1 Arm motor at the shoulder")
    row.focus()
    assert row.evaluate("node => document.activeElement === node")
    assert row.bounding_box()["height"] >= 44
