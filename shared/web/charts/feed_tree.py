"""The feed tree of a robot: battery, bus bars, branches as rungs as heavy as their conductors.

One row a branch, set in by its depth: a rung leaves the bar that feeds it, carries its protective device and ends in
an open circle (a load) or in a bar of its own (a board, a regulator). Figures stand in columns beside it, the verdict
as shape and word; the whole row opens the working of its branch. The drawing grows downwards, so it reads on a phone
and breaks over sheets of paper.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field, replace

from django.utils.html import format_html, format_html_join
from django.utils.safestring import SafeString, mark_safe

from shared.web.charts.svg import COMPACT, WIDE, Frame, drawing, element, join
from shared.web.figures import format_figure
from shared.web.icons import SEVERITY_SHAPES, SEVERITY_WORDS

#: Stroke of a conductor: as the square root of its area, so 1.2 for a signal wire and about 7 for a main lead.
THINNEST, PER_ROOT_MM2, THICKEST = 1.2, 1.45, 9.0
#: A letter of the row's name and of its small print is about this wide; what does not fit is cut, never overrun.
LETTER, SMALL_LETTER = 7.1, 6.0


@dataclass(frozen=True, slots=True)
class FeedBranch:
    """One branch. `parent` is the key of the branch whose far end feeds it, empty for the battery's posts.

    `device_kind`: fuse or breaker, empty for none. Currents and voltages may be missing: a dash is drawn.
    """

    key: str
    name: str
    parent: str = ""
    area_mm2: float | None = None
    wire: str = ""
    device: str = ""
    device_kind: str = ""
    current_a: float | None = None
    far_v: float | None = None
    severity: str = ""
    note: str = ""
    url: str = ""


@dataclass(frozen=True, slots=True)
class FeedTreeChart:
    """What to draw, branches in the order they shall stand in under the one that feeds them."""

    title: str
    branches: Sequence[FeedBranch] = field(default_factory=tuple)
    source: str = "Battery"
    source_note: str = ""
    summary: str = ""
    chart_id: str = "feed-tree"


@dataclass(frozen=True, slots=True)
class _Row:
    """A branch in its place: how deep it hangs, on which row, and the row of the last branch it feeds."""

    branch: FeedBranch
    depth: int
    place: int
    last_fed: int | None


@dataclass(frozen=True, slots=True)
class _Board:
    """Where things stand in one of the two sizes."""

    frame: Frame
    compact: bool
    row: float
    indent: float

    def bar(self, depth: int) -> float:
        return self.frame.left + 14 + depth * self.indent

    def line(self, place: int) -> float:
        """The height at which the rung of a row runs."""
        return self.frame.top + place * self.row + (16 if self.compact else 14)


def feed_tree(chart: FeedTreeChart) -> SafeString:
    """Return the figure: drawing in two sizes, key, and the same facts as a table to fold out."""
    rows = rows_of(chart.branches)
    if not rows:
        return format_html(
            '<figure class="chart"><p class="soft">{}: no branch is entered yet, nothing to draw.</p></figure>',
            chart.title,
        )
    drawings = join(
        _draw(chart, rows, frame, variant) for frame, variant in ((WIDE, "wide"), (COMPACT, "compact"))
    )
    return format_html(
        '<figure class="chart" data-zoom>{}<div class="scroll feed" tabindex="0" role="region" aria-label="{}">{}'
        "</div><figcaption>{}</figcaption>{}</figure>",
        _key(),
        chart.title,
        drawings,
        chart.summary,
        _table(chart, rows),
    )


def rows_of(branches: Sequence[FeedBranch]) -> list[_Row]:
    """Return every branch once, each under its feed; one whose feed is missing or a ring hangs on the battery."""
    known = {branch.key: branch for branch in branches}
    fed: dict[str, list[FeedBranch]] = {}
    for branch in known.values():
        at_battery = branch.parent not in known or _in_ring(branch, known)
        fed.setdefault("" if at_battery else branch.parent, []).append(branch)
    rows: list[_Row] = []

    def hang(parent: str, depth: int) -> int | None:
        last = None
        for branch in fed.get(parent, ()):
            last = len(rows)
            rows.append(_Row(branch, depth, last, None))
            rows[last] = replace(rows[last], last_fed=hang(branch.key, depth + 1))
        return last

    hang("", 0)
    return rows


def _in_ring(branch: FeedBranch, known: dict[str, FeedBranch]) -> bool:
    seen = {branch.key}
    here = known.get(branch.parent)
    while here is not None and here.key not in seen:
        seen.add(here.key)
        here = known.get(here.parent)
    return here is not None and here.key == branch.key


def stroke_of(area_mm2: float | None) -> float:
    """Return the weight of a conductor's line; an unknown size gets the thinnest."""
    if area_mm2 is None or not math.isfinite(area_mm2) or area_mm2 <= 0:
        return THINNEST
    return min(max(PER_ROOT_MM2 * math.sqrt(area_mm2), THINNEST), THICKEST)


