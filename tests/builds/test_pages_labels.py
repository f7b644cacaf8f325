"""Choosing labels: what is on the sheet, what is refused, and the PDF."""

from __future__ import annotations

import re

import pypdfium2
import pytest
import zxingcpp
from django.db import connection
from django.test.utils import CaptureQueriesContext
from django.urls import reverse

from builds.models import Robot
from inventory.models import Battery, Bin
from shared.models import Role
from tests.builds.workshop import make_robot, make_workshop
from tests.inventory.pages import make_battery

pytestmark = pytest.mark.django_db


@pytest.fixture
def shop(client):
    made = make_workshop(Role.AUDITOR)
    for code in ("GP-01", "GP-07"):
        make_battery(made.scope, code)
    Bin.objects.create(team=made.team, code="A1", name="Top shelf")
    make_robot(made, "heron")
    client.force_login(made.scope.user)
    return made


def ask(client, shop, name="label-list", query=""):
    return client.get(reverse(name, kwargs={"team": shop.team.slug}) + query)


def thing(model, letter, code):
    return f"{letter}{model.objects.get(code=code).pk}"


def codes_in(pdf: bytes) -> list[str]:
    pages = pypdfium2.PdfDocument(pdf)
    images = [page.render(scale=3, grayscale=True).to_pil() for page in pages]
    return [code.text for image in images for code in zxingcpp.read_barcodes(image)]


def test_nothing_is_chosen_at_first(client, shop):
    text = ask(client, shop).content.decode()
    assert "Choose what gets a label." in text
    assert "GP-07" in text
    assert '<svg class="labels' not in text


def test_the_sheet_is_shown_before_it_is_printed(client, shop):
    text = ask(client, shop, query="?kind=B&layout=a4-21&start=3").content.decode()
    assert "2 labels on 1 sheet (21 of 63.5 × 38.1 mm, A4), from place 3 on." in text
    assert text.count("d-label--used") == 2
    assert text.count("d-label--print") == 2
    assert text.count("d-label--free") == 17
    assert "B:GP-07:D" in text
    # Tapping a free place begins there and keeps the rest of the choice.
    assert re.search(r'href="\?kind=B&amp;layout=a4-21&amp;start=5"', text)


@pytest.mark.parametrize("name", ["label-pdf", "api-labels"])
def test_the_pdf_holds_what_was_chosen(client, shop, name):
    query = f"?kind=B&thing={thing(Bin, 'N', 'A1')}&thing={thing(Robot, 'R', 'heron')}&copies=2"
    answer = ask(client, shop, name, query)
    assert answer["Content-Type"] == "application/pdf"
    codes = codes_in(answer.content)
    assert len(codes) == 8
    assert {code.split(":")[1] for code in codes} == {"GP-01", "GP-07", "A1", "HERON"}


def test_an_archived_thing_is_printed_only_by_name(client, shop):
    Battery.objects.filter(code="GP-01").update(archived=True)
    assert len(ask(client, shop, query="?kind=B").context["chosen"]) == 1
    named = ask(client, shop, query=f"?thing={thing(Battery, 'B', 'GP-01')}")
    assert [one.code for one in named.context["chosen"]] == ["GP-01"]


@pytest.mark.parametrize(
    ("query", "says"),
    [
        (
            "?kind=B&start=25",
            "A sheet of 24 of 70 × 37 mm has 24 labels; 25 is not among them. Give 1 to 24.",
        ),
        ("?kind=B&start=0", "greater than or equal to 1"),
        ("?kind=B&copies=21", "less than or equal to 20"),
        ("?kind=X", "X is not one of the available choices"),
        ("?thing=B999999", "B999999 is not one of the available choices"),
        ("?kind=B&layout=a5-1", "a5-1 is not one of the available choices"),
        ("?kind=B&shift_x_mm=40", "less than or equal to 5"),
        ("?kind=B&shift_x_mm=nan", "Enter a number"),
    ],
)
def test_what_cannot_be_printed_is_said(client, shop, query, says):
    for name in ("label-list", "label-pdf"):
        answer = ask(client, shop, name, query)
        assert answer.status_code == 422
        assert says in answer.content.decode()
    answer = ask(client, shop, "api-labels", query)
    assert answer.status_code == 400
    assert says in str(answer.json())


def test_an_empty_choice_makes_no_file(client, shop):
    answer = ask(client, shop, "label-pdf")
    assert answer.status_code == 422
    assert "Nothing is chosen." in answer.content.decode()
    assert ask(client, shop, "api-labels").status_code == 400


def test_too_many_labels_are_refused(client, shop):
    for i in range(40):
        make_battery(shop.scope, f"X{i:02}")
    answer = ask(client, shop, "label-pdf", "?kind=B&copies=20")
    assert answer.status_code == 422
    assert "840 labels are too many for one file. Choose fewer" in answer.content.decode()


def test_another_teams_thing_is_not_there(client, shop):
    other = make_workshop(Role.AUDITOR)
    make_battery(other.scope, "FAR-01")
    answer = ask(client, shop, query=f"?thing={thing(Battery, 'B', 'FAR-01')}")
    assert answer.status_code == 422
    assert "FAR-01" not in answer.content.decode()


def test_the_pages_of_things_lead_here(client, shop):
    for name, model, letter, code in (
        ("battery-detail", Battery, "B", "GP-07"),
        ("bin-detail", Bin, "N", "A1"),
        ("robot-detail", Robot, "R", "heron"),
    ):
        pk = model.objects.get(code=code).pk
        page = client.get(reverse(name, kwargs={"team": shop.team.slug, "pk": pk})).content.decode()
        assert f"labels/?thing={letter}{pk}" in page


def test_more_things_take_no_more_queries(client, shop):
    def count() -> int:
        with CaptureQueriesContext(connection) as caught:
            assert ask(client, shop, query="?kind=B").status_code == 200
        return len(caught)

    few = count()
    for i in range(20):
        make_battery(shop.scope, f"X{i:02}")
    assert count() == few
