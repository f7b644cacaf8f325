"""Sticky sheets and rolls by their size and number of labels, and where each label lies on its page.

A sheet is described as shops describe it: so many labels of a width and a height on A4 or Letter. The gaps are those
in common use (common practice, from memory); the block of labels stands in the middle of the page. A sheet that is
cut differently by a millimetre or two is met by moving the whole print.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import TypeVar

T = TypeVar("T")

A4_MM = (210.0, 297.0)
LETTER_MM = (215.9, 279.4)
#: A print is moved by so much at most; more means that another sheet lies in the printer.
MOST_SHIFT_MM = 5.0


@dataclass(frozen=True)
class Layout:
    """``page`` is A4, Letter or Roll: on a roll every label is a page of its own."""

    key: str
    page: str
    page_w_mm: float
    page_h_mm: float
    columns: int
    rows: int
    label_w_mm: float
    label_h_mm: float
    gap_x_mm: float = 0.0
    gap_y_mm: float = 0.0

    @property
    def count(self) -> int:
        return self.columns * self.rows

    @property
    def name(self) -> str:
        size = f"{self.label_w_mm:g} × {self.label_h_mm:g} mm"
        return size if self.page == "Roll" else f"{self.count} of {size}"

    @property
    def left_mm(self) -> float:
        used = self.columns * self.label_w_mm + (self.columns - 1) * self.gap_x_mm
        return (self.page_w_mm - used) / 2

    @property
    def top_mm(self) -> float:
        used = self.rows * self.label_h_mm + (self.rows - 1) * self.gap_y_mm
        return (self.page_h_mm - used) / 2

    def corner_mm(self, place: int) -> tuple[float, float]:
        """The top left corner of a label from the top left corner of its page; places count along rows from 1.

        >>> LAYOUTS["a4-24"].corner_mm(1), LAYOUTS["a4-24"].corner_mm(5)
        ((0.0, 0.5), (70.0, 37.5))
        """
        row, column = divmod(place - 1, self.columns)
        return (
            self.left_mm + column * (self.label_w_mm + self.gap_x_mm),
            self.top_mm + row * (self.label_h_mm + self.gap_y_mm),
        )

    def pages(self, labels: Sequence[T], start: int = 1) -> Iterator[list[tuple[int, T]]]:
        """The labels of each page with their places; the first page begins at place ``start``.

        >>> [len(page) for page in LAYOUTS["a4-24"].pages("x" * 30, start=23)]
        [2, 24, 4]
        """
        page: list[tuple[int, T]] = []
        for index, label in enumerate(labels, start - 1):
            page.append((index % self.count + 1, label))
            if len(page) and page[-1][0] == self.count:
                yield page
                page = []
        if page:
            yield page


def _a4(columns: int, rows: int, w: float, h: float, gap_x: float = 0.0) -> Layout:
    return Layout(f"a4-{columns * rows}", "A4", *A4_MM, columns, rows, w, h, gap_x)


def _letter(columns: int, rows: int, w: float, h: float, gap_x: float) -> Layout:
    return Layout(f"letter-{columns * rows}", "Letter", *LETTER_MM, columns, rows, w, h, gap_x)


def _roll(w: float, h: float) -> Layout:
    return Layout(f"roll-{w:g}x{h:g}", "Roll", w, h, 1, 1, w, h)


#: By key. Sizes and counts: common practice, from memory.
LAYOUTS: dict[str, Layout] = {
    layout.key: layout
    for layout in (
        _a4(3, 8, 70.0, 37.0),
        _a4(3, 7, 63.5, 38.1, 2.5),
        _a4(4, 10, 52.5, 29.7),
        _a4(5, 13, 38.1, 21.2, 2.5),
        _a4(2, 7, 99.1, 38.1, 2.5),
        _a4(2, 4, 99.1, 67.7, 2.5),
        _letter(3, 10, 66.7, 25.4, 3.2),
        _letter(2, 10, 101.6, 25.4, 4.8),
        _letter(2, 5, 101.6, 50.8, 4.8),
        _roll(62.0, 29.0),
        _roll(57.0, 32.0),
        _roll(50.0, 25.0),
        _roll(40.0, 30.0),
        _roll(100.0, 50.0),
    )
}
