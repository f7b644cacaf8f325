"""The rows of one table as drafts: every cell read, every wrong one reported."""

from __future__ import annotations

from shared.workbook.cells_in import Reader
from shared.workbook.headers import Header, Placed
from shared.workbook.locale import Locale
from shared.workbook.problems import CellProblem, Problems
from shared.workbook.raw import RawSheet
from shared.workbook.spec import SheetSpec, Values
from shared.workbook.store import Draft

_ABSENT = object()


def read_rows(
    sheet: RawSheet, spec: SheetSpec, header: Header, locale: Locale, problems: Problems
) -> list[Draft]:
    """Drafts of all rows below the headings; rows that are blank in every known column are passed over."""
    reader = Reader(locale, sheet.epoch)
    drafts = []
    for number, cells in sheet.rows:
        if number <= header.row:
            continue
        found = [
            (p, cells[p.index]) for p in header.placed if p.index < len(cells) and cells[p.index] is not None
        ]
        if found:
            drafts.append(_read_row(sheet, spec, header, reader, number, dict_of(found), problems))
    return drafts


def dict_of(found: list[tuple[Placed, object]]) -> dict[str, object]:
    return {placed.column.field: cell for placed, cell in found}


def _read_row(
    sheet: RawSheet, spec: SheetSpec, header: Header, reader: Reader, number: int, cells: dict[str, object],
    problems: Problems,
) -> Draft:  # fmt: skip
    draft = Draft(spec, number, {})
    for placed in header.placed:
        column = placed.column
        cell = cells.get(column.field)
        try:
            value = _read_cell(placed, cell, reader)
        except CellProblem as problem:
            draft.bad = True
            problems.add(
                sheet.name, problem.message, problem.remedy, row=number, column=placed.heading, value=cell
            )
            continue
        if value is not _ABSENT:
            draft.values[column.field] = value
    if spec.complete is not None and not draft.bad:
        _complete(sheet, spec, draft, problems)
    return draft


def _read_cell(placed: Placed, cell: object, reader: Reader) -> object:
    column = placed.column
    if cell is not None:
        return reader.read(cell, column, placed.unit)
    if column.required:
        raise CellProblem("The cell is empty.", _needed(placed))
    return _ABSENT if column.keep_when_blank else column.blank


def _needed(placed: Placed) -> str:
    example = placed.column.example
    return f"Fill it in, for example {example}." if example else "Fill it in."


def _complete(sheet: RawSheet, spec: SheetSpec, draft: Draft, problems: Problems) -> None:
    values: Values = dict(draft.values)
    try:
        assert spec.complete is not None
        spec.complete(values)
    except CellProblem as problem:
        draft.bad = True
        problems.add(sheet.name, problem.message, problem.remedy, row=draft.row)
    draft.values = values
