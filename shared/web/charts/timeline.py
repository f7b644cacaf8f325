"""Lanes over time: what each battery, robot or person does when, with a line for now."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field, replace
from datetime import date, datetime, timedelta

from django.utils.html import format_html, format_html_join
from django.utils.safestring import SafeString

from shared.web.charts.axes import anchor, upright
from shared.web.charts.svg import (
    Frame,
    Scale,
    date_ticks,
    day_number,
    day_text,
    drawing,
    element,
    in_both_sizes,
)

LANE_HEIGHT = 30.0
KINDS = ("use", "charge", "rest", "plan", "late")
HOUR_STEPS = (0.25, 0.5, 1, 2, 3, 6, 12, 24)


@dataclass(frozen=True, slots=True)
class Span:
    """Something that lasts; kind: use (solid), charge (ruled), rest (outline), plan (dashed) or late."""

    start: datetime
    end: datetime
    label: str = ""
    kind: str = "use"


@dataclass(frozen=True, slots=True)
class Moment:
    """Something that happens at once, drawn as a diamond on its lane."""

    at: datetime
    label: str = ""


@dataclass(frozen=True, slots=True)
class Lane:
    """One line of the drawing."""

    label: str
    spans: Sequence[Span] = field(default_factory=tuple)
    moments: Sequence[Moment] = field(default_factory=tuple)


@dataclass(frozen=True, slots=True)
class Timeline:
    """What to draw; without start and end the axis runs from the first to the last thing on it."""

    title: str
    lanes: Sequence[Lane] = field(default_factory=tuple)
    summary: str = ""
    start: datetime | None = None
    end: datetime | None = None
    now: datetime | None = None
    chart_id: str = "timeline"


def timeline(chart: Timeline) -> SafeString:
    """Return the figure: drawing in two sizes and the same as a table to fold out."""
    bounds = time_span(chart)
    if bounds is None:
        return format_html(
            '<figure class="chart"><p class="soft">{}: nothing is planned or done yet.</p></figure>',
            chart.title,
        )
    start, end = bounds

    def draw(frame: Frame, variant: str) -> SafeString:
        sized = _sized(frame, variant, len(chart.lanes))
        return drawing(
            sized,
            _parts(chart, sized, variant, start, end),
            title=chart.title,
            description=chart.summary or f"{len(chart.lanes)} lanes; the table below lists them.",
            chart_id=chart.chart_id,
            variant=variant,
        )

    return format_html(
        '<figure class="chart">{}<figcaption>{}</figcaption>{}</figure>',
        in_both_sizes(draw),
        chart.summary,
        _table(chart),
    )


def time_span(chart: Timeline) -> tuple[datetime, datetime] | None:
    """Return the ends of the axis, or None when there is nothing to show and no ends were given."""
    times = [t for lane in chart.lanes for span in lane.spans for t in (span.start, span.end)]
    times += [moment.at for lane in chart.lanes for moment in lane.moments]
    start = chart.start or (min(times) if times else None)
    end = chart.end or (max(times) if times else None)
    if start is None or end is None:
        return None
    return start, end if end > start else start + timedelta(hours=1)


def time_ticks(start: datetime, end: datetime, most: int) -> list[tuple[float, str]]:
    """Return places on the day axis with labels: clock times within three days, else dates."""
    hours = (end - start).total_seconds() / 3600
    if hours > 72:
        return [(float(day.toordinal()), label) for day, label in date_ticks(start.date(), end.date(), most)]
    step = next((s for s in HOUR_STEPS if hours / s <= most), HOUR_STEPS[-1])
    midnight = start.replace(hour=0, minute=0, second=0, microsecond=0)
    ticks = []
    for index in range(int((hours + 24) / step) + 2):
        moment = midnight + timedelta(hours=index * step)
        if start <= moment <= end:
            is_new_day = hours > 24 and moment.hour == moment.minute == 0
            ticks.append((day_number(moment), day_text(moment) if is_new_day else f"{moment:%H:%M}"))
    return ticks


def _sized(frame: Frame, variant: str, lanes: int) -> Frame:
    row = LANE_HEIGHT if variant == "wide" else LANE_HEIGHT + 14
    left = 120.0 if variant == "wide" else 8.0
    return replace(frame, left=left, top=26.0, height=26.0 + row * max(lanes, 1) + frame.bottom)


def _parts(
    chart: Timeline, frame: Frame, variant: str, start: datetime, end: datetime
) -> Iterator[SafeString]:
    x = Scale(day_number(start), day_number(end), frame.x0 + 6, frame.x1 - 6)
    for place, label in time_ticks(start, end, frame.label_count):
        if x.low <= place <= x.high:
            at = x(place)
            yield element("line", class_="d-grid", x1=at, x2=at, y1=frame.y1, y2=frame.y0)
            yield element("text", label, class_=f"d-tick {anchor(frame, at)}", x=at, y=frame.y0 + 20)
    row = (frame.y0 - frame.y1) / max(len(chart.lanes), 1)
    for index, lane in enumerate(chart.lanes):
        yield from _lane(lane, frame, x, frame.y1 + row * (index + 1), variant)
    if chart.now and start <= chart.now <= end:
        yield from upright(frame, x(day_number(chart.now)), "now", "today")


def _lane(lane: Lane, frame: Frame, x: Scale, foot: float, variant: str) -> Iterator[SafeString]:
    yield element("line", class_="d-lane", x1=2.0, x2=frame.x1, y1=foot, y2=foot)
    if variant == "wide":
        yield element("text", lane.label, class_="d-word d-start", x=2.0, y=foot - 9)
    else:
        yield element("text", lane.label, class_="d-word d-start", x=2.0, y=foot - 28)
    for span in lane.spans:
        yield from _span(span, x, foot)
    for moment in lane.moments:
        at, level = x.clamp(day_number(moment.at)), foot - 13
        yield element("path", class_="d-moment", d=f"M{at:.1f} {level - 6:.1f}l6 6-6 6-6-6Z")


def _span(span: Span, x: Scale, foot: float) -> Iterator[SafeString]:
    left, right = x.clamp(day_number(span.start)), x.clamp(day_number(span.end))
    width = max(right - left, 2.0)
    kind = span.kind if span.kind in KINDS else "use"
    yield element("rect", class_=f"d-span d-span--{kind}", x=left, y=foot - 23, width=width, height=20.0)
    if kind == "charge":
        rules = "".join(f"M{left:.1f} {foot - level:.1f}h{width:.1f}" for level in (8, 13, 18))
        yield element("path", class_="d-ruled", d=rules)
    # A monospaced letter of the notes is about 7.3 units wide; a label that does not fit stays in the table.
    if span.label and len(span.label) * 7.3 + 8 <= width:
        yield element(
            "text", span.label, class_=f"d-note d-on--{kind} d-mid", x=left + width / 2, y=foot - 8.5
        )


def _table(chart: Timeline) -> SafeString:
    rows = [
        (lane.label, _clock(span.start), _clock(span.end), " ".join(filter(None, (span.kind, span.label))))
        for lane in chart.lanes
        for span in lane.spans
    ]
    rows += [(lane.label, _clock(m.at), "", m.label) for lane in chart.lanes for m in lane.moments]
    body = format_html_join(
        "",
        '<tr><th scope="row">{}</th><td class="fig">{}</td><td class="fig">{}</td><td>{}</td></tr>',
        sorted(rows),
    )
    return format_html(
        '<details class="fold"><summary>The same as a table</summary>'
        '<div class="scroll" tabindex="0" role="region" aria-label="{}"><table class="dense"><thead><tr>'
        '<th scope="col">Lane</th><th scope="col">From</th><th scope="col">To</th><th scope="col">What</th>'
        "</tr></thead><tbody>{}</tbody></table></div></details>",
        chart.title,
        body,
    )


def _clock(moment: datetime | date) -> str:
    return f"{moment:%Y-%m-%d %H:%M}"
