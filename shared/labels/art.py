"""What one label looks like, in millimetres: a QR code on the left, the code in big letters, and three small lines.

PDF and preview draw the same art, so what is seen is what is printed.
"""

from __future__ import annotations

import unicodedata
from dataclasses import dataclass
from functools import cache
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from reportlab.pdfbase.ttfonts import TTFont

REGULAR, BOLD = "Vera", "VeraBd"
POINT_MM = 25.4 / 72
#: Kept free along the edges: printers and cutters are off by about a millimetre.
EDGE_MM = 1.6
#: The quiet zone around a QR code, in modules: ISO/IEC 18004.
QUIET = 4
#: The QR code takes at most this share of a label's width, and grows no larger than this.
QR_SHARE, QR_MOST_MM = 0.45, 42.0
#: Height of the code's letters and of the small lines, as shares of the label's height, within limits.
CODE_SHARE, CODE_MOST_MM = 0.34, 15.0
SMALL_SHARE, SMALL_LEAST_MM, SMALL_MOST_MM = 0.095, 2.0, 4.0
#: From line to line, in sizes of its letters.
CODE_STEP, SMALL_STEP = 1.0, 1.35


@dataclass(frozen=True)
class Label:
    """What a label says: ``text`` is in the QR code and small below, ``code`` in big letters."""

    text: str
    code: str
    title: str = ""
    owner: str = ""


@dataclass(frozen=True)
class Line:
    """One line of print: its left end on the baseline, the size of its letters and how wide it runs."""

    text: str
    x_mm: float
    y_mm: float
    size_mm: float
    width_mm: float
    bold: bool = False


@dataclass(frozen=True)
class Art:
    """Distances from the top left corner of the label, down and right."""

    qr: tuple[tuple[bool, ...], ...]
    qr_x_mm: float
    qr_y_mm: float
    module_mm: float
    lines: tuple[Line, ...]

    def dark_runs(self) -> list[tuple[float, float, float, float]]:
        """Dark modules as bars (x, y, width, height), each as long as it can be."""
        runs = []
        for j, row in enumerate(self.qr):
            i = 0
            while i < len(row):
                end = i
                while end < len(row) and row[end]:
                    end += 1
                if end > i:
                    runs.append(
                        (
                            self.qr_x_mm + i * self.module_mm,
                            self.qr_y_mm + j * self.module_mm,
                            (end - i) * self.module_mm,
                            self.module_mm,
                        )
                    )
                i = max(end, i + 1)
        return runs


def label_art(label: Label, width_mm: float, height_mm: float) -> Art:
    """Lay out one label of a size."""
    qr = qr_modules(label.text)
    side_mm = min(height_mm - 2 * EDGE_MM, width_mm * QR_SHARE, QR_MOST_MM)
    module_mm = side_mm / (len(qr) + 2 * QUIET)
    inset_mm = QUIET * module_mm
    # The quiet zone may reach over the edge that is kept free of print: both are white.
    qr_x_mm = max(EDGE_MM, inset_mm)
    qr_y_mm = (height_mm - len(qr) * module_mm) / 2
    text_x_mm = qr_x_mm + len(qr) * module_mm + inset_mm
    room_mm = width_mm - text_x_mm - EDGE_MM
    return Art(qr, qr_x_mm, qr_y_mm, module_mm, _lines(label, text_x_mm, room_mm, height_mm))


def _lines(label: Label, x_mm: float, room_mm: float, height_mm: float) -> tuple[Line, ...]:
    """The code, as big as the room allows, over title, text of the QR code and owner."""
    code, big_mm = _code_lines(printable(label.code), room_mm, min(height_mm * CODE_SHARE, CODE_MOST_MM))
    small_mm = min(max(height_mm * SMALL_SHARE, SMALL_LEAST_MM), SMALL_MOST_MM)
    # The text of the QR code is what somebody types when the scanner fails: it shrinks but is never cut.
    text_mm = min(small_mm, room_mm / text_width(label.text, 1.0))
    below = [(shortened(printable(label.title), small_mm, room_mm), small_mm), (label.text, text_mm)]
    below += [(shortened(printable(label.owner), small_mm, room_mm), small_mm)]
    below = [(text, size_mm) for text, size_mm in below if text]
    # Capitals stand about three quarters of their size above the baseline.
    high_mm = big_mm * (0.75 + CODE_STEP * (len(code) - 1)) + small_mm * SMALL_STEP * len(below)
    y_mm = (height_mm - high_mm) / 2 + big_mm * 0.75
    lines = []
    for text in code:
        lines.append(Line(text, x_mm, y_mm, big_mm, text_width(text, big_mm, bold=True), bold=True))
        y_mm += big_mm * CODE_STEP
    y_mm -= big_mm * CODE_STEP
    for text, size_mm in below:
        y_mm += small_mm * SMALL_STEP
        lines.append(Line(text, x_mm, y_mm, size_mm, text_width(text, size_mm)))
    return tuple(lines)


def _code_lines(code: str, room_mm: float, most_mm: float) -> tuple[list[str], float]:
    """A code on one line, or on two where that lets its letters be larger; and their size."""
    best, best_mm = [code], min(most_mm, room_mm / text_width(code, 1.0, bold=True))
    for place, character in enumerate(code[:-1], 1):
        halves = [code[:place], code[place:]]
        size_mm = min(most_mm / 1.6, *(room_mm / text_width(half, 1.0, bold=True) for half in halves))
        if character in "._/+-" and size_mm > best_mm:
            best, best_mm = halves, size_mm
    return best, best_mm


def shortened(text: str, size_mm: float, room_mm: float) -> str:
    """The text, or so much of it as fits, ending in dots."""
    if text_width(text, size_mm) <= room_mm:
        return text
    while text and text_width(text + "...", size_mm) > room_mm:
        text = text[:-1]
    return text.rstrip() + "..."


@cache
def qr_modules(text: str) -> tuple[tuple[bool, ...], ...]:
    """The dark modules of a full QR code; the small variant is not read by every scanner."""
    import segno  # noqa: PLC0415 -- only where a label is drawn

    return tuple(tuple(bool(module) for module in row) for row in segno.make_qr(text, error="M").matrix)


@cache
def font(name: str) -> TTFont:
    """A font that comes with the PDF library and is put into the file."""
    from reportlab.pdfbase import pdfmetrics  # noqa: PLC0415 -- only where a label is drawn
    from reportlab.pdfbase.ttfonts import TTFont  # noqa: PLC0415

    loaded = TTFont(name, f"{name}.ttf")
    pdfmetrics.registerFont(loaded)
    return loaded


def text_width(text: str, size_mm: float, *, bold: bool = False) -> float:
    return float(font(BOLD if bold else REGULAR).stringWidth(text, 1000)) / 1000 * size_mm


def printable(text: str) -> str:
    """The text in letters the font has: accents it lacks are dropped, other characters become question marks."""
    known = font(REGULAR).face.charToGlyph
    shown = []
    for character in unicodedata.normalize("NFC", text):
        plain = [part for part in unicodedata.normalize("NFKD", character) if ord(part) in known]
        shown.append(character if ord(character) in known else "".join(plain) or "?")
    return "".join(shown)
