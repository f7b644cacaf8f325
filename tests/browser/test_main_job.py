"""The main job in a real browser: bring a workbook in, mend its mistakes, see true flags and their working."""

from __future__ import annotations

import io
from pathlib import Path
from typing import Any

import pytest
from openpyxl import load_workbook
from playwright.sync_api import Page, expect

from compliance.models import Flag
from inventory.models import Reading
from shared import jobs
from shared.access import Scope
from shared.models import Role, User
from shared.workbook.team import export_workbook
from tests.world import PASSWORD, World, make_world

pytestmark = [pytest.mark.browser, pytest.mark.django_db(transaction=True)]


def sign_in(page: Page, base: str, name: str) -> None:
    page.goto(f"{base}/accounts/login/")
    page.fill("input[name=username]", name)
    page.fill("input[name=password]", PASSWORD)
    page.click("main button[type=submit], form button[type=submit]")
    page.wait_for_url("**/t/gull-point/**")


def workbook_of(world: World) -> Any:
    lead: User = world.cast.lead
    scope = Scope(user=lead, team=world.home.team, role=Role.LEAD)
    return load_workbook(io.BytesIO(export_workbook(scope=scope)))


def cell_of(book: Any, sheet: str, heading: str, first: str) -> Any:
    """The cell under that heading in the row whose first cell says ``first``."""
    rows = list(book[sheet].iter_rows())
    head = next(row for row in rows if any(c.value and str(c.value).startswith(heading) for c in row))
    column = next(c.column for c in head if c.value and str(c.value).startswith(heading))
    row = next(r for r in rows if r[0].row > head[0].row and any(str(c.value) == first for c in r))
    return book[sheet].cell(row=row[0].row, column=column)


def send(page: Page, base: str, file: Path) -> None:
    page.goto(f"{base}/t/gull-point/workbook/")
    page.set_input_files("input[type=file]", str(file))
    page.get_by_role("button", name="Compare with what is here").click()


def test_from_a_workbook_to_a_flag_with_its_working(live_server: Any, page: Page, tmp_path: Path) -> None:
    world = make_world()
    Flag.objects.all().delete()  # the sweep is to find it by itself
    base = live_server.url
    sign_in(page, base, "lead")

    # Three deliberate mistakes, told all at once; nothing is changed.
    book = workbook_of(world)
    cell_of(book, "Circuits", "Length", "C1").value = "a few feet"
    cell_of(book, "Circuits", "Wire", "C1").value = "W99"
    cell_of(book, "Protective devices", "Rating", "F40").value = "40 mohm"
    wrong = tmp_path / "wrong.xlsx"
    book.save(wrong)
    send(page, base, wrong)
    expect(page.locator("h1")).to_contain_text("3 things need mending")
    for value in ("a few feet", "W99", "40 mohm"):
        expect(page.locator("#errors")).to_contain_text(value)

    # Mended, with a load that is too much for 12 AWG: 45 A in 33 CFR 183.425 Table 5, 105 C, single.
    book = workbook_of(world)
    cell_of(book, "Circuits", "Running current", "C1").value = "48 A"
    good = tmp_path / "good.xlsx"
    book.save(good)
    send(page, base, good)
    expect(page.locator("h1")).to_contain_text("would add 0 and change 1 row")
    page.get_by_role("button", name="Import all of it").click()
    page.wait_for_load_state()

    list(jobs.run_due(wait_for_debounce=True))
    page.goto(f"{base}/t/gull-point/flags/")
    page.get_by_role("link", name="12 AWG carries").first.click()
    working = page.locator(".working").first
    expect(working).to_contain_text("33 CFR 183.425")
    expect(working).to_contain_text("45")


def test_a_reading_in_three_taps_on_a_phone(live_server: Any, page: Page) -> None:
    world = make_world()
    page.set_viewport_size({"width": 390, "height": 844})
    sign_in(page, live_server.url, "member")
    before = Reading.objects.count()
    battery = world.home.rows[next(m for m in world.home.rows if m.__name__ == "Battery")]
    page.goto(f"{live_server.url}/t/gull-point/batteries/{battery.pk}/")
    page.get_by_role("link", name="Log a reading").first.click()  # first tap
    page.fill("input[name=resistance_mohm]", "14.9")  # second: the number; meter and method are remembered
    page.get_by_role("button", name="Save the reading").click()  # third
    page.wait_for_url("**/batteries/**")
    assert Reading.objects.count() == before + 1
    newest = Reading.objects.order_by("-pk").first()
    assert newest is not None
    assert newest.resistance_mohm == 14.9
    assert newest.instrument == "Meter A"
