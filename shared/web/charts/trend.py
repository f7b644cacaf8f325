"""Readings of one quantity over days: points by instrument, baseline, fit and band, thresholds, crossing."""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field
from datetime import date, datetime, timedelta

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

# One shape per instrument, in order of first use; the fifth and later ones share the last shape.
MARKS = ("circle", "square", "diamond", "triangle", "cross")
# How far beyond the readings the axis may run to show a crossing: half the span read, no more.
LOOK_AHEAD_FRAC = 0.5


@dataclass(frozen=True, slots=True)
class TrendPoint:
    """One reading. `counted` False: kept in the book, left out of the trend; `note` says why."""

    day: date
    value: float
    instrument: str = ""
    counted: bool = True
    note: str = ""


@dataclass(frozen=True, slots=True)
class Threshold:
    """A level that means something, with its word."""

    value: float
    label: str
    severity: str = "watch"


@dataclass(frozen=True, slots=True)
class BandPoint:
    """Interval of the fit at one day."""

    day: date
    low: float
    high: float


@dataclass(frozen=True, slots=True)
class Crossing:
    """When the fit meets a threshold. `latest` None: open to the right; `likely` None: only "not before"."""

    value: float
    earliest: date
    likely: date | None = None
    latest: date | None = None


@dataclass(frozen=True, slots=True)
class TrendWords:
    """What the readings, their source and their line are called in key and table."""

    things: str = "readings"
    source: str = "Instrument"
    line: str = "the trend"


@dataclass(frozen=True, slots=True)
class TrendChart:
    """What to draw. `unit` is the sign to print, `summary` the answer in words; most may be missing.

    `marks` are days on which something else happened, told as `marks_word`: short strokes on the time axis.
    """

    title: str
    unit: str
    points: Sequence[TrendPoint] = field(default_factory=tuple)
    summary: str = ""
    baseline: float | None = None
    baseline_label: str = "baseline"
    fit: Sequence[tuple[date, float]] = field(default_factory=tuple)
    band: Sequence[BandPoint] = field(default_factory=tuple)
    thresholds: Sequence[Threshold] = field(default_factory=tuple)
    crossing: Crossing | None = None
    today: date | None = None
    decimals: int = 1
    chart_id: str = "trend"
    marks: Sequence[date] = field(default_factory=tuple)
    marks_word: str = "outing"
    words: TrendWords = TrendWords()


@dataclass(frozen=True, slots=True)
class _Plot:
    """Points that can be drawn and the two scales for one frame."""

    chart: TrendChart
    points: Sequence[TrendPoint]
    frame: Frame
    first: date
    last: date
    x: Scale
    y: Scale

    def at(self, day: date, value: float) -> tuple[float, float]:
        return self.x.clamp(day_number(day)), self.y(value)


def trend_chart(chart: TrendChart) -> SafeString:
    """Return the figure: drawing in two sizes, key, and the readings as a table to fold out."""
    points = sorted((p for p in chart.points if math.isfinite(p.value)), key=lambda p: p.day)
    if not points:
        return format_html(
            '<figure class="chart"><p class="soft">{}: no {} yet, nothing to draw.</p></figure>',
            chart.title,
            chart.words.things,
        )

    def draw(frame: Frame, variant: str) -> SafeString:
        return drawing(
            frame,
            _parts(_plot(chart, points, frame)),
            title=chart.title,
            description=chart.summary or f"{len(points)} {chart.words.things}; the table below lists them.",
            chart_id=chart.chart_id,
            variant=variant,
        )

    return format_html(
        '<figure class="chart">{}{}<figcaption>{}</figcaption>{}</figure>',
        in_both_sizes(draw),
        _key(chart, points),
        chart.summary,
        _table(chart, points),
    )


def date_span(chart: TrendChart, points: Sequence[TrendPoint]) -> tuple[date, date]:
    """Return the ends of the axis: all readings, today, and a crossing as far as we look ahead."""
    days = [point.day for point in points]
    days += [chart.today] if chart.today else []
    first, last = min(days), max(days)
    horizon = last + timedelta(days=max(30, int((last - first).days * LOOK_AHEAD_FRAC)))
    ahead = [day for day, _ in chart.fit] + [band.day for band in chart.band]
    if chart.crossing:
        ahead += [d for d in (chart.crossing.earliest, chart.crossing.likely, chart.crossing.latest) if d]
    last = max([last, *(min(day, horizon) for day in ahead)])
    return first, last if last > first else first + timedelta(days=1)


