"""Writing a workbook: the same layout for an export and for an empty template, as XLSX or as a zip of CSVs.

Above the headings stand a title, an explanation of every column and an example, so they are in sight while
typing; on the way in everything above the headings is passed over.
"""

from __future__ import annotations

import csv
import io
import zipfile
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import date, datetime
from decimal import Decimal
from typing import TYPE_CHECKING, Any

from shared.errors import DomainError
from shared.workbook.cells_out import Cell
from shared.workbook.escape import escape
from shared.workbook.headers import letter
from shared.workbook.limits import MAX_CELL_CHARS
from shared.workbook.locale import SETTINGS_SHEET, Locale
from shared.workbook.spec import Column, Kind, Registry, SheetSpec

if TYPE_CHECKING:
    from openpyxl import Workbook
    from openpyxl.worksheet._write_only import WriteOnlyWorksheet

HEADING_ROW = 4
GUIDE = (
    "This workbook carries the whole state of a team. The sheets you do not need may be left out.",
    "On every sheet row 2 explains the columns and row 3 shows an example; your rows start below row 4.",
    "Write quantities as you like: 3 ft, 0.9 m, 15 mohm, 12 AWG, 2.5 mm2.",
    "A plain number is in the unit of the heading.",
    "The Settings sheet says how this file writes decimals and dates.",
    "Formulas are not run; the result stored with them is read.",
    "A column or sheet whose name starts with # is yours: it is not read.",
    "Importing shows a preview first. Rows that are not in the file stay as they are.",
    "An empty cell empties its field, unless the field has a usual value, which then stays.",
)
_FORMATS = {Kind.DATE: "yyyy-mm-dd", Kind.DATETIME: "yyyy-mm-dd hh:mm:ss"}
_TYPED_AS_TEXT = (
    Kind.TEXT,
    Kind.SIZE,
    Kind.AREA,
    Kind.LIST,
    Kind.POINTS,
    Kind.REFERENCE,
    Kind.REFERENCES,
    Kind.JSON,
)
_INLINE_CHARS = 255  # what a list of choices inside a cell rule may hold


@dataclass(frozen=True)
class OutSheet:
    """A sheet ready to be written."""

    spec: SheetSpec
    rows: Sequence[Sequence[Cell]]


def title_of(spec: SheetSpec) -> str:
    about = f"{spec.about.rstrip('.')}. " if spec.about else ""
    if spec.export_only:
        return f"{spec.name}. {about}For reading only: this sheet is not imported."
    return (
        f"{spec.name}. {about}Row 2 explains the columns, row 3 is an example; write below row {HEADING_ROW}."
    )


def explanation_of(column: Column, spec: SheetSpec) -> str:
    need = "Required" if column.required else "May be empty"
    told = [f"{column.explanation.rstrip('.')}." if column.explanation else "", f"{need}."]
    if column.kind is Kind.CHOICE:
        told.append(f"One of: {', '.join(label for _, label in column.choices)}.")
    elif column.kind is Kind.BOOL:
        told.append("yes or no.")
    elif column.reference and column.lookup is None and column.reference != spec.space:
        told.append(f"A row of {column.reference}.")
    return " ".join(part for part in told if part)


def write_csv_zip(sheets: Iterable[OutSheet], locale: Locale, *, explain: bool) -> bytes:
    """A zip with one CSV per sheet, UTF-8 with a byte order mark so that spreadsheet programs see accents."""
    out = io.BytesIO()
    with zipfile.ZipFile(out, "w", zipfile.ZIP_DEFLATED) as archive:
        settings: list[Sequence[Cell]] = [("Setting", "Value", "Meaning"), *locale.rows()]
        _write_csv(archive, SETTINGS_SHEET, settings)
        for sheet in sheets:
            _write_csv(archive, sheet.spec.name, [*_head(sheet.spec, explain=explain), *sheet.rows])
    return out.getvalue()


def _write_csv(archive: zipfile.ZipFile, name: str, rows: Iterable[Sequence[Cell]]) -> None:
    text = io.StringIO(newline="")
    writer = csv.writer(text)
    for row in rows:
        writer.writerow([_csv_cell(cell) for cell in row])
    # A fixed date: the same state gives the same file.
    entry = zipfile.ZipInfo(f"{name}.csv", (1980, 1, 1, 0, 0, 0))
    archive.writestr(entry, text.getvalue().encode("utf-8-sig"), zipfile.ZIP_DEFLATED)


def _csv_cell(cell: Cell) -> str:
    if cell is None:
        return ""
    if isinstance(cell, datetime):
        return cell.isoformat(sep=" ")
    if isinstance(cell, date):
        return cell.isoformat()
    return repr(cell) if isinstance(cell, float) else f"{cell:f}" if isinstance(cell, Decimal) else str(cell)


def _head(spec: SheetSpec, *, explain: bool) -> list[Sequence[Cell]]:
    headings = [column.heading for column in spec.columns]
    if not explain:
        return [headings]
    explanations = [explanation_of(column, spec) for column in spec.columns]
    return [[title_of(spec)], explanations, [escape(column.example) for column in spec.columns], headings]


