"""How much of a limit is used: one bar for a table cell, or a list of bars with their words.

Every bar has the same scale: the limit stands at four fifths of its length, so bars of different limits
compare by eye and up to a quarter over the limit is drawn true; beyond that the bar ends in a break.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, field

from django.utils.html import format_html, format_html_join
from django.utils.safestring import SafeString

from shared.web.charts.svg import element, join, number
from shared.web.figures import format_figure
from shared.web.icons import severity_mark

LENGTH, HEIGHT = 125.0, 14.0
AT_LIMIT = 100.0


@dataclass(frozen=True, slots=True)
class MarginBar:
    """One line of the list: what is used of which limit. `used` or `limit` None means it cannot be judged."""

    label: str
    used: float | None
    limit: float | None
    unit: str = ""
    severity: str = ""
    note: str = ""
    url: str = ""
    decimals: int = 1


@dataclass(frozen=True, slots=True)
class MarginBars:
    """A list of bars under one title."""

    title: str
    bars: Sequence[MarginBar] = field(default_factory=tuple)


def used_frac(used: float | None, limit: float | None) -> float | None:
    """Return used / limit, or None when that cannot be judged: missing, not finite, negative, no limit."""
    if used is None or limit is None or not math.isfinite(used) or not math.isfinite(limit):
        return None
    if used < 0 or limit <= 0:
        return None
    return used / limit


def margin_bar(used: float | None, limit: float | None, *, label: str = "", wide: bool = False) -> SafeString:
    """Draw one bar; its words say the same for those who do not see it."""
    frac = used_frac(used, limit)
    if frac is None:
        return _bar(
            [element("rect", class_="d-blank", x=0.5, y=4.0, width=99.0, height=6.0)],
            label or "cannot judge",
            wide,
        )
    parts = [element("rect", class_="d-used", x=0.0, y=4.0, width=min(frac, 1.0) * AT_LIMIT, height=6.0)]
    if frac > 1:
        over = min(frac * AT_LIMIT, LENGTH) - AT_LIMIT
        parts.append(element("rect", class_="d-over", x=AT_LIMIT, y=2.0, width=over, height=10.0))
    if frac * AT_LIMIT > LENGTH:
        parts.append(element("path", class_="d-break", d="M119 1l-3 6 4 0-3 6"))
    parts.append(element("line", class_="d-stop", x1=AT_LIMIT, x2=AT_LIMIT, y1=0.0, y2=HEIGHT))
    return _bar(parts, label or f"{percent(frac)} of the limit", wide)


def percent(frac: float) -> str:
    """Return a fraction in whole per cent, never rounded down to the limit: 1.004 is 101 %."""
    whole = math.ceil(frac * 100 - 1e-9) if frac > 1 else math.floor(frac * 100 + 0.5)
    return f"{whole} %"


def _bar(parts: Sequence[SafeString], label: str, wide: bool) -> SafeString:
    size = {"preserveAspectRatio": "none"} if wide else {"width": "125", "height": "14"}
    return element(
        "svg",
        *parts,
        class_="bar bar--wide" if wide else "bar",
        viewBox=f"0 0 {number(LENGTH)} {number(HEIGHT)}",
        role="img",
        aria_label=label,
        **size,
    )


def margin_bars(chart: MarginBars) -> SafeString:
    """Draw a list of bars with label, figures and severity in words; it reads without the drawing too."""
    if not chart.bars:
        return format_html('<p class="soft">{}: nothing to compare yet.</p>', chart.title)
    rows = format_html_join("", '<li class="bars__row">{}</li>', ((_row(bar),) for bar in chart.bars))
    return format_html(
        '<figure class="chart"><figcaption class="bars__title">{}</figcaption>'
        '<ul class="bars">{}</ul></figure>',
        chart.title,
        rows,
    )


def _row(bar: MarginBar) -> SafeString:
    frac = used_frac(bar.used, bar.limit)
    name = format_html('<a href="{}">{}</a>', bar.url, bar.label) if bar.url else format_html("{}", bar.label)
    figures = format_html(
        '<span class="fig">{}</span> of <span class="fig">{}</span> {}',
        format_figure(bar.used, bar.decimals).strip("\u2007"),
        format_figure(bar.limit, bar.decimals).strip("\u2007"),
        bar.unit,
    )
    share = "cannot judge" if frac is None else percent(frac)
    parts = [
        format_html('<span class="bars__label">{}</span>', name),
        margin_bar(bar.used, bar.limit, label=share, wide=True),
        format_html('<span class="bars__fig">{}</span>', figures),
        format_html('<span class="bars__share fig">{}</span>', "–" if frac is None else share),
        _verdict(bar),
    ]
    return join(parts)


def _verdict(bar: MarginBar) -> SafeString:
    if not bar.severity and not bar.note:
        return SafeString("")
    mark = severity_mark(bar.severity, size=14) if bar.severity else SafeString("")
    return format_html('<span class="bars__note">{} {}</span>', mark, bar.note)