def as_date(day: date) -> date:
    """Return the day of a date or of a moment."""
    return day.date() if isinstance(day, datetime) else day


def _plot(chart: TrendChart, points: Sequence[TrendPoint], frame: Frame) -> _Plot:
    first, last = date_span(chart, points)
    values = [point.value for point in points] + [level.value for level in chart.thresholds]
    values += [chart.baseline] if chart.baseline is not None else []
    values += [value for day, value in chart.fit if first <= day <= last]
    values += [v for band in chart.band if first <= band.day <= last for v in (band.low, band.high)]
    low, high = value_range([v for v in values if math.isfinite(v)])
    edge = 8.0  # keeps the first and last mark off the frame
    x = Scale(day_number(first), day_number(last), frame.x0 + edge, frame.x1 - edge)
    return _Plot(chart, points, frame, first, last, x, Scale(low, high, frame.y0, frame.y1))


def _parts(plot: _Plot) -> Iterator[SafeString]:
    chart, frame = plot.chart, plot.frame
    yield from value_axis(frame, plot.y, chart.unit)
    yield from _band(plot)
    yield from date_axis(frame, plot.x, plot.first, plot.last)
    for day in chart.marks:
        if plot.first <= as_date(day) <= plot.last:
            x = plot.x.clamp(day_number(day))
            yield element("line", class_="d-rug", x1=x, x2=x, y1=frame.y0 - 9, y2=frame.y0)
    if chart.today and plot.first <= chart.today <= plot.last:
        yield from upright(frame, plot.x(day_number(chart.today)), "today", "today")
    levels = [level for level in chart.thresholds if math.isfinite(level.value)]
    base = chart.baseline if chart.baseline is not None and math.isfinite(chart.baseline) else None
    if base is not None:
        yield _level(plot, base, "baseline")
    for level in levels:
        yield _level(plot, level.value, level.severity)
    fit = [
        plot.at(day, value)
        for day, value in chart.fit
        if plot.first <= day <= plot.last and math.isfinite(value)
    ]
    if len(fit) > 1:
        yield element("path", class_="d-fit", d=path_through(fit))
    marks = instrument_marks(plot.points)
    for point in plot.points:
        x, y = plot.at(point.day, point.value)
        yield mark(marks[point.instrument], x, y, counted=point.counted)
    # Words last: no mark may stand on them.
    if base is not None:
        yield _level_word(plot, base, chart.baseline_label, "baseline", right=True)
    for level in levels:
        yield _level_word(plot, level.value, level.label, level.severity)
    yield from _crossing(plot)


def _band(plot: _Plot) -> Iterator[SafeString]:
    inside = [
        band
        for band in sorted(plot.chart.band, key=lambda b: b.day)
        if plot.first <= band.day <= plot.last and math.isfinite(band.low) and math.isfinite(band.high)
    ]
    if len(inside) < 2:
        return
    upper = [plot.at(band.day, band.high) for band in inside]
    lower = [plot.at(band.day, band.low) for band in reversed(inside)]
    yield element("path", class_="d-band", d=path_through([*upper, *lower]) + "Z")


def _level(plot: _Plot, value: float, kind: str) -> SafeString:
    y, frame = plot.y(value), plot.frame
    return element("line", class_=f"d-level d-level--{kind}", x1=frame.x0, x2=frame.x1, y1=y, y2=y)


def _level_word(plot: _Plot, value: float, label: str, kind: str, *, right: bool = False) -> SafeString:
    text = f"{label} {format_figure(value, plot.chart.decimals)}"
    x, side = (plot.frame.x1 - 5, "d-end") if right else (plot.frame.x0 + 5, "d-start")
    return element("text", text, class_=f"d-note d-halo {side} d-word--{kind}", x=x, y=plot.y(value) - 5)


