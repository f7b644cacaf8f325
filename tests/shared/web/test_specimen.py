"""The specimen shows every component, and nothing in it breaks the Content-Security-Policy."""

from __future__ import annotations

import re
from html.parser import HTMLParser
from pathlib import Path

import pytest
from django.template.loader import render_to_string
from django.test import RequestFactory

from shared.web.icons import ICONS
from shared.web.specimen import specimen_context
from shared.web.views import specimen

WEB = Path(__file__).resolve().parents[3] / "shared" / "web"
VOID = {"meta", "link", "input", "br", "hr", "img"}


class Reader(HTMLParser):
    """Collects what the tests ask about and checks that tags close in order."""

    def __init__(self) -> None:
        super().__init__()
        self.ids: list[str] = []
        self.references: list[str] = []
        self.attributes: list[tuple[str, str, str]] = []
        self.inline_scripts = 0
        self.tags: set[str] = set()
        self.open: list[str] = []

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.note(tag, attrs)
        if tag not in VOID:
            self.open.append(tag)

    def handle_startendtag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.note(tag, attrs)

    def note(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.tags.add(tag)
        given = {name: value or "" for name, value in attrs}
        self.attributes += [(tag, name, value) for name, value in given.items()]
        if "id" in given:
            self.ids.append(given["id"])
        for name in ("for", "aria-labelledby", "aria-describedby"):
            self.references += given.get(name, "").split()
        if tag == "script" and "src" not in given:
            self.inline_scripts += 1

    def handle_endtag(self, tag: str) -> None:
        assert self.open, f"</{tag}> without a start"
        assert self.open.pop() == tag


def read(html: str) -> Reader:
    reader = Reader()
    reader.feed(html)
    reader.close()
    return reader


@pytest.fixture(scope="module")
def page() -> Reader:
    response = specimen(RequestFactory().get("/specimen/"))
    assert response.status_code == 200
    return read(response.content.decode())


def test_every_tag_is_closed_in_order(page):
    assert page.open == []


def test_holds_no_inline_script_style_or_handler(page):
    assert page.inline_scripts == 0
    assert "style" not in page.tags
    wrong = [
        (tag, name) for tag, name, _ in page.attributes if name == "style" or re.match(r"on[a-z]+$", name)
    ]
    assert wrong == []


def test_loads_nothing_from_elsewhere(page):
    sources = [value for tag, name, value in page.attributes if name in ("src", "href") and tag != "a"]
    assert sources
    assert all(re.match(r"/(?!/)", source) for source in sources)


def test_what_the_labels_point_at_exists(page):
    # The form stands twice on the page, so its ids do too; on real pages a form stands once.
    assert set(page.references) <= set(page.ids)


def test_drawing_ids_are_unique(page):
    drawings = [name for name in page.ids if name.startswith("specimen-")]
    assert len(drawings) == len(set(drawings)) == 32  # eight drawings, two sizes, title and description


def test_shows_every_icon_by_name():
    html = specimen(RequestFactory().get("/specimen/")).content.decode()
    assert [name for name in ICONS if name != "minus" and f"<title>{name}</title>" not in html] == []


@pytest.mark.parametrize(
    "template", sorted(path.name for path in (WEB / "templates" / "web").glob("_*.html"))
)
def test_every_partial_is_documented(template):
    internal = {
        "_camera.html",  # of the scan page alone
        "_head.html",
        "_mark.html",
        "_nav.html",
        "_team.html",
        "_user.html",
        "_messages.html",
        "_phone.html",
        "_working.html",
    }
    reference = (WEB / "__init__.py").read_text()
    assert template in internal or template in reference or template == "_severity.html"


@pytest.mark.parametrize("path", sorted(WEB.rglob("*.html")), ids=lambda path: path.name)
def test_no_template_holds_inline_style_or_script(path):
    text = path.read_text()
    assert not re.search(r"\sstyle=|<style|\son[a-z]+=|<script(?![^>]*src=)", text)


@pytest.mark.parametrize("name", ["400.html", "403.html", "403_csrf.html", "404.html", "500.html"])
def test_error_pages_say_what_to_do_and_need_no_context(name):
    html = render_to_string(name, {})
    reader = read(html)
    assert reader.open == []
    assert html.count("<li>") >= 2
    assert "To the home page" in html


@pytest.mark.parametrize(
    "sheet", ["tokens", "base", "layout", "components", "forms", "tables", "charts", "print"]
)
def test_every_style_sheet_is_linked_and_balanced(sheet):
    head = render_to_string("web/_head.html", {})
    assert f"/static/web/{sheet}.css" in head
    text = (WEB / "static" / "web" / f"{sheet}.css").read_text()
    assert text.count("{") == text.count("}")


def test_context_says_it_is_demo_data():
    assert specimen_context()["demo_data"] is True
