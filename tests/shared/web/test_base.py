"""The frame around every page: title, current place, notices, caution."""

from __future__ import annotations

from types import SimpleNamespace

import pytest
from django.template.loader import render_to_string

NAV = [("Home", "/t/gull-point/", "home"), ("Flags", "/t/gull-point/flags/", "flags")]


@pytest.fixture
def page(request_to):
    def render(**context: object) -> str:
        frame = {
            "team": SimpleNamespace(name="Gull Point", slug="gull-point"),
            "nav": NAV,
            "nav_key": "flags",
        }
        return render_to_string("web/base.html", {**frame, **context}, request=request_to)

    return render


def test_names_the_team_in_title_and_title_block(page):
    html = page()
    assert "<title>Loadstock – Gull Point</title>" in html
    assert html.count("Gull Point") >= 3


def test_marks_the_current_place_in_both_menus(page):
    html = page()
    assert html.count('href="/t/gull-point/flags/" aria-current="page"') == 2
    assert html.count("aria-current") == 2


def test_says_demo_data_only_when_it_is(page):
    assert "Demo data." in page(demo_data=True)
    assert "Demo data." not in page(demo_data=False)


def test_names_the_late_jobs(page):
    html = page(late_jobs=["battery sweep", "stock sweep"])
    assert "Background checks are late: battery sweep, stock sweep." in html
    assert "are late" not in page()


def test_carries_the_advice_caution_on_every_page(page):
    assert "Loadstock advises; it does not certify." in page()


def test_offers_other_teams_only_to_those_who_have_them(page):
    here = SimpleNamespace(name="Gull Point", slug="gull-point", url="/t/gull-point/")
    there = SimpleNamespace(name="Saltmarsh", slug="saltmarsh")
    assert "Saltmarsh" not in page(team=here, teams=[here])
    assert '<a href="/t/saltmarsh/">Saltmarsh</a>' in page(team=here, teams=[here, there])


def test_escapes_what_people_typed(page):
    html = page(team=SimpleNamespace(name="<b>Gull</b>", slug="x"))
    assert "<b>Gull" not in html
    assert "&lt;b&gt;Gull" in html


def test_renders_without_any_context(request_to):
    html = render_to_string("web/base.html", {}, request=request_to)
    assert 'id="main"' in html
    assert "Menu" not in html