def _crossing(plot: _Plot) -> Iterator[SafeString]:
    crossing = plot.chart.crossing
    if crossing is None or crossing.earliest > plot.last or not math.isfinite(crossing.value):
        return
    y = plot.y(crossing.value)
    start = plot.x.clamp(day_number(crossing.earliest))
    is_open = crossing.latest is None or crossing.latest > plot.last
    end = plot.x.end if is_open else plot.x.clamp(day_number(crossing.latest or plot.last))
    yield element("line", class_="d-cross", x1=start, x2=end, y1=y, y2=y)
    yield element("line", class_="d-cross", x1=start, x2=start, y1=y - 7, y2=y + 7)
    if is_open:
        yield element(
            "path", class_="d-cross", d=path_through([(end - 6, y - 5), (end, y), (end - 6, y + 5)])
        )
    else:
        yield element("line", class_="d-cross", x1=end, x2=end, y1=y - 7, y2=y + 7)
    if crossing.likely and crossing.likely <= plot.last:
        yield element(
            "circle", class_="d-cross-at", cx=plot.x.clamp(day_number(crossing.likely)), cy=y, r=4.5
        )


def instrument_marks(points: Sequence[TrendPoint]) -> dict[str, str]:
    """Return which shape stands for which instrument, in order of first use."""
    names = list(dict.fromkeys(point.instrument for point in points))
    return {name: MARKS[min(index, len(MARKS) - 1)] for index, name in enumerate(names)}


def mark(shape: str, x: float, y: float, *, counted: bool = True) -> SafeString:
    """Return one reading: filled when it counts in the trend, hollow when it does not."""
    class_ = f"d-mark d-mark--{shape}" + ("" if counted else " d-mark--out")
    if shape == "circle":
        return element("circle", class_=class_, cx=x, cy=y, r=4)
    if shape == "square":
        return element("rect", class_=class_, x=x - 3.6, y=y - 3.6, width=7.2, height=7.2)
    if shape == "cross":
        strokes = ([(x - 4, y - 4), (x + 4, y + 4)], [(x - 4, y + 4), (x + 4, y - 4)])
        return element("path", class_=class_, d="".join(map(path_through, strokes)))
    corners = [(x, y - 5.2), (x + 5.2, y), (x, y + 5.2), (x - 5.2, y)]
    if shape == "triangle":
        corners = [(x, y - 5), (x + 5, y + 4), (x - 5, y + 4)]
    return element("path", class_=class_, d=path_through(corners) + "Z")


def _key(chart: TrendChart, points: Sequence[TrendPoint]) -> SafeString:
    rows = [
        (mark(shape, 8, 8), name or "instrument not given")
        for name, shape in instrument_marks(points).items()
    ]
    if any(not point.counted for point in points):
        rows.append((mark("circle", 8, 8, counted=False), f"hollow: not counted in {chart.words.line}"))
    if chart.fit:
        rows.append((element("path", class_="d-fit", d="M0 8L16 8"), "trend"))
    if chart.marks:
        rows.append((element("line", class_="d-rug", x1=8, x2=8, y1=3, y2=14), chart.marks_word))
    if len(chart.band) > 1:
        rows.append((element("rect", class_="d-band", x=0, y=2, width=16, height=12), "its interval"))
    if chart.crossing:
        rows.append(
            (
                element("path", class_="d-cross", d="M1 8L15 8M1 3L1 13M15 3L15 13"),
                "crossing, earliest to latest",
            )
        )
    items = format_html_join(
        "",
        '<li><svg class="draw-key" viewBox="0 0 16 16" width="16" height="16" aria-hidden="true">{}</svg>'
        "{}</li>",
        rows,
    )
    return format_html('<ul class="key">{}</ul>', items)


def _table(chart: TrendChart, points: Sequence[TrendPoint]) -> SafeString:
    rows = format_html_join(
        "",
        '<tr><td class="fig">{}</td><td class="num">{}</td><td>{}</td><td>{}</td></tr>',
        (
            (
                point.day.isoformat()[:10],
                format_figure(point.value, chart.decimals),
                point.instrument or "not given",
                point.note or ("counted" if point.counted else "not counted"),
            )
            for point in reversed(points)
        ),
    )
    return format_html(
        '<details class="fold"><summary>{} as a table</summary>'
        '<div class="scroll" tabindex="0" role="region" aria-label="{}: {}">'
        '<table class="dense"><thead><tr><th scope="col">Day</th><th scope="col" class="num">{}</th>'
        '<th scope="col">{}</th><th scope="col">In {}</th></tr></thead>'
        "<tbody>{}</tbody></table></div></details>",
        f"The {len(points)} {chart.words.things}" if len(points) > 1 else "The same",
        chart.title,
        chart.words.things,
        chart.unit,
        chart.words.source,
        chart.words.line,
        rows,
    )