def write_xlsx(sheets: Sequence[OutSheet], registry: Registry, locale: Locale) -> bytes:
    """An XLSX workbook with a guide, the settings, and every sheet with its rules for typing."""
    import openpyxl  # noqa: PLC0415 - a third of a second, and only imports and exports need it

    book = openpyxl.Workbook(write_only=True)
    style = _Style(book)
    _write_notes(book, "Guide", [(line,) for line in GUIDE], style)
    _write_notes(book, SETTINGS_SHEET, [("Setting", "Value", "Meaning"), *locale.rows()], style)
    lists: list[tuple[str, ...]] = []
    for sheet in sheets:
        _write_sheet(book, sheet, registry, style, lists)
    if lists:
        _write_lists(book, lists)
    out = io.BytesIO()
    book.save(out)
    return out.getvalue()


class _Style:
    """Cells of the head, and the formats of the columns."""

    def __init__(self, book: Workbook) -> None:
        from openpyxl.cell import WriteOnlyCell  # noqa: PLC0415 - see write_xlsx
        from openpyxl.styles import Alignment, Font  # noqa: PLC0415

        self._cell = WriteOnlyCell
        self._fonts = {
            "title": Font(bold=True, size=13),
            "explanation": Font(size=9, color="5A5148"),
            "example": Font(italic=True, color="8A5A2B"),
            "heading": Font(bold=True),
        }
        self._wrap = Alignment(wrap_text=True, vertical="top")

    def cell(self, sheet: WriteOnlyWorksheet, value: Any, role: str) -> Any:
        cell = self._cell(sheet, value=value)
        cell.font = self._fonts[role]
        if role == "explanation":
            cell.alignment = self._wrap
        return cell

    def data(self, sheet: WriteOnlyWorksheet, value: Any, column: Column) -> Any:
        if isinstance(value, str) and len(value) > MAX_CELL_CHARS:
            raise DomainError(
                f"A text under {column.heading} is longer than a spreadsheet cell can hold",
                field=column.field, remedy="Export as CSV, which has no such limit",
            )  # fmt: skip
        if not isinstance(value, date):
            return value
        stamp: Any = value  # the reader's types do not know that a day is written like a moment
        cell = self._cell(sheet, value=stamp)
        cell.number_format = _FORMATS[column.kind]
        return cell


def _write_notes(book: Workbook, name: str, rows: Iterable[Sequence[Cell]], style: _Style) -> None:
    sheet = book.create_sheet(name)
    sheet.column_dimensions["A"].width = 18 if name == SETTINGS_SHEET else 110
    sheet.column_dimensions["B"].width = 22
    for row in rows:
        sheet.append(list(row))


def _write_sheet(
    book: Workbook, out: OutSheet, registry: Registry, style: _Style, lists: list[tuple[str, ...]]
) -> None:
    spec = out.spec
    sheet = book.create_sheet(spec.name)
    sheet.freeze_panes = f"B{HEADING_ROW + 1}"
    for position, column in enumerate(spec.columns):
        dimension = sheet.column_dimensions[letter(position)]
        dimension.width = max(14, min(36, len(column.heading) + 4))
        if column.kind in _TYPED_AS_TEXT:
            dimension.number_format = "@"  # else a code such as 1-2 becomes a date while it is typed
        rule = _rule(column, spec, registry, lists)
        if rule is not None:
            rule.add(f"{letter(position)}{HEADING_ROW + 1}:{letter(position)}{HEADING_ROW + 5000}")
            sheet.data_validations.append(rule)
    roles = ("title", "explanation", "example", "heading")
    for role, cells in zip(roles, _head(spec, explain=True), strict=True):
        sheet.append([style.cell(sheet, cell, role) for cell in cells])
    for row in out.rows:
        sheet.append(
            [style.data(sheet, cell, column) for cell, column in zip(row, spec.columns, strict=True)]
        )


def _rule(column: Column, spec: SheetSpec, registry: Registry, lists: list[tuple[str, ...]]) -> Any:
    """A drop-down for choices, yes and no, and rows of another sheet; it offers, it does not forbid."""
    formula = _choices_formula(column, lists) or _reference_formula(column, spec, registry)
    if formula is None:
        return None
    from openpyxl.worksheet.datavalidation import DataValidation  # noqa: PLC0415 - see write_xlsx

    return DataValidation(type="list", formula1=formula, allow_blank=True, showErrorMessage=False)


def _choices_formula(column: Column, lists: list[tuple[str, ...]]) -> str | None:
    if column.kind is Kind.BOOL:
        return '"yes,no"'
    if column.kind is not Kind.CHOICE:
        return None
    labels = tuple(label for _, label in column.choices)
    text = ",".join(labels)
    if len(text) <= _INLINE_CHARS and not any("," in label or '"' in label for label in labels):
        return f'"{text}"'
    if labels not in lists:
        lists.append(labels)
    place = letter(lists.index(labels))
    return f"Lists!${place}$1:${place}${len(labels)}"


def _reference_formula(column: Column, spec: SheetSpec, registry: Registry) -> str | None:
    if column.kind is not Kind.REFERENCE or column.lookup is not None or column.reference == spec.space:
        return None
    targets = registry.spaces[column.reference]
    if len(targets) != 1 or len(targets[0].key) != 1:
        return None
    place = letter([c.field for c in targets[0].columns].index(targets[0].key[0]))
    name = targets[0].name.replace("'", "''")
    return f"'{name}'!${place}${HEADING_ROW + 1}:${place}${HEADING_ROW + 2000}"


def _write_lists(book: Workbook, lists: list[tuple[str, ...]]) -> None:
    sheet = book.create_sheet("Lists")
    sheet.sheet_state = "hidden"
    for number in range(max(len(labels) for labels in lists)):
        sheet.append([labels[number] if number < len(labels) else None for labels in lists])
