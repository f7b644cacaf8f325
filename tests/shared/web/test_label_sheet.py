"""The drawing of a label sheet: places, words, links, and nothing a name could smuggle in."""

from __future__ import annotations

import re

import pytest

from shared.labels.art import Label
from shared.labels.layouts import LAYOUTS
from shared.web.charts import LabelSheet, label_sheet

ONE = Label("B:GP-07:D", "GP-07", "12 V 18 Ah", "Gull Point")


@pytest.mark.parametrize(
    ("key", "number", "start", "words"),
    [
        ("a4-24", 1, 1, "1 label on 1 sheet (24 of 70 × 37 mm, A4), from place 1 on."),
        ("a4-24", 25, 1, "25 labels on 2 sheets (24 of 70 × 37 mm, A4), from place 1 on."),
        ("a4-24", 2, 24, "2 labels on 2 sheets (24 of 70 × 37 mm, A4), from place 24 on."),
        ("roll-62x29", 3, 1, "3 labels, each 62 × 29 mm."),
    ],
)
def test_it_says_what_comes_out(key, number, start, words):
    assert LabelSheet(LAYOUTS[key], [ONE] * number, start).words == words


def test_every_place_is_drawn_once():
    svg = label_sheet(LabelSheet(LAYOUTS["letter-30"], [ONE] * 4, 3))
    kinds = re.findall(r"d-label--(\w+)", svg)
    assert [kinds.count(kind) for kind in ("used", "print", "free")] == [2, 4, 24]


def test_without_addresses_places_are_no_links():
    assert "<a " not in label_sheet(LabelSheet(LAYOUTS["a4-24"], [ONE]))
    linked = label_sheet(LabelSheet(LAYOUTS["a4-24"], [ONE], 1, lambda place: f"?start={place}"))
    assert linked.count("<a ") == 24


def test_names_are_escaped():
    named = Label("N:A1:X", "A1", "<b>&", 'x" onload="y')
    svg = label_sheet(LabelSheet(LAYOUTS["a4-8"], [named], 1, lambda place: f"?a=<&start={place}"))
    assert "<b>" not in svg
    assert 'onload="y' not in svg
    assert "&lt;b&gt;&amp;" in svg


def test_no_style_stands_in_the_drawing():
    assert "style=" not in label_sheet(LabelSheet(LAYOUTS["a4-24"], [ONE]))
