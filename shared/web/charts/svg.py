"""The drawing board of the charts: elements, scales, ticks. Text in, SafeString out; every value is escaped.

Colours never appear here: each element carries a class and static/web/charts.css inks it, so that
dark mode and print need no second drawing. Lengths are user units of the viewBox, about one CSS pixel each.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass
from datetime import date, datetime, timedelta

from django.utils.html import format_html, format_html_join
from django.utils.safestring import SafeString, mark_safe

Attr = str | int | float


def number(value: float) -> str:
    """Return a coordinate with at most one decimal; refuse what cannot be drawn."""
    if not math.isfinite(value):
        raise ValueError(f"cannot draw at {value!r}")
    text = f"{value:.1f}"
    return "0" if text in ("-0.0", "0.0") else text.removesuffix(".0")


def element(name: str, *children: SafeString | str, **attrs: Attr) -> SafeString:
    """Return one SVG element; `class_` and `stroke_width` become class and stroke-width."""
    written = format_html_join(
        "",
        ' {}="{}"',
        (
            (key.rstrip("_").replace("_", "-"), number(value) if isinstance(value, float) else value)
            for key, value in attrs.items()
        ),
    )
    tag = mark_safe(name)  # noqa: S308 -- element names are literals of this package
    if not children:
        return format_html("<{}{}/>", tag, written)
    return format_html("<{}{}>{}</{}>", tag, written, join(children), tag)


def join(parts: Iterable[SafeString | str]) -> SafeString:
    """Return the parts one after another, unsafe ones escaped."""
    return format_html_join("", "{}", ((part,) for part in parts))


def path_through(points: Sequence[tuple[float, float]]) -> str:
    """Return path data of straight lines through the points."""
    return "M" + "L".join(f"{number(x)} {number(y)}" for x, y in points)


@dataclass(frozen=True, slots=True)
class Scale:
    """A straight map from data to drawing; a domain of no width lands in the middle."""

    low: float
    high: float
    start: float
    end: float

    def __call__(self, value: float) -> float:
        if self.high == self.low:
            return (self.start + self.end) / 2
        return self.start + (value - self.low) / (self.high - self.low) * (self.end - self.start)

    def clamp(self, value: float) -> float:
        """Return the place of the value, held inside the drawing."""
        near, far = sorted((self.start, self.end))
        return min(max(self(value), near), far)


@dataclass(frozen=True, slots=True)
class Frame:
    """Outer size and inner margins of a drawing."""

    width: float
    height: float
    left: float
    right: float
    top: float
    bottom: float
    label_count: int

    @property
    def x0(self) -> float:
        return self.left

    @property
    def x1(self) -> float:
        return self.width - self.right

    @property
    def y0(self) -> float:
        return self.height - self.bottom

    @property
    def y1(self) -> float:
        return self.top


WIDE = Frame(width=880, height=340, left=54, right=16, top=24, bottom=34, label_count=9)
COMPACT = Frame(width=390, height=300, left=44, right=8, top=24, bottom=34, label_count=4)


def nice_step(span: float, most: int) -> float:
    """Return the least of 1, 2, 2.5, 5 times a power of ten that cuts the span into at most `most` parts."""
    raw = span / max(most, 1)
    if raw <= 0 or not math.isfinite(raw):
        return 1.0
    power = 10.0 ** math.floor(math.log10(raw))
    for factor in (1.0, 2.0, 2.5, 5.0):
        if factor * power >= raw * (1 - 1e-9):
            return factor * power
    return 10.0 * power


def value_ticks(low: float, high: float, most: int = 6) -> list[float]:
    """Return round values within [low, high], ends included when round."""
    step = nice_step(high - low, most)
    first = math.ceil(low / step - 1e-9)
    last = math.floor(high / step + 1e-9)
    return [index * step for index in range(first, last + 1)]


def value_range(
    values: Sequence[float], *, pad_frac: float = 0.08, from_zero: bool = False
) -> tuple[float, float]:
    """Return an axis range that holds all values with some air; one value alone gets air on both sides."""
    if not values:
        return 0.0, 1.0
    low, high = min(values), max(values)
    if from_zero:
        low, high = min(low, 0.0), max(high, 0.0)
    air = (high - low) * pad_frac if high > low else abs(high) * 0.08 or 1.0
    return (low if from_zero and low == 0.0 else low - air), high + air


def tick_text(value: float, step: float) -> str:
    """Return the label of a value tick with just the decimals its step needs."""
    decimals = max(0, -math.floor(math.log10(step) + 1e-9)) if step > 0 else 0
    if step and abs(step * 10**decimals - round(step * 10**decimals)) > 1e-6:
        decimals += 1
    return f"{value:.{decimals}f}".replace("-", "\u2212")


def day_number(day: date) -> float:
    """Return a date or a datetime as days, so that both can stand on one axis."""
    if isinstance(day, datetime):
        return day.toordinal() + (day.hour * 3600 + day.minute * 60 + day.second) / 86400
    return float(day.toordinal())


def date_ticks(first: date, last: date, most: int) -> list[tuple[date, str]]:
    """Return at most `most` + 1 dates with labels: days, weeks, month or year starts, whichever fits."""
    span = (last - first).days
    if span <= 0:
        return [(first, day_text(first))]
    for step in (1, 2, 7, 14):
        if span / step <= most and span < 60:
            days = [first + timedelta(days=n) for n in range(0, span + 1, step)]
            return [(day, day_text(day)) for day in days]
    for months in (1, 2, 3, 6, 12, 24, 60, 120):
        ticks = list(month_starts(first, last, months))
        if len(ticks) <= most + 1:
            return [(day, month_text(day, months)) for day in ticks] or [(first, day_text(first))]
    return [(first, day_text(first)), (last, day_text(last))]


def month_starts(first: date, last: date, months: int) -> Iterable[date]:
    """Yield the first of every so many months between two dates, counted from January."""
    index = first.year * 12 + first.month - 1
    index += (-index) % months
    if date(index // 12, index % 12 + 1, 1) < first:
        index += months
    while (day := date(index // 12, index % 12 + 1, 1)) <= last:
        yield day
        index += months


def day_text(day: date) -> str:
    """Return a day as people read it on an axis: 5 Mar."""
    return f"{day.day} {day:%b}"


def month_text(day: date, months: int) -> str:
    """Return a month; January and year steps carry the year."""
    if months >= 12:
        return f"{day:%Y}"
    return f"{day:%b %Y}" if day.month == 1 else f"{day:%b}"


def drawing(
    frame: Frame,
    parts: Iterable[SafeString | str],
    *,
    title: str,
    description: str,
    chart_id: str,
    variant: str,
    role: str = "img",
) -> SafeString:
    """Return the outer svg element with its accessible name and description; `role` group when it holds links."""
    key = f"{chart_id}-{variant}"
    return element(
        "svg",
        element("title", title, id=f"{key}-t"),
        element("desc", description, id=f"{key}-d"),
        *parts,
        class_=f"draw draw--{variant}",
        viewBox=f"0 0 {number(frame.width)} {number(frame.height)}",
        role=role,
        aria_labelledby=f"{key}-t",
        aria_describedby=f"{key}-d",
    )


def in_both_sizes(draw: Callable[[Frame, str], SafeString]) -> SafeString:
    """Return the drawing for wide screens and the one for phones; the style sheet shows one of them."""
    return join((draw(WIDE, "wide"), draw(COMPACT, "compact")))