def _draw(chart: FeedTreeChart, rows: Sequence[_Row], frame: Frame, variant: str) -> SafeString:
    compact = variant == "compact"
    depth = 1 + max(row.depth for row in rows)
    row = 64.0 if compact else 38.0
    top = 62.0 if compact else 70.0
    sized = replace(frame, left=2.0, right=2.0, top=top, bottom=6.0, height=top + row * len(rows) + 6)
    board = _Board(sized, compact, row, min(36.0, 120.0 / depth) if compact else min(84.0, 240.0 / depth))
    return drawing(
        sized,
        _parts(chart, rows, board),
        title=chart.title,
        description=chart.summary or f"{len(rows)} branches; the table below lists them.",
        chart_id=chart.chart_id,
        variant=variant,
        role="group",
    )


def _parts(chart: FeedTreeChart, rows: Sequence[_Row], board: _Board) -> Iterator[SafeString]:
    yield from _source(chart, board)
    if not board.compact:
        yield from _heads(board)
    # Bars first, so that rungs lie over them.
    last_root = max(row.place for row in rows if row.depth == 0)
    yield _bar(board, 0, 31.0, board.line(last_root))
    for row in rows:
        if row.last_fed is not None:
            yield _bar(board, row.depth + 1, board.line(row.place), board.line(row.last_fed))
    for row in rows:
        yield _row(row, board)


def _bar(board: _Board, depth: int, start: float, end: float) -> SafeString:
    x = board.bar(depth)
    return element("line", class_="d-bar", x1=x, x2=x, y1=start - 3, y2=end + 3)


def _source(chart: FeedTreeChart, board: _Board) -> Iterator[SafeString]:
    """The battery as it is drawn in wiring diagrams: long plate, short plate."""
    x = board.bar(0)
    for half, y in ((12, 8.0), (6, 14.0), (12, 20.0), (6, 26.0)):
        yield element("line", class_="d-plate", x1=x - half, x2=x + half, y1=y, y2=y)
    room = int((board.frame.x1 - x - 24) / LETTER)
    yield element("text", cut(chart.source, room), class_="d-word d-strong", x=x + 22, y=16.0)
    yield element("text", cut(chart.source_note, room), class_="d-tick", x=x + 22, y=33.0)


#: Right edges of the figure columns and the left edge of the verdict in the wide drawing; of the compact one below.
AMPERE_X, VOLT_X, VERDICT_X = 556.0, 632.0, 652.0
COMPACT_VERDICT_X = 276.0


def _heads(board: _Board) -> Iterator[SafeString]:
    y = board.frame.top - 12
    for x, text, side in (
        (AMPERE_X, "current", "d-end"),
        (VOLT_X, "arrives", "d-end"),
        (VERDICT_X, "verdict", "d-start"),
    ):
        yield element("text", text, class_=f"d-unit {side}", x=x, y=y)
    yield element("line", class_="d-lane", x1=board.bar(0) + 40, x2=board.frame.x1, y1=y + 6, y2=y + 6)


