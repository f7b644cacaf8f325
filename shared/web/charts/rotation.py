"""Batteries over the hours of a day: in a robot, cooling, charging, resting, ready; matches as upright lines.

Every state has a shape and a pattern of its own, so that it reads without colour and on a black-and-white printer.
A day is one drawing: a night between two days of an event would take most of the room.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field, replace
from datetime import datetime, timedelta

from django.utils.html import format_html, format_html_join
from django.utils.safestring import SafeString

from shared.web.charts.axes import anchor, upright
from shared.web.charts.svg import COMPACT, WIDE, Frame, Scale, day_number, drawing, element, join, number
from shared.web.charts.timeline import time_ticks

#: What a battery can be doing, in words.
STATES = {
    "robot": "in the robot",
    "cool": "cools",
    "charge": "on a charger",
    "rest": "rests",
    "ready": "ready",
}
LANE, LANE_COMPACT = 32.0, 50.0
#: A bar's height, and how far its foot stands above the lane's line.
BAR, FOOT = 20.0, 5.0
#: A monospaced letter of the small print is about this wide.
LETTER = 7.3
#: Space between the strokes of the patterns.
PITCH = 7.0


@dataclass(frozen=True, slots=True)
class RotationBar:
    """One state of a battery; ``kind`` is a key of ``STATES``. ``planned``: it did not happen yet."""

    kind: str
    start: datetime
    end: datetime
    label: str = ""
    planned: bool = False


@dataclass(frozen=True, slots=True)
class RotationLane:
    """One battery; ``note`` stands behind its code where there is room."""

    code: str
    bars: Sequence[RotationBar] = field(default_factory=tuple)
    note: str = ""


@dataclass(frozen=True, slots=True)
class RotationMark:
    """A match: an upright line with its number."""

    at: datetime
    label: str


@dataclass(frozen=True, slots=True)
class RotationDay:
    """One day of the drawing, its ends on the axis; ``note`` stands under it."""

    label: str
    start: datetime
    end: datetime
    lanes: Sequence[RotationLane]
    matches: Sequence[RotationMark] = field(default_factory=tuple)
    note: str = ""


@dataclass(frozen=True, slots=True)
class RotationChart:
    """What to draw, the days in order."""

    title: str
    days: Sequence[RotationDay]
    summary: str = ""
    now: datetime | None = None
    chart_id: str = "rotation"


def rotation_chart(chart: RotationChart) -> SafeString:
    """Return the key, a figure a day with its drawing in two sizes, and the same as a table to fold out."""
    if not chart.days:
        return format_html(
            '<figure class="chart"><p class="soft">{}: no match is to be drawn.</p></figure>', chart.title
        )
    days = join(
        format_html(
            '<figure class="chart rotation" data-zoom=""><h3 class="rotation__day">{}</h3>'
            '<div class="scroll feed" tabindex="0" role="region" aria-label="{}">{}</div>{}</figure>',
            day.label,
            f"{chart.title}, {day.label}",
            join(_draw(chart, day, index, *size) for size in ((WIDE, "wide"), (COMPACT, "compact"))),
            format_html("<figcaption>{}</figcaption>", day.note) if day.note else "",
        )
        for index, day in enumerate(chart.days)
    )
    summary = format_html('<p class="chart__summary soft">{}</p>', chart.summary) if chart.summary else ""
    return format_html("{}{}{}{}", _key(), days, summary, _table(chart))


def _draw(chart: RotationChart, day: RotationDay, index: int, frame: Frame, variant: str) -> SafeString:
    lane = LANE_COMPACT if variant == "compact" else LANE
    left = 6.0 if variant == "compact" else 78.0
    sized = replace(frame, left=left, right=8.0, top=40.0, bottom=28.0, height=68.0 + lane * len(day.lanes))
    used = sum(bar.kind == "robot" for row in day.lanes for bar in row.bars)
    return drawing(
        sized,
        _parts(chart, day, sized, variant),
        title=f"{chart.title}, {day.label}",
        description=f"Matches: {len(day.matches)}; batteries that go out: {len(day.lanes)}, outings: {used}; "
        "the table below lists every step.",
        chart_id=f"{chart.chart_id}-{index}",
        variant=variant,
    )


def _parts(chart: RotationChart, day: RotationDay, frame: Frame, variant: str) -> Iterator[SafeString]:
    x = Scale(day_number(day.start), day_number(day.end), frame.x0 + 4, frame.x1 - 4)
    for place, label in time_ticks(day.start, day.end, 10 if variant == "wide" else 6):
        at = x.clamp(place)
        yield element("line", class_="d-grid", x1=at, x2=at, y1=frame.y1, y2=frame.y0)
        yield element("text", label, class_=f"d-tick {anchor(frame, at)}", x=at, y=frame.y0 + 18)
    row = (frame.y0 - frame.y1) / max(len(day.lanes), 1)
    yield from _marks(day, frame, x)
    for index, lane in enumerate(day.lanes):
        yield from _lane(lane, frame, x, frame.y1 + row * (index + 1), variant)
    if chart.now and day.start <= chart.now <= day.end:
        yield from upright(frame, x(day_number(chart.now)), "now", "today")


def _marks(day: RotationDay, frame: Frame, x: Scale) -> Iterator[SafeString]:
    """The matches; a number that would run into the one before stands a line higher."""
    reach, lifted = -100.0, False
    for mark in sorted(day.matches, key=lambda mark: mark.at):
        at, width = x.clamp(day_number(mark.at)), len(mark.label) * LETTER + 6
        lifted = at - width / 2 < reach and not lifted
        reach = max(reach, at + width / 2)
        top = frame.y1 - (20.0 if lifted else 4.0)
        yield element("line", class_="d-match", x1=at, x2=at, y1=top, y2=frame.y0)
        yield element("text", mark.label, class_=f"d-note d-halo {anchor(frame, at, 12)}", x=at, y=top - 4)


def _lane(lane: RotationLane, frame: Frame, x: Scale, foot: float, variant: str) -> Iterator[SafeString]:
    yield element("line", class_="d-lane", x1=2.0, x2=frame.x1, y1=foot, y2=foot)
    if variant == "wide":
        yield element("text", lane.code, class_="d-word d-start", x=2.0, y=foot - 10)
    else:
        words = f"{lane.code}  {lane.note}" if lane.note else lane.code
        yield element("text", words, class_="d-word d-start d-halo", x=frame.x0, y=foot - BAR - FOOT - 6)
    for bar in lane.bars:
        left, right = x.clamp(day_number(bar.start)), x.clamp(day_number(bar.end))
        if right - left >= 0.5:
            yield from _bar(bar, left, right - left, foot - FOOT)


def _bar(bar: RotationBar, left: float, width: float, foot: float) -> Iterator[SafeString]:
    top, planned = foot - BAR, " is-planned" if bar.planned else ""
    if bar.kind == "ready":
        # A line that waits: thin, with an upright at both ends.
        middle = foot - BAR / 2
        ends = f"M{number(left)} {number(middle)}h{number(width)}M{number(left)} {number(middle - 5)}v10"
        yield element("path", class_="d-ready", d=f"{ends}M{number(left + width)} {number(middle - 5)}v10")
        return
    if bar.kind == "rest":
        yield element("path", class_="d-rest", d=f"M{number(left)} {number(foot - BAR / 2)}h{number(width)}")
        return
    yield element(
        "rect", class_=f"d-rot d-rot--{bar.kind}{planned}", x=left, y=top, width=max(width, 2.0), height=BAR
    )
    if bar.kind in ("charge", "cool"):
        yield element("path", class_=f"d-hatch d-hatch--{bar.kind}", d=_hatch(bar.kind, left, top, width))
    if bar.label and len(bar.label) * LETTER + 6 <= width:
        yield element(
            "text", bar.label, class_=f"d-note d-on-rot--{bar.kind} d-mid", x=left + width / 2, y=foot - 5.5
        )


def _hatch(kind: str, left: float, top: float, width: float) -> str:
    """Strokes inside a bar: upright ones for charging, dots for cooling."""
    count = int((width - 3) / PITCH)
    if kind == "charge":
        return "".join(
            f"M{number(left + PITCH * (n + 1) - 2)} {number(top + 3)}v{number(BAR - 6)}" for n in range(count)
        )
    return "".join(
        f"M{number(left + PITCH * (n + 1) - 2)} {number(top + level)}h.1"
        for n in range(count)
        for level in ((5, 15) if n % 2 else (10,))
    )


def _key() -> SafeString:
    """What the shapes mean."""
    start = datetime(2000, 1, 1)
    bars = [(RotationBar(kind, start, start + timedelta(hours=1)), words) for kind, words in STATES.items()]
    items = format_html_join(
        "",
        '<li><svg class="draw-key" viewBox="0 0 30 22" width="30" height="22" aria-hidden="true">{}</svg>{}</li>',
        ((join(_bar(bar, 1.0, 28.0, 21.0)), words) for bar, words in bars),
    )
    return format_html('<ul class="key">{}<li>outlined only: planned</li></ul>', items)


def _table(chart: RotationChart) -> SafeString:
    body = format_html_join(
        "",
        '<tr><th scope="row">{}</th><td class="fig nowrap">{}</td><td class="fig nowrap">{}</td><td>{}</td></tr>',
        (
            (lane.code, f"{bar.start:%a %H:%M}", f"{bar.end:%a %H:%M}", _words(bar))
            for day in chart.days
            for lane in day.lanes
            for bar in lane.bars
        ),
    )
    return format_html(
        '<details class="fold no-print"><summary>The same as a table</summary>'
        '<div class="scroll" tabindex="0" role="region" aria-label="{}: every step"><table class="dense"><thead><tr>'
        '<th scope="col">Battery</th><th scope="col">From</th><th scope="col">To</th><th scope="col">What</th>'
        "</tr></thead><tbody>{}</tbody></table></div></details>",
        chart.title,
        body,
    )


def _words(bar: RotationBar) -> str:
    told = STATES.get(bar.kind, bar.kind)
    if bar.label:
        told += f", match {bar.label}" if bar.kind == "robot" else f", {bar.label}"
    return f"{told} (planned)" if bar.planned else told
