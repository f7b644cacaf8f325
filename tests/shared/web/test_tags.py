"""Severity, icons, quantities, the form and the working: what a page author calls."""

from __future__ import annotations

from dataclasses import dataclass, field

import pytest
from django import forms
from django.core.paginator import Paginator
from django.template import Context, Template
from django.template.loader import render_to_string

from shared.web.icons import ICONS, NAV_ICONS, SEVERITY_SHAPES, SEVERITY_WORDS, icon_svg
from shared.web.templatetags.web import number_pairs


def render(source: str, **context: object) -> str:
    return Template("{% load web %}" + source).render(Context(context))


@pytest.mark.parametrize(
    ("severity", "word"),
    [("stop", "Stop"), ("fix", "Fix"), ("watch", "Watch"), ("unknown", "Cannot judge"), ("ok", "In order")],
)
def test_severity_is_a_word_and_a_shape(severity, word):
    html = render("{% severity s %}", s=severity)
    assert f">{word}<" in html
    assert "<svg" in html
    assert f"sev--{severity}" in html


def test_every_severity_has_its_own_shape():
    assert set(SEVERITY_SHAPES) == set(SEVERITY_WORDS)
    assert len(set(SEVERITY_SHAPES.values())) == len(SEVERITY_SHAPES)


def test_a_severity_nobody_knows_cannot_be_judged():
    assert "Cannot judge" in render("{% severity s %}", s="purple")


@pytest.mark.parametrize("name", sorted(ICONS))
def test_icons_are_hidden_unless_they_carry_a_label(name):
    assert 'aria-hidden="true"' in icon_svg(name)
    labelled = icon_svg(name, label="A & B")
    assert 'role="img"' in labelled
    assert "<title>A &amp; B</title>" in labelled
    assert "style=" not in labelled


def test_every_navigation_icon_exists():
    assert set(NAV_ICONS.values()) <= set(ICONS)


def test_a_mistyped_icon_fails_with_the_known_names():
    with pytest.raises(KeyError, match="battery"):
        icon_svg("batery")


@pytest.mark.parametrize(
    ("call", "shown"),
    [
        ("{% qty 14.26 'mohm' %}", ('<span class="fig">14.3</span>', 'title="milliohm">mΩ')),
        ("{% qty 0.8 'frac' %}", ('<span class="fig">80</span>', ">%<")),
        ("{% qty 14.26 'mohm' 2 %}", ('<span class="fig">14.26</span>', "mΩ")),
        ("{% qty nothing 'v' %}", ('<span class="fig">–</span>', ">V<")),
        ("{% qty 12 'count' %}", ('<span class="fig">12</span>',)),
    ],
)
def test_quantities_carry_their_unit(call, shown):
    html = render(call)
    assert all(part in html for part in shown)


@pytest.mark.parametrize(
    ("given", "pairs"),
    [
        ({"I": 20.0}, [("I", 20.0, "")]),
        ({"I": (20.0, "A")}, [("I", 20.0, "A")]),
        ([("I", 20.0, "A"), ("n", 3)], [("I", 20.0, "A"), ("n", 3, "")]),
        ([{"symbol": "I", "value": 0.0, "unit": "A"}], [("I", 0.0, "A")]),
        ("20 A x 3", []),
        (None, []),
    ],
)
def test_numbers_of_a_step_may_come_in_several_shapes(given, pairs):
    assert number_pairs(given) == pairs


@dataclass
class Step:
    label: str
    formula: str = ""
    numbers: object = None
    result: object = None
    unit: str = ""


@dataclass
class Working:
    steps: list[Step]
    limit: object = None
    conclusion: str = ""
    source: str = ""
    status: str = ""
    extra: dict[str, str] = field(default_factory=dict)