def _row(row: _Row, board: _Board) -> SafeString:
    branch, y = row.branch, board.line(row.place)
    top = board.frame.top + row.place * board.row
    inside = [
        element(
            "rect",
            class_="d-hit",
            x=board.bar(row.depth),
            y=top,
            width=board.frame.x1 - board.bar(row.depth),
            height=board.row,
        ),
        *_rung(row, board, y),
        *(_words_compact(row, board, y) if board.compact else _words_wide(row, board, y)),
    ]
    if branch.url:
        # Its name is what it shows, with a space between the words; a label of its own would have to repeat them.
        spaced = [part for child in inside for part in (child, " ")]
        return element("a", *spaced, class_="d-row", href=branch.url)
    return element("g", *inside, class_="d-row", role="img", aria_label=spoken(branch))


def _rung(row: _Row, board: _Board, y: float) -> Iterator[SafeString]:
    branch = row.branch
    start, end = board.bar(row.depth), board.bar(row.depth + 1)
    yield element(
        "line",
        class_=f"d-rung d-rung--{severity_key(branch.severity)}",
        x1=start,
        x2=end,
        y1=y,
        y2=y,
        stroke_width=stroke_of(branch.area_mm2),
    )
    if branch.device_kind:
        yield from _device(branch.device_kind, (start + end) / 2, y, min(9.0, board.indent / 5))
    if row.last_fed is None:
        yield element("circle", class_="d-load", cx=end, cy=y, r=3.6)
    else:
        yield element("rect", class_="d-node", x=end - 4.5, y=y - 4.5, width=9.0, height=9.0)


def _device(kind: str, x: float, y: float, half: float) -> Iterator[SafeString]:
    yield element("rect", class_="d-device", x=x - half, y=y - 5.0, width=2 * half, height=10.0)
    if kind == "breaker":
        yield element("line", class_="d-device", x1=x - half + 2, x2=x + half - 2, y1=y + 3.0, y2=y - 3.0)
    else:
        yield element("line", class_="d-device", x1=x - half, x2=x + half, y1=y, y2=y)


def _words_wide(row: _Row, board: _Board, y: float) -> Iterator[SafeString]:
    branch, x = row.branch, board.bar(row.depth + 1) + 14
    room = AMPERE_X - 64 - x
    yield element("text", cut(branch.name, int(room / LETTER)), class_="d-word", x=x, y=y + 4.5)
    yield element("text", cut(small_print(branch), int(room / SMALL_LETTER)), class_="d-small", x=x, y=y + 19)
    yield element("text", f"{figure(branch.current_a, 1)} A", class_="d-end", x=AMPERE_X, y=y + 4.5)
    yield element("text", f"{figure(branch.far_v, 2)} V", class_="d-end", x=VOLT_X, y=y + 4.5)
    yield from _verdict(branch, VERDICT_X, y - 4)
    room = int((board.frame.x1 - VERDICT_X) / SMALL_LETTER)
    yield element("text", cut(branch.note, room), class_="d-small", x=VERDICT_X, y=y + 19)


def _words_compact(row: _Row, board: _Board, y: float) -> Iterator[SafeString]:
    branch, x = row.branch, board.bar(row.depth + 1) + 11
    room = board.frame.x1 - x
    yield element("text", cut(branch.name, int(room / LETTER)), class_="d-word", x=x, y=y + 4.5)
    amount = f"{figure(branch.current_a, 1)} A  {figure(branch.far_v, 2)} V"
    yield element("text", amount, class_="d-figs", x=x, y=y + 22)
    if branch.severity:
        yield from _verdict(branch, COMPACT_VERDICT_X, y + 13)
    note = branch.note or small_print(branch)
    yield element("text", cut(note, int(room / SMALL_LETTER)), class_="d-small", x=x, y=y + 38)


