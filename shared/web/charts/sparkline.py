"""A trend small enough for a table cell."""

from __future__ import annotations

import math
from collections.abc import Sequence

from django.utils.html import format_html
from django.utils.safestring import SafeString

from shared.web.charts.svg import Scale, element, number, path_through, value_range
from shared.web.figures import as_decimal, format_figure

WIDTH, HEIGHT, EDGE = 96.0, 24.0, 3.0


def sparkline(values: Sequence[object], *, limit: float | None = None, label: str = "") -> SafeString:
    """Draw values in their order, the last one as a dot, an optional limit as a dashed line.

    `values` holds numbers or (anything, number) pairs; what is missing or not finite is left out. Without
    any value it says so in words; a single value is a dot.
    """
    kept = [value for value in map(_value, values) if value is not None]
    if not kept:
        return format_html('<span class="soft">{}</span>', "no readings")
    shown = limit if limit is not None and math.isfinite(limit) else None
    low, high = value_range([*kept, *([] if shown is None else [shown])], pad_frac=0.0)
    x = Scale(0.0, float(max(len(kept) - 1, 1)), EDGE, WIDTH - EDGE)
    y = Scale(low, high, HEIGHT - EDGE, EDGE)
    places = [(x(float(index if len(kept) > 1 else 1)), y(value)) for index, value in enumerate(kept)]
    parts = []
    if shown is not None:
        level = y(shown)
        parts.append(element("line", class_="d-limit", x1=0.0, x2=WIDTH, y1=level, y2=level))
    if len(places) > 1:
        parts.append(element("path", class_="d-spark", d=path_through(places)))
    parts.append(element("circle", class_="d-last", cx=places[-1][0], cy=places[-1][1], r=2.6))
    return element(
        "svg",
        *parts,
        class_="spark",
        viewBox=f"0 0 {number(WIDTH)} {number(HEIGHT)}",
        width=int(WIDTH),
        height=int(HEIGHT),
        role="img",
        aria_label=label or _words(kept),
    )


def _value(item: object) -> float | None:
    if isinstance(item, (tuple, list)):
        item = item[-1]
    decimal = as_decimal(item)
    return None if decimal is None else float(decimal)


def _words(values: Sequence[float]) -> str:
    last = format_figure(values[-1], "0-2").strip("\u2007")
    if len(values) == 1:
        return f"one reading: {last}"
    first = format_figure(values[0], "0-2").strip("\u2007")
    return f"{len(values)} readings, from {first} to {last}"
