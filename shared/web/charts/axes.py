"""Axes shared by the drawings: value lines with labels at the left, dates or seconds along the foot."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import date

from django.utils.safestring import SafeString

from shared.web.charts.svg import (
    Frame,
    Scale,
    date_ticks,
    day_number,
    element,
    nice_step,
    tick_text,
    value_ticks,
)


def value_axis(frame: Frame, scale: Scale, unit: str, most: int = 6) -> Iterator[SafeString]:
    """Yield grid lines, their figures and the unit above the axis."""
    step = nice_step(scale.high - scale.low, most)
    for value in value_ticks(scale.low, scale.high, most):
        y = scale(value)
        yield element("line", class_="d-grid", x1=frame.x0, x2=frame.x1, y1=y, y2=y)
        yield element("text", tick_text(value, step), class_="d-tick d-end", x=frame.x0 - 6, y=y + 4)
    yield element("text", unit, class_="d-unit", x=2, y=frame.top - 9)


def date_axis(frame: Frame, scale: Scale, first: date, last: date) -> Iterator[SafeString]:
    """Yield the foot line, its ticks and their dates; labels that would leave the drawing turn inwards."""
    yield element("line", class_="d-axis", x1=frame.x0, x2=frame.x1, y1=frame.y0, y2=frame.y0)
    for day, label in date_ticks(first, last, frame.label_count):
        x = scale(day_number(day))
        yield element("line", class_="d-axis", x1=x, x2=x, y1=frame.y0, y2=frame.y0 + 5)
        yield element("text", label, class_=f"d-tick {anchor(frame, x)}", x=x, y=frame.y0 + 20)


def second_axis(frame: Frame, scale: Scale) -> Iterator[SafeString]:
    """Yield the foot line with its ticks in seconds, the unit behind the last one."""
    step = nice_step(scale.high - scale.low, frame.label_count)
    ticks = value_ticks(scale.low, scale.high, frame.label_count)
    yield element("line", class_="d-axis", x1=frame.x0, x2=frame.x1, y1=frame.y0, y2=frame.y0)
    for index, seconds in enumerate(ticks):
        x = scale(seconds)
        text = tick_text(seconds, step) + (" s" if index == len(ticks) - 1 else "")
        yield element("line", class_="d-axis", x1=x, x2=x, y1=frame.y0, y2=frame.y0 + 5)
        yield element("text", text, class_=f"d-tick {anchor(frame, x)}", x=x, y=frame.height - 14)


def anchor(frame: Frame, x: float, reach: float = 24) -> str:
    """Return the class that keeps a label at x inside the drawing."""
    if x > frame.width - reach:
        return "d-end"
    return "d-start" if x < reach else "d-mid"


def upright(frame: Frame, x: float, label: str, kind: str) -> Iterator[SafeString]:
    """Yield an upright line over the whole height, its word at the top: today, an event.

    An event's word stands one line higher than today's, so the two never meet however close the days are.
    """
    lift = 13.0 if kind == "event" else 0.0
    yield element(
        "line", class_=f"d-upright d-upright--{kind}", x1=x, x2=x, y1=frame.y1 - 6 - lift, y2=frame.y0
    )
    side = "d-end" if x > (frame.x0 + frame.x1) / 2 else "d-start"
    shift = -5.0 if side == "d-end" else 5.0
    yield element("text", label, class_=f"d-note d-halo {side}", x=x + shift, y=frame.y1 + 3 - lift)
