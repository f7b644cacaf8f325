"""Finding the row of headings, and which column is which."""

from __future__ import annotations

import re
from dataclasses import dataclass
from difflib import get_close_matches

from shared.units import UnitError, parse_quantity
from shared.workbook.limits import HEADER_SEARCH_ROWS
from shared.workbook.problems import Problems
from shared.workbook.raw import RawSheet, normalise
from shared.workbook.spec import Column, Kind, SheetSpec

_WITH_UNIT = re.compile(r"(?P<base>.+?)\s*[\[(]\s*(?P<unit>[^\])]+?)\s*[\])]\s*\Z", re.DOTALL)
OWN_NOTE = "#"  # a heading or sheet that starts with it belongs to the team and is not read


@dataclass(frozen=True)
class Placed:
    """A column found in a file: where, under which heading, and the unit the heading gives."""

    index: int
    column: Column
    heading: str
    unit: str = ""


@dataclass(frozen=True)
class Header:
    """The headings of a table and the number of their row."""

    row: int
    placed: tuple[Placed, ...]


def names_of(column: Column) -> set[str]:
    """Every spelling under which a column is found, normalised."""
    names = {column.heading, column.field, *column.aliases}
    match = _WITH_UNIT.match(column.heading)
    if match:
        names.add(match["base"])
    return {normalise(name) for name in names}


def headings_of(spec: SheetSpec) -> frozenset[str]:
    """Every heading of a sheet, normalised."""
    return frozenset().union(*(names_of(column) for column in spec.columns))


def find_header(sheet: RawSheet, spec: SheetSpec, problems: Problems) -> Header | None:
    """The headings of a sheet, or None with the reason among the problems."""
    index = {name: column for column in spec.columns for name in names_of(column)}
    best: tuple[int, int, list[object]] | None = None
    for number, cells in sheet.rows[:HEADER_SEARCH_ROWS]:
        hits = sum(_match(cell, index)[0] is not None for cell in cells if isinstance(cell, str))
        if hits and (best is None or hits > best[0]):
            best = (hits, number, cells)
    if best is None:
        if sheet.rows:
            problems.add(
                sheet.name, "The row with the headings was not found.",
                f"Write the headings above the data: {', '.join(c.heading for c in spec.columns)}.",
            )  # fmt: skip
        return None
    return _place(sheet, spec, best[1], best[2], index, problems)


def _match(cell: object, index: dict[str, Column]) -> tuple[Column | None, str]:
    """The column of a heading, and the unit in its brackets."""
    if not isinstance(cell, str):
        return None, ""
    with_unit = _WITH_UNIT.match(cell)
    if with_unit and (column := index.get(normalise(with_unit["base"]))) is not None:
        return column, with_unit["unit"]
    return index.get(normalise(cell)), ""


def _place(
    sheet: RawSheet,
    spec: SheetSpec,
    row: int,
    cells: list[object],
    index: dict[str, Column],
    problems: Problems,
) -> Header:
    placed: dict[str, Placed] = {}
    for position, cell in enumerate(cells):
        if cell is None:
            _check_headless(sheet, row, position, problems)
            continue
        heading = str(cell)
        if heading.startswith(OWN_NOTE):
            continue
        column, unit = _match(heading, index)
        if column is None:
            problems.add(sheet.name, f"“{heading}” is not a column of this sheet.", _nearest(heading, spec),
                         row=row, column=heading, value=heading)  # fmt: skip
        elif column.field in placed:
            problems.add(sheet.name, "This column occurs twice.", "Keep one of the two.",
                         row=row, column=heading, value=heading)  # fmt: skip
        else:
            unit = _usable_unit(sheet, row, heading, column, unit, problems)
            placed[column.field] = Placed(position, column, heading, unit)
    for column in spec.columns:
        if (column.required or column.field in spec.key) and column.field not in placed:
            problems.add(sheet.name, f"The column “{column.heading}” is missing.", "Every row needs it.",
                         row=row, column=column.heading)  # fmt: skip
    return Header(row, tuple(placed.values()))


def _usable_unit(
    sheet: RawSheet, row: int, heading: str, column: Column, unit: str, problems: Problems
) -> str:
    """The unit of a heading if plain numbers below it must be read in it; '' for the column's own."""
    if not unit or not column.unit or column.kind not in (Kind.QUANTITY, Kind.DECIMAL):
        return ""
    try:
        parse_quantity(f"1 {unit}", column.unit)
    except UnitError as error:
        own = _WITH_UNIT.match(column.heading)
        if not own or normalise(own["unit"]) != normalise(unit):
            problems.add(sheet.name, f"“{unit}” in the heading is not the unit of {error.expected}.",
                         f"Write “{column.heading}”.", row=row, column=heading, value=heading)  # fmt: skip
        return ""
    return unit


def _check_headless(sheet: RawSheet, row: int, position: int, problems: Problems) -> None:
    for number, cells in sheet.rows:
        if number > row and position < len(cells) and cells[position] is not None:
            problems.add(
                sheet.name, f"Column {letter(position)} holds values but has no heading.",
                "Give it a heading of the template, or empty it.", row=number, column=letter(position),
                value=cells[position],
            )  # fmt: skip
            return


def _nearest(heading: str, spec: SheetSpec) -> str:
    by_name = {normalise(c.heading): c.heading for c in spec.columns}
    close = get_close_matches(normalise(heading), by_name, n=1, cutoff=0.6)
    if close:
        return f"Did you mean “{by_name[close[0]]}”? A heading that starts with # is left alone."
    return f"The columns are {', '.join(by_name.values())}. A heading that starts with # is left alone."


def letter(position: int) -> str:
    """The letters a spreadsheet program shows over a column.

    >>> letter(0), letter(27)
    ('A', 'AB')
    """
    name = ""
    position += 1
    while position:
        position, rest = divmod(position - 1, 26)
        name = chr(65 + rest) + name
    return name
