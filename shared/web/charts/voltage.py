"""A voltage over the seconds of a match: its lowest point, the levels devices need, a band over many runs."""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field, replace
from itertools import pairwise

from django.utils.html import format_html, format_html_join
from django.utils.safestring import SafeString

from shared.web.charts.axes import anchor, second_axis, value_axis
from shared.web.charts.svg import (
    Frame,
    Scale,
    drawing,
    element,
    in_both_sizes,
    path_through,
    value_range,
)
from shared.web.figures import format_figure

#: The table names the lowest voltage of each of so many equal parts of the time.
TABLE_PARTS = 15


@dataclass(frozen=True, slots=True)
class VoltLevel:
    """A voltage that a device needs, with how long the trace lies below it. Severity inks its line."""

    value: float
    label: str
    severity: str = "fix"
    below_s: float | None = None


@dataclass(frozen=True, slots=True)
class RunBand:
    """Lowest and highest over many runs at one moment."""

    at_s: float
    low: float
    high: float


@dataclass(frozen=True, slots=True)
class VoltageTrace:
    """What to draw: (seconds, volts) of one run in order of time; a run may hold thousands of points."""

    title: str
    points: Sequence[tuple[float, float]] = field(default_factory=tuple)
    levels: Sequence[VoltLevel] = field(default_factory=tuple)
    band: Sequence[RunBand] = field(default_factory=tuple)
    band_label: str = "all runs"
    summary: str = ""
    chart_id: str = "voltage"


@dataclass(frozen=True, slots=True)
class _Plot:
    trace: VoltageTrace
    points: Sequence[tuple[float, float]]
    frame: Frame
    x: Scale
    y: Scale


def voltage_trace(trace: VoltageTrace) -> SafeString:
    """Return the figure: drawing in two sizes, key, seconds below each level, the voltage as a table."""
    points = [(t, v) for t, v in trace.points if math.isfinite(t) and math.isfinite(v)]
    if not points:
        return format_html(
            '<figure class="chart"><p class="soft">{}: nothing simulated yet, nothing to draw.</p></figure>',
            trace.title,
        )

    def draw(frame: Frame, variant: str) -> SafeString:
        return drawing(
            frame,
            _parts(_plot(trace, points, frame)),
            title=trace.title,
            description=trace.summary or spoken_low(points),
            chart_id=trace.chart_id,
            variant=variant,
        )

    return format_html(
        '<figure class="chart">{}{}<figcaption>{}</figcaption>{}{}</figure>',
        in_both_sizes(draw),
        _key(trace),
        trace.summary,
        _below(trace),
        _table(trace, points),
    )


def lowest(points: Sequence[tuple[float, float]]) -> tuple[float, float]:
    """Return the first point with the lowest voltage."""
    return min(points, key=lambda point: (point[1], point[0]))


def spoken_low(points: Sequence[tuple[float, float]]) -> str:
    """Return the lowest point in words."""
    at, low = lowest(points)
    return f"Lowest {format_figure(low, 2)} V after {format_figure(at, 1)} s."


def thinned(points: Sequence[tuple[float, float]], parts: int) -> list[tuple[float, float]]:
    """Return first, lowest, highest and last point of each of so many equal spans, in order of time.

    However few parts, no dip is lost: the lowest point of all is the lowest point of its span.
    """
    if len(points) <= 4 * parts:
        return list(points)
    start, end = points[0][0], points[-1][0]
    width = (end - start) / parts or 1.0
    kept: list[tuple[float, float]] = []
    for span in _spans(points, start, width, parts):
        low, high = min(span, key=lambda p: p[1]), max(span, key=lambda p: p[1])
        kept += sorted({span[0], low, high, span[-1]})
    return kept


def _spans(
    points: Sequence[tuple[float, float]], start: float, width: float, parts: int
) -> Iterator[list[tuple[float, float]]]:
    span: list[tuple[float, float]] = []
    number = 0
    for point in points:
        mine = min(int((point[0] - start) / width), parts - 1)
        if mine != number and span:
            yield span
            span = []
        number = mine
        span.append(point)
    if span:
        yield span


def times_below(points: Sequence[tuple[float, float]], level: float) -> list[tuple[float, float]]:
    """Return the spans of time in which the straight lines between the points lie below the level."""
    spans: list[tuple[float, float]] = []
    since = points[0][0] if points and points[0][1] < level else None
    for (t0, v0), (t1, v1) in pairwise(points):
        if (v0 < level) == (v1 < level):
            continue
        at = t0 + (level - v0) / (v1 - v0) * (t1 - t0)
        if since is None:
            since = at
        else:
            spans.append((since, at))
            since = None
    if since is not None:
        spans.append((since, points[-1][0]))
    return spans


def _plot(trace: VoltageTrace, points: Sequence[tuple[float, float]], frame: Frame) -> _Plot:
    volts = [v for _, v in points] + [level.value for level in trace.levels]
    volts += [v for band in _finite(trace.band) for v in (band.low, band.high)]
    low, high = value_range(volts)
    start, end = points[0][0], max(points[-1][0], points[0][0] + 0.1)
    frame = replace(frame, bottom=46.0)
    return _Plot(
        trace,
        points,
        frame,
        Scale(start, end, frame.x0 + 4, frame.x1 - 4),
        Scale(low, high, frame.y0, frame.y1),
    )


def _finite(band: Sequence[RunBand]) -> list[RunBand]:
    return [b for b in band if all(map(math.isfinite, (b.at_s, b.low, b.high)))]


