"""Many batteries on one scale: each against its own baseline, with the limits that hold for all of them."""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field, replace

from django.utils.html import format_html, format_html_join
from django.utils.safestring import SafeString, mark_safe

from shared.web.charts.svg import Frame, Scale, drawing, element, in_both_sizes, tick_text, value_ticks
from shared.web.icons import SEVERITY_SHAPES

ROW = {"wide": 30.0, "compact": 48.0}
#: The axis goes at least this far on both sides of the baseline, in per cent.
LEAST, MOST = -10.0, 60.0
WORD_SPACE = 190.0


@dataclass(frozen=True, slots=True)
class FleetRow:
    """One battery: rises over its own baseline in per cent, oldest first; `level` is where it stands now.

    Without a baseline `level` is None and `note` says what is missing. `severity` and `word` are its verdict.
    """

    label: str
    url: str
    word: str
    severity: str = "ok"
    rises: Sequence[float] = field(default_factory=tuple)
    level: float | None = None
    note: str = ""

    @property
    def stands(self) -> bool:
        """Whether it has a level that can be drawn."""
        return self.level is not None and math.isfinite(self.level)

    @property
    def figure(self) -> str:
        """The level as text, a dash where there is none."""
        return f"{self.level:+.0f} %".replace("-", "\u2212") if self.stands else "\u2013"


@dataclass(frozen=True, slots=True)
class FleetLimit:
    """A rise that means something, in per cent."""

    rise: float
    label: str
    severity: str


@dataclass(frozen=True, slots=True)
class FleetStrip:
    """What to draw, in the order given."""

    title: str
    rows: Sequence[FleetRow] = field(default_factory=tuple)
    limits: Sequence[FleetLimit] = field(default_factory=tuple)
    summary: str = ""
    chart_id: str = "fleet"


def fleet_strip(chart: FleetStrip) -> SafeString:
    """Return the figure: one line per battery in two sizes, and the same as a table to fold out."""
    if not chart.rows:
        return format_html(
            '<figure class="chart"><p class="soft">{}: no battery yet.</p></figure>', chart.title
        )

    def draw(frame: Frame, variant: str) -> SafeString:
        sized = _sized(frame, variant, len(chart.rows))
        return drawing(
            sized,
            _parts(chart, sized, variant),
            title=chart.title,
            description=chart.summary or "The table below says the same.",
            chart_id=chart.chart_id,
            variant=variant,
            role="group",
        )

    return format_html(
        '<figure class="chart">{}<figcaption>{}</figcaption>{}</figure>',
        in_both_sizes(draw),
        chart.summary,
        _table(chart),
    )


def _sized(frame: Frame, variant: str, rows: int) -> Frame:
    left, right = (110.0, WORD_SPACE) if variant == "wide" else (12.0, 12.0)
    top = 40.0
    return replace(
        frame, left=left, right=right, top=top, bottom=30.0, height=top + ROW[variant] * rows + 30.0
    )


def bounds(chart: FleetStrip) -> tuple[float, float]:
    """Return the ends of the axis: every level and limit is inside, single readings may lie outside."""
    known = [row.level for row in chart.rows if row.level is not None and math.isfinite(row.level)]
    known += [limit.rise for limit in chart.limits]
    return min([LEAST, *known]) - 4.0, max([MOST, *known]) + 6.0


def _parts(chart: FleetStrip, frame: Frame, variant: str) -> Iterator[SafeString]:
    low, high = bounds(chart)
    x = Scale(low, high, frame.x0, frame.x1)
    for value in value_ticks(low, high, frame.label_count):
        yield element("line", class_="d-grid", x1=x(value), x2=x(value), y1=frame.y1, y2=frame.y0)
        text = tick_text(value, 10.0) + (" %" if value == 0 else "")
        yield element("text", text, class_="d-tick d-mid", x=x(value), y=frame.y0 + 18)
    yield from _levels(chart, frame, x, variant)
    step = ROW[variant]
    for index, row in enumerate(chart.rows):
        yield _row(row, frame, x, frame.y1 + step * index, step, variant)
    yield element("line", class_="d-axis", x1=frame.x0, x2=frame.x1, y1=frame.y0, y2=frame.y0)


