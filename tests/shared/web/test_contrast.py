"""Every pair of ink and ground that the style sheets use is readable in both modes.

The ratio is computed as WCAG 2.2 defines it ("relative luminance" and "contrast ratio" in its glossary); text
needs 4.5 (success criterion 1.4.3), controls and drawn lines that carry meaning need 3 (1.4.11).
"""

from __future__ import annotations

import re
from pathlib import Path

import pytest

STATIC = Path(__file__).resolve().parents[3] / "shared" / "web" / "static" / "web"
TOKENS = (STATIC / "tokens.css").read_text()
COLOUR = re.compile(r"--([a-z-]+):\s*(#[0-9a-f]{6});")

GROUNDS = ("paper", "paper-lift", "paper-sunk")
TEXT = ("ink", "ink-soft", "copper", "stop", "fix", "watch", "unknown", "ok")
TEXT_PAIRS = [(ink, ground) for ink in TEXT for ground in GROUNDS]
TEXT_PAIRS += [("on-copper", "copper"), ("paper", "ink"), ("paper", "stop"), ("ink", "copper-wash")]
LINE_PAIRS = [("rule-strong", ground) for ground in GROUNDS]
LINE_PAIRS += [
    ("line-a", "paper"),
    ("line-b", "paper"),
    ("line-c", "paper"),
    ("ink", "band"),
    ("copper", "band"),
]


def tokens(mode: str) -> dict[str, str]:
    light, dark = TOKENS.split("@media screen and (prefers-color-scheme: dark)")
    found = dict(COLOUR.findall(light))
    return found if mode == "light" else found | dict(COLOUR.findall(dark))


def luminance(colour: str) -> float:
    parts = [int(colour[index : index + 2], 16) / 255 for index in (1, 3, 5)]
    red, green, blue = (c / 12.92 if c <= 0.04045 else ((c + 0.055) / 1.055) ** 2.4 for c in parts)
    return 0.2126 * red + 0.7152 * green + 0.0722 * blue


def ratio(one: str, other: str) -> float:
    low, high = sorted((luminance(one), luminance(other)))
    return (high + 0.05) / (low + 0.05)


def test_the_measure_agrees_with_known_ratios():
    """Black on white is 21 by definition; #767676 on white is the well-known grey just above 4.5."""
    assert ratio("#000000", "#ffffff") == pytest.approx(21.0)
    assert ratio("#767676", "#ffffff") == pytest.approx(4.54, abs=0.005)
    assert ratio("#777777", "#ffffff") < 4.5


def test_sheets_of_labels_can_be_read():
    found = tokens("light")
    for ground in ("sheet", "sheet-used"):
        assert ratio(found["sheet-print"], found[ground]) >= 7
    assert ratio(found["sheet-cut"], found["sheet"]) >= 3


def test_dark_mode_changes_every_colour():
    """All but what comes out of a printer."""
    light, dark = tokens("light"), tokens("dark")
    assert len(light) == 24
    same = {name for name in light if light[name] == dark[name]}
    assert same == {"sheet", "sheet-used", "sheet-cut", "sheet-print"}


@pytest.mark.parametrize("mode", ["light", "dark"])
@pytest.mark.parametrize(("ink", "ground"), TEXT_PAIRS)
def test_text(mode, ink, ground):
    found = tokens(mode)
    assert ratio(found[ink], found[ground]) >= 4.5


@pytest.mark.parametrize("mode", ["light", "dark"])
@pytest.mark.parametrize(("line", "ground"), LINE_PAIRS)
def test_lines_and_controls(mode, line, ground):
    found = tokens(mode)
    assert ratio(found[line], found[ground]) >= 3.0


@pytest.mark.parametrize("sheet", sorted(STATIC.glob("*.css")), ids=lambda path: path.name)
def test_colours_are_named_in_the_tokens_only(sheet):
    if sheet.name in ("tokens.css", "print.css"):
        return
    assert re.findall(r"#[0-9a-fA-F]{3,8}\b", sheet.read_text()) == []


@pytest.mark.parametrize("sheet", sorted(STATIC.glob("*.css")), ids=lambda path: path.name)
def test_every_token_used_exists(sheet):
    defined = set(re.findall(r"(--[a-z0-9-]+):", TOKENS))
    used = set(re.findall(r"var\((--[a-z0-9-]+)", sheet.read_text()))
    assert used <= defined


def test_controls_are_as_large_as_a_finger_needs():
    """44 CSS px is the target size of WCAG 2.2 success criterion 2.5.5; 1 rem is 16 px."""
    sizes = {name: float(rem) * 16 for name, rem in re.findall(r"--(tap[a-z-]*):\s*([\d.]+)rem", TOKENS)}
    assert sizes["tap"] >= 44
    assert sizes["tap-big"] > sizes["tap"]
