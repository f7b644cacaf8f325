"""The balance of one part over days, as steps, against its least stock and the day of an event."""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field
from datetime import date, timedelta
from decimal import Decimal

from django.utils.html import format_html, format_html_join
from django.utils.safestring import SafeString

from shared.web.charts.axes import date_axis, upright, value_axis
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


@dataclass(frozen=True, slots=True)
class LedgerStep:
    """The balance after a movement, and what the movement was."""

    day: date
    balance: float | Decimal
    what: str = ""


@dataclass(frozen=True, slots=True)
class LedgerChart:
    """What to draw; `need` is what the event will take, drawn as a fall on the event day."""

    title: str
    unit: str
    steps: Sequence[LedgerStep] = field(default_factory=tuple)
    summary: str = ""
    minimum: float | Decimal | None = None
    event_day: date | None = None
    event_label: str = "event"
    need: float | Decimal | None = None
    today: date | None = None
    decimals: int | str = 0
    chart_id: str = "ledger"


def ledger_chart(chart: LedgerChart) -> SafeString:
    """Return the figure: drawing in two sizes and the movements as a table to fold out."""
    steps = sorted((s for s in chart.steps if math.isfinite(s.balance)), key=lambda s: s.day)
    if not steps:
        return format_html(
            '<figure class="chart"><p class="soft">{}: no movement yet, nothing to draw.</p></figure>',
            chart.title,
        )

    def draw(frame: Frame, variant: str) -> SafeString:
        return drawing(
            frame,
            _parts(chart, steps, frame),
            title=chart.title,
            description=chart.summary or f"{len(steps)} movements; the table below lists them.",
            chart_id=chart.chart_id,
            variant=variant,
        )

    return format_html(
        '<figure class="chart">{}<figcaption>{}</figcaption>{}</figure>',
        in_both_sizes(draw),
        chart.summary,
        _table(chart, steps),
    )


def step_corners(steps: Sequence[LedgerStep], until: date) -> list[tuple[date, float]]:
    """Return the corners of the stair: the balance holds until the next movement and then jumps."""
    corners: list[tuple[date, float]] = []
    for step in steps:
        if corners:
            corners.append((step.day, corners[-1][1]))
        corners.append((step.day, float(step.balance)))
    if until > corners[-1][0]:
        corners.append((until, corners[-1][1]))
    return corners


def _parts(chart: LedgerChart, steps: Sequence[LedgerStep], frame: Frame) -> Iterator[SafeString]:
    marked = [day for day in (chart.today, chart.event_day) if day]
    first = min([steps[0].day, *marked])
    last = max([steps[-1].day, *marked, first + timedelta(days=1)])
    ends_at = min(last, max(steps[-1].day, chart.today or steps[-1].day))
    corners = step_corners(steps, ends_at)
    left = corners[-1][1]
    after = left - float(chart.need) if chart.need is not None and chart.event_day else None
    levels = [value for _, value in corners]
    levels += [float(chart.minimum)] if chart.minimum is not None else []
    levels += [after] if after is not None else []
    low, high = value_range(levels, from_zero=True)
    x = Scale(day_number(first), day_number(last), frame.x0 + 8, frame.x1 - 24)
    y = Scale(low, high, frame.y0, frame.y1)
    yield from value_axis(frame, y, chart.unit)
    yield from date_axis(frame, x, first, last)
    if low < 0:
        yield element("line", class_="d-axis", x1=frame.x0, x2=frame.x1, y1=y(0.0), y2=y(0.0))
    if chart.today:
        yield from upright(frame, x(day_number(chart.today)), "today", "today")
    if chart.event_day:
        yield from upright(frame, x(day_number(chart.event_day)), chart.event_label, "event")
    if chart.minimum is not None:
        level = y(float(chart.minimum))
        yield element("line", class_="d-level d-level--fix", x1=frame.x0, x2=frame.x1, y1=level, y2=level)
        text = f"least stock {format_figure(chart.minimum, chart.decimals)}"
        yield element("text", text, class_="d-note d-halo d-start d-word--fix", x=frame.x0 + 5, y=level - 5)
    yield element(
        "path", class_="d-steps", d=path_through([(x(day_number(day)), y(v)) for day, v in corners])
    )
    if after is not None and chart.event_day:
        at_event = x(day_number(chart.event_day))
        ahead = [
            (x(day_number(ends_at)), y(left)),
            (at_event, y(left)),
            (at_event, y(after)),
            (frame.x1, y(after)),
        ]
        yield element("path", class_="d-ahead", d=path_through(ahead))


def _table(chart: LedgerChart, steps: Sequence[LedgerStep]) -> SafeString:
    rows = format_html_join(
        "",
        '<tr><td class="fig">{}</td><td>{}</td><td class="num">{}</td></tr>',
        (
            (step.day.isoformat()[:10], step.what, format_figure(step.balance, chart.decimals))
            for step in reversed(steps)
        ),
    )
    return format_html(
        '<details class="fold"><summary>The {} movements as a table</summary>'
        '<div class="scroll" tabindex="0" role="region" aria-label="{}: movements">'
        '<table class="dense"><thead><tr><th scope="col">Day</th><th scope="col">Movement</th>'
        '<th scope="col" class="num">Balance, {}</th></tr></thead><tbody>{}</tbody></table></div></details>',
        len(steps),
        chart.title,
        chart.unit or "pieces",
        rows,
    )
