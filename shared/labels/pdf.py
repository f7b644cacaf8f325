"""Labels as a PDF: a page for each sheet, or for each label of a roll."""

from __future__ import annotations

import io
from collections.abc import Sequence
from typing import TYPE_CHECKING

from shared.labels.art import BOLD, POINT_MM, REGULAR, Art, Label, label_art
from shared.labels.layouts import Layout

if TYPE_CHECKING:
    from reportlab.pdfgen.canvas import Canvas


def labels_pdf(
    labels: Sequence[Label],
    layout: Layout,
    *,
    start: int = 1,
    shift_x_mm: float = 0.0,
    shift_y_mm: float = 0.0,
    title: str = "Labels",
) -> bytes:
    """The labels one after another from place ``start`` of the first sheet, moved right and down by the shifts."""
    from reportlab.pdfgen.canvas import Canvas  # noqa: PLC0415 -- only where a PDF is made

    out = io.BytesIO()
    size = (layout.page_w_mm / POINT_MM, layout.page_h_mm / POINT_MM)
    # Invariant: the same labels give the same bytes.
    canvas = Canvas(out, pagesize=size, invariant=1, pageCompression=1)
    canvas.setTitle(title)
    canvas.setCreator("Loadstock")
    drawn: dict[Label, Art] = {}
    for page in layout.pages(labels, start):
        # From here on millimetres from the top left corner, down and right.
        canvas.translate(0, size[1])
        canvas.scale(1 / POINT_MM, 1 / POINT_MM)
        for place, label in page:
            art = drawn.setdefault(label, label_art(label, layout.label_w_mm, layout.label_h_mm))
            x_mm, y_mm = layout.corner_mm(place)
            _draw(canvas, art, x_mm + shift_x_mm, y_mm + shift_y_mm)
        canvas.showPage()
    canvas.save()
    return out.getvalue()


def _draw(canvas: Canvas, art: Art, x_mm: float, y_mm: float) -> None:
    # One path for the whole code: bars painted one by one would show seams between them.
    code = canvas.beginPath()
    for x, y, width, height in art.dark_runs():
        code.rect(x_mm + x, -(y_mm + y + height), width, height)
    canvas.drawPath(code, stroke=0, fill=1)
    for line in art.lines:
        canvas.setFont(BOLD if line.bold else REGULAR, line.size_mm)
        canvas.drawString(x_mm + line.x_mm, -(y_mm + line.y_mm), line.text)