def test_a_working_shows_formula_numbers_result_limit_and_source():
    step = Step("Drop", "U = 2 r l I", {"r": (0.00521, "ohm/m"), "I": (20.0, "A")}, 0.4168, "V")
    working = Working(
        [step], {"label": "at most", "value": 0.6, "unit": "V"}, "It holds.", "own source", "table"
    )
    html = render("{% working w %}", w=working)
    for part in (
        "U = 2 r l I",
        "0.00521",
        "ohm/m",
        "0.4168",
        "at most",
        "0.6",
        "It holds.",
        "own source",
        "table",
    ):
        assert part in html


def test_a_result_of_nought_is_still_a_result():
    html = render("{% working w %}", w={"steps": [{"label": "Left", "result": 0, "unit": "m"}], "limit": 0})
    assert '<span class="fig">0</span>' in html
    assert ">Limit</dt><dd>0</dd>" in html


class ReadingForm(forms.Form):
    resistance_mohm = forms.FloatField(
        label="Resistance",
        help_text="Ten minutes after the load is off.",
        widget=forms.NumberInput(attrs={"data-unit": "mohm"}),
    )
    rested = forms.BooleanField(label="Rested for an hour", required=False)
    method = forms.ChoiceField(
        label="Method", choices=[("dc", "Load step"), ("ac", "1 kHz")], widget=forms.RadioSelect
    )
    note = forms.CharField(label="Note", required=False, widget=forms.Textarea)
    token = forms.CharField(widget=forms.HiddenInput)


def form_html(data: dict[str, str] | None) -> str:
    return render_to_string("web/_form.html", {"form": ReadingForm(data), "submit": "Keep the reading"})


def test_a_form_labels_helps_and_names_units():
    html = form_html(None)
    assert '<label for="id_resistance_mohm">Resistance</label>' in html
    assert 'aria-describedby="id_resistance_mohm_helptext"' in html
    assert 'id="id_resistance_mohm_helptext"' in html
    assert '<span class="field__unit">mohm</span>' in html
    assert "<legend>Method</legend>" in html
    assert 'class="errors"' not in html


def test_an_error_is_told_at_the_top_with_a_link_and_at_the_field():
    html = form_html({"resistance_mohm": "twelve", "method": "dc", "token": "x"})
    assert "One thing needs" in html
    assert '<a href="#id_resistance_mohm">Resistance</a>: Enter a number.' in html
    assert 'id="id_resistance_mohm_error"' in html
    assert 'aria-describedby="id_resistance_mohm_helptext id_resistance_mohm_error"' in html
    assert 'aria-invalid="true"' in html


def test_every_wrong_field_is_named():
    html = form_html({})
    assert "3 things need" in html
    assert html.count("This field is required.") == 5  # two visible fields twice, the hidden one at the top


def test_pages_keep_the_other_parameters(request_to):
    page = Paginator(list(range(30)), 10).page(2)
    html = render_to_string("web/_pagination.html", {"page_obj": page}, request=request_to)
    assert 'href="?severity=stop&amp;page=1"' in html
    assert 'href="?severity=stop&amp;page=3"' in html
    assert "11–20 of 30" in html


def test_one_page_needs_no_pages(request_to):
    page = Paginator([1], 10).page(1)
    assert render_to_string("web/_pagination.html", {"page_obj": page}, request=request_to).strip() == ""


def test_an_empty_list_says_what_and_what_next():
    html = render_to_string(
        "web/_empty.html", {"what": "No spool yet.", "next": "Receive one.", "url": "/x/", "label": "Receive"}
    )
    assert all(part in html for part in ("No spool yet.", "Receive one.", 'href="/x/"'))


@pytest.mark.parametrize(
    ("kind", "words"),
    [
        ("battery", "lead-acid"),
        ("charging", "gives off gas"),
        ("crimp", "three strands"),
        ("fault", "melts wire"),
    ],
)
def test_cautions_defer_to_rules_and_practice(kind, words):
    html = render_to_string("web/_caution.html", {"kind": kind})
    assert words in html
    assert "local codes and licensed practice come first" in html