def _levels(chart: FleetStrip, frame: Frame, x: Scale, variant: str) -> Iterator[SafeString]:
    """The baseline and the limits as upright lines with their words above, on two heights so that none meet."""
    lines = [(0.0, "baseline", "baseline"), *((at.rise, at.label, at.severity) for at in chart.limits)]
    for place, (value, word, kind) in enumerate(lines):
        at = x(value)
        yield element("line", class_=f"d-level d-level--{kind}", x1=at, x2=at, y1=frame.y1 - 4, y2=frame.y0)
        height = frame.y1 - 9 - (14 if place % 2 else 0)
        side = "d-end" if at > frame.x1 - 40 and variant == "compact" else "d-mid"
        yield element("text", word, class_=f"d-note d-halo {side} d-word--{kind}", x=at, y=height)


def _row(row: FleetRow, frame: Frame, x: Scale, top: float, step: float, variant: str) -> SafeString:
    """One battery as a link: its name, its readings faint, where it stands now bold, its verdict in words."""
    wide = variant == "wide"
    line = top + step / 2 if wide else top + step - 13
    parts = [element("rect", class_="d-hit", x=0.0, y=top, width=frame.width, height=step)]
    parts.append(element("line", class_="d-lane", x1=frame.x0, x2=frame.x1, y1=line, y2=line))
    words = line + 5 if wide else top + 18
    parts.append(element("text", row.label, class_="d-word d-strong d-start", x=4.0, y=words))
    parts += [
        element("circle", class_="d-faint", cx=x.clamp(rise), cy=line, r=3)
        for rise in row.rises
        if math.isfinite(rise)
    ]
    if row.level is not None and row.stands:
        at = x.clamp(row.level)
        lead = f"M{at:.1f} {line - 8:.1f}v16M{x(0.0):.1f} {line:.1f}H{at:.1f}"
        parts.append(element("path", class_="d-level-now", d=lead))
        parts.append(_figure(at, line, frame, row.figure))
    elif row.note:
        parts.append(element("text", row.note, class_="d-small d-halo d-start", x=x(0.0) + 8, y=line + 4))
    left = frame.x1 + 12 if wide else frame.width - 8
    if wide:
        parts.append(_shape(row.severity, left, line - 8))
    kind = f"d-verdict d-verdict--{row.severity} {'d-start' if wide else 'd-end'}"
    parts.append(element("text", row.word, class_=kind, x=left + (22 if wide else 0), y=words))
    # Its name is what it shows, with a space between the words; a label of its own would have to repeat them.
    spaced = [part for child in parts for part in (child, " ")]
    return element("a", *spaced, class_="d-row", href=row.url)


def _figure(at: float, line: float, frame: Frame, text: str) -> SafeString:
    """The rise beside its mark, on the side where there is room."""
    right = at + 62 < frame.x1
    side, x = ("d-start", at + 8) if right else ("d-end", at - 8)
    lift = 4.0 if right else -6.0
    return element("text", text, class_=f"d-note d-halo {side}", x=x, y=line + lift)


def _shape(severity: str, x: float, y: float) -> SafeString:
    """The shape of a severity, 16 units wide."""
    shape = mark_safe(SEVERITY_SHAPES.get(severity, SEVERITY_SHAPES["unknown"]))  # noqa: S308 -- literals of icons
    return element("g", shape, class_=f"d-sev d-sev--{severity}", transform=f"translate({x:.1f} {y:.1f})")


def _table(chart: FleetStrip) -> SafeString:
    body = format_html_join(
        "",
        '<tr><th scope="row"><a href="{}">{}</a></th><td class="num">{}</td><td>{}</td><td>{}</td></tr>',
        ((row.url, row.label, row.figure, row.word, row.note) for row in chart.rows),
    )
    return format_html(
        '<details class="fold"><summary>The same as a table</summary><div class="scroll" tabindex="0" role="region" '
        'aria-label="{}"><table class="dense"><thead><tr><th scope="col">Battery</th>'
        '<th scope="col" class="num">Over its baseline</th><th scope="col">Verdict</th><th scope="col">Missing</th>'
        "</tr></thead><tbody>{}</tbody></table></div></details>",
        chart.title,
        body,
    )
