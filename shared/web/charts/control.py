"""A control chart: how far each value lies from what its own history foretold, with limits, and the newest one."""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field
from datetime import date

from django.utils.html import format_html, format_html_join
from django.utils.safestring import SafeString

from shared.web.charts.axes import date_axis, value_axis
from shared.web.charts.svg import (
    Frame,
    Scale,
    day_number,
    drawing,
    element,
    in_both_sizes,
    path_through,
    value_range,
)
from shared.web.figures import format_figure

EDGE = 10.0


@dataclass(frozen=True, slots=True)
class ControlChart:
    """What to draw: (day, distance from the line) oldest first, the last one is the newest; limits of the distance."""

    title: str
    unit: str
    points: Sequence[tuple[date, float]] = field(default_factory=tuple)
    lower: float = math.nan
    upper: float = math.nan
    summary: str = ""
    decimals: int = 2
    chart_id: str = "control"

    @property
    def inside(self) -> bool:
        """Whether the newest value lies within the limits."""
        return bool(self.points) and self.lower <= self.points[-1][1] <= self.upper


def control_chart(chart: ControlChart) -> SafeString:
    """Return the figure: drawing in two sizes, the answer in words, and the values as a table to fold out."""
    if not chart.points or not math.isfinite(chart.upper):
        return format_html(
            '<figure class="chart"><p class="soft">{}</p></figure>',
            chart.summary or f"{chart.title}: too few values yet, nothing to draw.",
        )

    def draw(frame: Frame, variant: str) -> SafeString:
        return drawing(
            frame,
            _parts(chart, frame),
            title=chart.title,
            description=chart.summary,
            chart_id=chart.chart_id,
            variant=variant,
        )

    return format_html(
        '<figure class="chart">{}<figcaption>{}</figcaption>{}</figure>',
        in_both_sizes(draw),
        chart.summary,
        _table(chart),
    )


def _parts(chart: ControlChart, frame: Frame) -> Iterator[SafeString]:
    days = [day for day, _ in chart.points]
    low, high = value_range([chart.lower, chart.upper, 0.0, *(value for _, value in chart.points)])
    x = Scale(day_number(days[0]), day_number(days[-1]), frame.x0 + EDGE, frame.x1 - EDGE)
    y = Scale(low, high, frame.y0, frame.y1)
    yield from value_axis(frame, y, chart.unit)
    yield from date_axis(frame, x, days[0], days[-1])
    top, foot = y(chart.upper), y(chart.lower)
    yield element("rect", class_="d-band", x=frame.x0, y=top, width=frame.x1 - frame.x0, height=foot - top)
    for value, word, kind, shift in (
        (chart.upper, "upper limit", "fix", -5.0),
        (0.0, "as foretold", "baseline", -5.0),
        (chart.lower, "lower limit", "fix", 15.0),
    ):
        level = y(value)
        yield element("line", class_=f"d-level d-level--{kind}", x1=frame.x0, x2=frame.x1, y1=level, y2=level)
        if not value and foot - top < 60:
            continue  # no room between the limits for a word on the middle line
        text = word if not value else f"{word} {format_figure(value, chart.decimals).strip()}"
        yield element(
            "text", text, class_=f"d-note d-halo d-start d-word--{kind}", x=frame.x0 + 5, y=level + shift
        )
    places = [(x(day_number(day)), y(value)) for day, value in chart.points]
    yield element("path", class_="d-spark", d=path_through(places))
    for at, level in places[:-1]:
        yield element("circle", class_="d-mark", cx=at, cy=level, r=4)
    at, level = places[-1]
    yield element(
        "circle", class_="d-newest" + ("" if chart.inside else " d-newest--out"), cx=at, cy=level, r=7
    )
    yield element("text", "newest", class_="d-note d-halo d-end", x=at - 12, y=level + 4)


def _table(chart: ControlChart) -> SafeString:
    body = format_html_join(
        "",
        '<tr><td class="fig">{}</td><td class="num">{}</td></tr>',
        (
            (day.isoformat()[:10], format_figure(value, chart.decimals))
            for day, value in reversed(chart.points)
        ),
    )
    return format_html(
        '<details class="fold"><summary>The same as a table</summary><div class="scroll" tabindex="0" role="region" '
        'aria-label="{}"><table class="dense"><thead><tr><th scope="col">Day</th>'
        '<th scope="col" class="num">Off the line ({})</th></tr></thead><tbody>{}</tbody></table></div></details>',
        chart.title,
        chart.unit,
        body,
    )
