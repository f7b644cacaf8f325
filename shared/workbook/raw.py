"""Raw tables: what stands in a file before anybody asks what it means."""

from __future__ import annotations

import re
from dataclasses import dataclass, field
from datetime import datetime
from enum import Enum

from shared.workbook.limits import MAX_CELLS, MAX_COLUMNS, MAX_ROWS
from shared.workbook.problems import WorkbookRefused


class Special(Enum):
    """Cells that hold no value though they are not empty."""

    NO_RESULT = "a formula without a stored result"
    BROKEN = "a spreadsheet error"


ERROR_CODES = frozenset({"#N/A", "#REF!", "#VALUE!", "#DIV/0!", "#NAME?", "#NUM!", "#NULL!"})
# Day 0 of the serial numbers most programs write; the other common origin is 1904-01-01.
EPOCH_1900 = datetime(1899, 12, 30)


@dataclass
class RawSheet:
    """A table: its rows that are not blank, each with its number as the spreadsheet program shows it."""

    name: str
    rows: list[tuple[int, list[object]]] = field(default_factory=list)
    epoch: datetime = EPOCH_1900
    cells: int = 0

    def add(self, number: int, cells: list[object]) -> None:
        """Take a row, without blanks at its end; refuse the file when the table grows past the limits."""
        self.cells += len(cells)
        if self.cells > MAX_CELLS:
            raise WorkbookRefused(
                f"Sheet {self.name} is formatted far beyond its data",
                remedy="Delete the empty columns to the right and the empty rows below",
            )
        while cells and (cells[-1] is None or cells[-1] == ""):
            cells.pop()
        if not cells:
            return
        if len(cells) > MAX_COLUMNS:
            raise WorkbookRefused(
                f"Sheet {self.name}, row {number} is wider than {MAX_COLUMNS} columns",
                remedy="Remove what is not one of the columns of the template",
            )
        if len(self.rows) >= MAX_ROWS:
            raise WorkbookRefused(
                f"Sheet {self.name} has more than {MAX_ROWS} rows", remedy="Split it into several workbooks"
            )
        self.rows.append((number, cells))


def normalise(text: str) -> str:
    """A heading without case, blanks and marks: “Rest voltage (V)” and “rest_voltage_v” are the same."""
    return re.sub(r"[\W_]+", "", text.casefold().replace("²", "2"))


def tidy(cell: object) -> object:
    """A cell with outer blanks removed and line ends made one; empty text is no value."""
    if isinstance(cell, str):
        text = cell.replace("\r\n", "\n").replace("\r", "\n").strip()
        return None if text == "" else Special.BROKEN if text in ERROR_CODES else text
    return cell
