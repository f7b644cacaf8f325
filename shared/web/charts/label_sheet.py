"""The first sheet of labels as it will be printed: used places, what goes where, and free places to begin at."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass

from django.utils.html import format_html
from django.utils.safestring import SafeString

from shared.labels.art import Art, Label, label_art
from shared.labels.layouts import Layout
from shared.web.charts.svg import element, number

#: Drawing units per millimetre: coordinates are rounded to a tenth of a unit.
UNIT_MM = 10.0


@dataclass(frozen=True)
class LabelSheet:
    """``start_url`` gives the address of the same page begun at another place; None: places are no links."""

    layout: Layout
    labels: Sequence[Label]
    start: int = 1
    start_url: Callable[[int], str] | None = None

    @property
    def pages(self) -> int:
        return sum(1 for _ in self.layout.pages(self.labels, self.start))

    @property
    def words(self) -> str:
        number = len(self.labels)
        what = f"{number} label{'' if number == 1 else 's'}"
        if self.layout.page == "Roll":
            return f"{what}, each {self.layout.name}."
        sheets = f"{self.pages} sheet{'' if self.pages == 1 else 's'}"
        return f"{what} on {sheets} ({self.layout.name}, {self.layout.page}), from place {self.start} on."


def label_sheet(chart: LabelSheet) -> SafeString:
    """Draw the first page; a place is a link that begins there."""
    layout = chart.layout
    first = dict(next(layout.pages(chart.labels, chart.start), []))
    width, height = layout.page_w_mm * UNIT_MM, layout.page_h_mm * UNIT_MM
    drawn: dict[Label, Art] = {}
    parts = [element("rect", class_="d-paper", x=0.0, y=0.0, width=width, height=height)]
    for place in range(1, layout.count + 1):
        label = first.get(place)
        art = None
        if label is not None:
            art = drawn.setdefault(label, label_art(label, layout.label_w_mm, layout.label_h_mm))
        parts.append(_place(chart, place, art))
    words = "The first of them: " + ", ".join(label.code for label in first.values()) if first else "Empty."
    svg = element(
        "svg",
        element("title", f"The first {'label' if layout.page == 'Roll' else 'sheet'}", id="label-sheet-t"),
        element("desc", words, id="label-sheet-d"),
        *parts,
        class_=f"labels labels--{layout.page.lower()}",
        viewBox=f"0 0 {number(width)} {number(height)}",
        role="group" if chart.start_url else "img",
        aria_labelledby="label-sheet-t",
        aria_describedby="label-sheet-d",
    )
    return format_html(
        '<figure class="chart chart--sheet">{}<figcaption>{}</figcaption></figure>', svg, chart.words
    )


def _place(chart: LabelSheet, place: int, art: Art | None) -> SafeString:
    layout = chart.layout
    x_mm, y_mm = layout.corner_mm(place)
    used = art is None and place < chart.start
    edge = element(
        "rect",
        class_=f"d-label d-label--{'used' if used else 'free' if art is None else 'print'}",
        x=x_mm * UNIT_MM,
        y=y_mm * UNIT_MM,
        width=layout.label_w_mm * UNIT_MM,
        height=layout.label_h_mm * UNIT_MM,
    )
    word = "used" if used else str(place)
    inside = _print(art, x_mm, y_mm) if art is not None else _word(word, layout, x_mm, y_mm)
    if chart.start_url is None or layout.count == 1:
        return element("g", edge, *inside)
    # What is read out begins with what is seen.
    seen = " ".join(line.text for line in art.lines) if art is not None else word
    says = f"{seen}: begin at place {place}"
    return element("a", element("title", says), edge, *inside, href=chart.start_url(place), aria_label=says)


def _word(word: str, layout: Layout, x_mm: float, y_mm: float) -> list[SafeString | str]:
    x = (x_mm + layout.label_w_mm / 2) * UNIT_MM
    y = (y_mm + layout.label_h_mm / 2) * UNIT_MM + 20
    return [element("text", word, class_="d-label__word d-mid", x=x, y=y)]


def _print(art: Art, x_mm: float, y_mm: float) -> list[SafeString | str]:
    bars = "".join(
        f"M{number((x_mm + x) * UNIT_MM)} {number((y_mm + y) * UNIT_MM)}"
        f"h{number(width * UNIT_MM)}v{number(height * UNIT_MM)}h{number(-width * UNIT_MM)}z"
        for x, y, width, height in art.dark_runs()
    )
    lines = [
        element(
            "text",
            line.text,
            class_="d-label__code" if line.bold else "d-label__small",
            x=(x_mm + line.x_mm) * UNIT_MM,
            y=(y_mm + line.y_mm) * UNIT_MM,
            font_size=line.size_mm * UNIT_MM,
            textLength=line.width_mm * UNIT_MM,
            lengthAdjust="spacingAndGlyphs",
        )
        for line in art.lines
    ]
    # Spaces between the lines, or they are read as one word.
    return [element("path", class_="d-label__qr", d=bars), *(part for line in lines for part in (line, " "))]