def _verdict(branch: FeedBranch, x: float, y: float) -> Iterator[SafeString]:
    if not branch.severity:
        return
    key = severity_key(branch.severity)
    shape = mark_safe(SEVERITY_SHAPES[key])  # noqa: S308 -- a literal of the icons
    place = f"translate({x:.1f} {y - 3:.1f}) scale(.8)"
    yield element("g", shape, class_=f"d-sev d-sev--{key}", transform=place)
    yield element("text", SEVERITY_WORDS[key], class_=f"d-verdict d-verdict--{key}", x=x + 19, y=y + 8)


def severity_key(severity: str) -> str:
    """Return the severity to draw; none at all draws as in order, an unknown one as not judged."""
    if not severity:
        return "ok"
    return severity if severity in SEVERITY_WORDS else "unknown"


def figure(value: float | None, decimals: int) -> str:
    """Return a figure as it stands in the drawing; a dash where it is missing or not finite."""
    return format_figure(value, decimals).strip("\u2007")


def small_print(branch: FeedBranch) -> str:
    """Return conductor and device of a branch in one line."""
    return " · ".join(filter(None, (branch.wire, branch.device)))


def cut(text: str, room: int) -> str:
    """Return the text, its end replaced by an ellipsis when it is longer than the room."""
    return text if len(text) <= room else text[: max(room - 1, 1)].rstrip() + "…"


def spoken(branch: FeedBranch) -> str:
    """Return a row that opens nothing as one sentence for those who do not see it."""
    parts = [
        branch.name,
        "" if branch.current_a is None else f"{figure(branch.current_a, 1)} A",
        "" if branch.far_v is None else f"{figure(branch.far_v, 2)} V at its far end",
        SEVERITY_WORDS[severity_key(branch.severity)] if branch.severity else "",
        branch.note,
        small_print(branch),
    ]
    return ", ".join(filter(None, parts))


def _key() -> SafeString:
    thin, thick = stroke_of(0.5), stroke_of(13.3)
    rows = [
        (element("path", class_="d-rung d-rung--ok", d="M0 4L16 4", stroke_width=thin)
         + element("path", class_="d-rung d-rung--ok", d="M0 11L16 11", stroke_width=thick), "thicker: more conductor"),
        (join(_device("fuse", 8, 8, 7)), "fuse"),
        (join(_device("breaker", 8, 8, 7)), "breaker"),
        (element("rect", class_="d-node", x=3, y=3, width=10, height=10), "board or regulator"),
        (element("circle", class_="d-load", cx=8, cy=8, r=4), "load"),
    ]  # fmt: skip
    items = format_html_join(
        "",
        '<li><svg class="draw-key" viewBox="0 0 16 16" width="16" height="16" aria-hidden="true">{}</svg>{}</li>',
        rows,
    )
    return format_html('<ul class="key">{}</ul>', items)


def _table(chart: FeedTreeChart, rows: Sequence[_Row]) -> SafeString:
    names = {row.branch.key: row.branch.name for row in rows}
    body = format_html_join(
        "",
        '<tr><th scope="row">{}</th><td>{}</td><td>{}</td><td class="num">{}</td><td class="num">{}</td>'
        "<td>{}</td><td>{}</td></tr>",
        (
            (
                format_html('<a href="{}">{}</a>', b.url, b.name) if b.url else b.name,
                names.get(b.parent, "") if row.depth else chart.source,
                small_print(b),
                format_figure(b.current_a, 1),
                format_figure(b.far_v, 2),
                SEVERITY_WORDS[severity_key(b.severity)] if b.severity else "",
                b.note,
            )
            for row in rows
            for b in (row.branch,)
        ),
    )
    return format_html(
        '<details class="fold"><summary>The {} branches as a table</summary>'
        '<div class="scroll" tabindex="0" role="region" aria-label="{}: branches"><table class="dense"><thead><tr>'
        '<th scope="col">Branch</th><th scope="col">Fed from</th><th scope="col">Conductor and device</th>'
        '<th scope="col" class="num">A</th><th scope="col" class="num">V there</th><th scope="col">Verdict</th>'
        '<th scope="col">Why</th></tr></thead><tbody>{}</tbody></table></div></details>',
        len(rows),
        chart.title,
        body,
    )