def _parts(plot: _Plot) -> Iterator[SafeString]:
    frame = plot.frame
    yield from value_axis(frame, plot.y, "V")
    yield from second_axis(frame, plot.x)
    band = [b for b in _finite(plot.trace.band) if plot.x.low <= b.at_s <= plot.x.high]
    if len(band) > 1:
        upper = [(plot.x(b.at_s), plot.y(b.high)) for b in band]
        lower = [(plot.x(b.at_s), plot.y(b.low)) for b in reversed(band)]
        yield element("path", class_="d-band", d=path_through([*upper, *lower]) + "Z")
    drawn = thinned(plot.points, int(frame.x1 - frame.x0) // 2)
    if len(drawn) > 1:
        yield element("path", class_="d-trace", d=path_through([(plot.x(t), plot.y(v)) for t, v in drawn]))
    yield from _levels(plot)
    yield from _low_mark(plot)


def _levels(plot: _Plot) -> Iterator[SafeString]:
    """Each level as a named line; along the foot a bar for every span below the highest of them."""
    frame = plot.frame
    last_word = math.inf
    for level in sorted(plot.trace.levels, key=lambda found: -found.value):
        y = plot.y(level.value)
        kind = level.severity
        yield element("line", class_=f"d-level d-level--{kind}", x1=frame.x0, x2=frame.x1, y1=y, y2=y)
        # Names stand under their lines; one too near its neighbour moves down.
        word_y = y + 14 if last_word == math.inf else max(y + 14, last_word + 14)
        last_word = word_y
        text = f"{level.label} {format_figure(level.value, 1)} V"
        yield element("text", text, class_=f"d-note d-halo d-end d-word--{kind}", x=frame.x1 - 5, y=word_y)
    for place, level in enumerate(sorted(plot.trace.levels, key=lambda found: -found.value)):
        for start, end in times_below(plot.points, level.value):
            left, right = plot.x(start), plot.x(end)
            yield element(
                "rect",
                class_=f"d-below d-below--{level.severity}",
                x=left,
                y=frame.y0 + 6.0 * place + 2,
                width=max(right - left, 1.5),
                height=4.0,
            )


def _low_mark(plot: _Plot) -> Iterator[SafeString]:
    at, low = lowest(plot.points)
    x, y = plot.x(at), plot.y(low)
    yield element(
        "path", class_="d-moment", d=path_through([(x, y - 6), (x + 6, y), (x, y + 6), (x - 6, y)]) + "Z"
    )
    side = anchor(plot.frame, x, 110.0)
    text = f"{format_figure(low, 2)} V at {format_figure(at, 1)} s"
    # Under the lowest point nothing else is drawn, unless it lies at the foot.
    word_y = y + 20 if y + 26 < plot.frame.y0 else y - 12
    yield element("text", text, class_=f"d-note d-halo d-strong {side}", x=x, y=word_y)


def _key(trace: VoltageTrace) -> SafeString:
    rows = [
        (element("path", class_="d-trace", d="M0 8L16 8"), "this run"),
        (element("path", class_="d-moment", d="M8 2L14 8L8 14L2 8Z"), "its lowest point"),
    ]
    if len(trace.band) > 1:
        rows.append((element("rect", class_="d-band", x=0, y=2, width=16, height=12), trace.band_label))
    if trace.levels:
        kind = max(trace.levels, key=lambda found: found.value).severity
        mark = element("rect", class_=f"d-below d-below--{kind}", x=0, y=6, width=16, height=4)
        rows.append((mark, "at the foot: below a level"))
    items = format_html_join(
        "",
        '<li><svg class="draw-key" viewBox="0 0 16 16" width="16" height="16" aria-hidden="true">{}</svg>{}</li>',
        rows,
    )
    return format_html('<ul class="key">{}</ul>', items)


def _below(trace: VoltageTrace) -> SafeString:
    if not trace.levels:
        return SafeString("")
    items = format_html_join(
        "",
        '<div><dt>{} <span class="nowrap">{} V</span></dt><dd>{}</dd></div>',
        (
            (level.label, format_figure(level.value, 1), _seconds(level.below_s))
            for level in sorted(trace.levels, key=lambda found: -found.value)
        ),
    )
    return format_html('<dl class="facts">{}</dl>', items)


def _seconds(below_s: float | None) -> str:
    if below_s is None or not math.isfinite(below_s):
        return "not known"
    return "never below" if below_s <= 0 else f"below for {format_figure(below_s, 2)} s"


def _table(trace: VoltageTrace, points: Sequence[tuple[float, float]]) -> SafeString:
    start, end = points[0][0], points[-1][0]
    width = (end - start) / TABLE_PARTS or 1.0
    spans = [(span[0][0], span[-1][0], lowest(span)) for span in _spans(points, start, width, TABLE_PARTS)]
    body = format_html_join(
        "",
        '<tr><td class="num">{}</td><td class="num">{}</td><td class="num">{}</td><td class="num">{}</td></tr>',
        (
            (
                format_figure(first, 1),
                format_figure(last, 1),
                format_figure(low[1], 2),
                format_figure(low[0], 2),
            )
            for first, last, low in spans
        ),
    )
    return format_html(
        '<details class="fold"><summary>The voltage as a table</summary>'
        '<div class="scroll" tabindex="0" role="region" aria-label="{}: lowest voltages">'
        '<table class="dense"><thead><tr><th scope="col" class="num">From, s</th>'
        '<th scope="col" class="num">To, s</th><th scope="col" class="num">Lowest, V</th>'
        '<th scope="col" class="num">at, s</th></tr></thead><tbody>{}</tbody></table></div></details>',
        trace.title,
        body,
    )
