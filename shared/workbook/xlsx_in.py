"""XLSX as tables: values only, never formulas; dates as the program stored them."""

from __future__ import annotations

import io
import warnings
from collections.abc import Iterator
from typing import TYPE_CHECKING, Any

from shared.workbook.archive import SAVE_AS
from shared.workbook.limits import LAST_ROW, MAX_SHEETS
from shared.workbook.problems import WorkbookRefused
from shared.workbook.raw import RawSheet, Special, tidy

if TYPE_CHECKING:
    from openpyxl import Workbook


def read_xlsx(data: bytes, *, has_formulas: bool) -> list[RawSheet]:
    """Every worksheet as a table. The archive has been checked (``open_zip``) before this sees it."""
    try:
        with warnings.catch_warnings():
            # Unknown extensions and impossible dates: the first do not matter, the second become cell errors.
            warnings.simplefilter("ignore")
            sheets = _tables(_load(data, data_only=True))
            if has_formulas:
                _mark_missing_results(sheets, _load(data, data_only=False))
    except WorkbookRefused:
        raise
    except Exception as exc:  # the reader lets any error of its many parsers through on a damaged file
        raise WorkbookRefused("The workbook cannot be read", remedy=SAVE_AS) from exc
    return sheets


def _load(data: bytes, *, data_only: bool) -> Workbook:
    import openpyxl  # noqa: PLC0415 - a third of a second, and only imports and exports need it

    book = openpyxl.load_workbook(io.BytesIO(data), read_only=True, data_only=data_only, keep_links=False)
    if len(book.sheetnames) > MAX_SHEETS:
        raise WorkbookRefused(f"The workbook has more than {MAX_SHEETS} sheets")
    return book


def _tables(book: Workbook) -> list[RawSheet]:
    tables = []
    for sheet in book.worksheets:
        table = RawSheet(sheet.title.strip(), epoch=book.epoch)
        for number, cells in _rows(sheet):
            table.add(number, [tidy(cell) for cell in cells])
        tables.append(table)
    return tables


def _rows(sheet: Any) -> Iterator[tuple[int, list[object]]]:
    # The size a sheet declares may be wrong or hostile; the row limit only bounds gaps between row numbers.
    sheet.reset_dimensions()
    for number, cells in enumerate(sheet.iter_rows(max_row=LAST_ROW, values_only=True), 1):
        if cells:
            yield number, list(cells)


def _mark_missing_results(sheets: list[RawSheet], formulas: Workbook) -> None:
    """A formula whose result was never stored reads as empty; make it an error instead of a blank."""
    for table, sheet in zip(sheets, formulas.worksheets, strict=True):
        values = dict(table.rows)
        for number, cells in _rows(sheet):
            for index, cell in enumerate(cells):
                is_formula = (isinstance(cell, str) and cell.startswith("=")) or hasattr(cell, "ref")
                row = values.get(number)
                if not is_formula or (row is not None and index < len(row) and row[index] is not None):
                    continue
                if row is None:
                    row = values[number] = []
                row.extend([None] * (index + 1 - len(row)))
                row[index] = Special.NO_RESULT
        table.rows = sorted(values.items())
