"""The phases of a duty profile as steps: how much of its draw a load takes, second by second."""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field, replace

from django.utils.html import format_html, format_html_join
from django.utils.safestring import SafeString

from shared.web.charts.axes import second_axis, value_axis
from shared.web.charts.svg import Frame, Scale, drawing, element, in_both_sizes, path_through
from shared.web.figures import format_figure

LETTER = 7.4


@dataclass(frozen=True, slots=True)
class DutyStep:
    """One phase: how long, which share of the draw (0 to 1), and of a motor's stall torque if it has one."""

    name: str
    seconds: float
    draw_frac: float
    torque_frac: float | None = None


@dataclass(frozen=True, slots=True)
class DutyChart:
    """One round of the profile; it repeats until the match ends."""

    title: str
    steps: Sequence[DutyStep] = field(default_factory=tuple)
    summary: str = ""
    draw_label: str = "share of the draw"
    torque_label: str = "share of the stall torque"
    chart_id: str = "duty"


def duty_chart(chart: DutyChart) -> SafeString:
    """Return the figure: drawing in two sizes, key, and the phases as a table."""
    steps = [
        s for s in chart.steps if math.isfinite(s.seconds) and s.seconds > 0 and math.isfinite(s.draw_frac)
    ]
    if not steps:
        return format_html(
            '<figure class="chart"><p class="soft">{}: no phase of any length, nothing to draw.</p></figure>',
            chart.title,
        )

    def draw(frame: Frame, variant: str) -> SafeString:
        return drawing(
            replace(frame, height=240.0, top=42.0),
            _parts(steps, replace(frame, height=240.0, top=42.0)),
            title=chart.title,
            description=chart.summary or spoken(steps),
            chart_id=chart.chart_id,
            variant=variant,
        )

    return format_html(
        '<figure class="chart">{}{}<figcaption>{}</figcaption>{}</figure>',
        in_both_sizes(draw),
        _key(chart, steps),
        chart.summary or spoken(steps),
        _table(chart, steps),
    )


def mean_draw(steps: Sequence[DutyStep]) -> float:
    """Return the share of the draw averaged over one round."""
    total = sum(step.seconds for step in steps)
    return sum(step.seconds * step.draw_frac for step in steps) / total


def spoken(steps: Sequence[DutyStep]) -> str:
    """Return one round in words."""
    total = sum(step.seconds for step in steps)
    return (
        f"One round takes {format_figure(total, '0-1').strip(chr(0x2007))} s; "
        f"averaged over it the draw is {mean_draw(steps):.0%} of full."
    )


def corners(steps: Sequence[DutyStep], values: Sequence[float]) -> list[tuple[float, float]]:
    """Return the corners of the step line: (seconds, share), two a phase."""
    found: list[tuple[float, float]] = []
    at = 0.0
    for step, value in zip(steps, values, strict=True):
        found += [(at, value), (at + step.seconds, value)]
        at += step.seconds
    return found


def _parts(steps: Sequence[DutyStep], frame: Frame) -> Iterator[SafeString]:
    total = sum(step.seconds for step in steps)
    torques = [step.torque_frac or 0.0 for step in steps]
    top = max(1.0, *(step.draw_frac for step in steps), *torques)
    x = Scale(0.0, total, frame.x0, frame.x1)
    y = Scale(0.0, 100.0 * top, frame.y0, frame.y1)
    yield from value_axis(frame, y, "%", most=4)
    draws = [(x(t), y(100 * v)) for t, v in corners(steps, [step.draw_frac for step in steps])]
    yield element(
        "path", class_="d-band", d=path_through([(frame.x0, frame.y0), *draws, (frame.x1, frame.y0)]) + "Z"
    )
    yield from _phases(steps, frame, x)
    yield from second_axis(frame, x)
    yield element("path", class_="d-steps", d=path_through(draws))
    if any(torques):
        line = [(x(t), y(100 * v)) for t, v in corners(steps, torques)]
        yield element("path", class_="d-ahead", d=path_through(line))


def _phases(steps: Sequence[DutyStep], frame: Frame, x: Scale) -> Iterator[SafeString]:
    at = 0.0
    for step in steps:
        left, right = x(at), x(at + step.seconds)
        yield element("line", class_="d-grid", x1=right, x2=right, y1=frame.y1 - 14, y2=frame.y0)
        # A name that does not fit over its phase stays in the table.
        if step.name and len(step.name) * LETTER + 4 <= right - left:
            yield element("text", step.name, class_="d-tick d-mid", x=(left + right) / 2, y=frame.y1 - 9)
        at += step.seconds


def _key(chart: DutyChart, steps: Sequence[DutyStep]) -> SafeString:
    rows = [(element("path", class_="d-steps", d="M0 12L6 12L6 5L16 5"), chart.draw_label)]
    if any(step.torque_frac for step in steps):
        rows.append((element("path", class_="d-ahead", d="M0 8L16 8"), chart.torque_label))
    items = format_html_join(
        "",
        '<li><svg class="draw-key" viewBox="0 0 16 16" width="16" height="16" aria-hidden="true">{}</svg>{}</li>',
        rows,
    )
    return format_html('<ul class="key">{}</ul>', items)


def _table(chart: DutyChart, steps: Sequence[DutyStep]) -> SafeString:
    body = format_html_join(
        "",
        '<tr><td class="num">{}</td><th scope="row">{}</th><td class="num">{}</td><td class="num">{}</td>'
        '<td class="num">{}</td></tr>',
        (
            (
                place,
                step.name or "unnamed",
                format_figure(step.seconds, 2),
                format_figure(100 * step.draw_frac, 0),
                format_figure(None if step.torque_frac is None else 100 * step.torque_frac, 0),
            )
            for place, step in enumerate(steps, start=1)
        ),
    )
    return format_html(
        '<details class="fold"><summary>The {} phases as a table</summary>'
        '<div class="scroll" tabindex="0" role="region" aria-label="{}: phases"><table class="dense"><thead><tr>'
        '<th scope="col" class="num">No.</th><th scope="col">Phase</th><th scope="col" class="num">Seconds</th>'
        '<th scope="col" class="num">Draw, %</th><th scope="col" class="num">Torque, %</th></tr></thead>'
        "<tbody>{}</tbody></table></div></details>",
        len(steps),
        chart.title,
        body,
    )
