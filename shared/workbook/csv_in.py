"""CSV as programs write it: with a byte order mark or without, UTF-8, UTF-16 or cp1252, any separator."""

from __future__ import annotations

import codecs
import csv
import io
from pathlib import PurePosixPath

from shared.workbook.limits import HEADER_SEARCH_ROWS
from shared.workbook.problems import WorkbookRefused
from shared.workbook.raw import RawSheet, normalise, tidy

DELIMITERS = (",", ";", "\t")


def read_csv(name: str, data: bytes, headings: dict[str, frozenset[str]]) -> RawSheet:
    """One CSV as a table named after the file."""
    stem = PurePosixPath(name).stem.strip()
    text = _decode(name, data)
    first, _, rest = text.partition("\n")
    hint = first.strip().strip('"')
    if len(hint) == 5 and hint.lower().startswith("sep="):
        delimiter, body, skipped = hint[4], rest, 1
    else:
        known = headings.get(normalise(stem)) or frozenset().union(*headings.values())
        delimiter, body, skipped = _delimiter(text, known), text, 0
    sheet = RawSheet(stem)
    try:
        for number, cells in enumerate(
            csv.reader(io.StringIO(body, newline=""), delimiter=delimiter), 1 + skipped
        ):
            sheet.add(number, [tidy(cell) for cell in cells])
    except csv.Error as exc:
        raise WorkbookRefused(
            f"{name} is not a CSV file ({exc})", remedy="Save the sheet as CSV (UTF-8) again"
        ) from exc
    return sheet


def _decode(name: str, data: bytes) -> str:
    if data.startswith((codecs.BOM_UTF16_LE, codecs.BOM_UTF16_BE)):
        encodings: tuple[str, ...] = ("utf-16",)
    else:
        encodings = ("utf-8-sig", "cp1252")
    if b"\0" in data and encodings[0] != "utf-16":
        raise WorkbookRefused(f"{name} is not a text file", remedy="Choose an XLSX or CSV file")
    for encoding in encodings:
        try:
            return data.decode(encoding)
        except UnicodeDecodeError:
            continue
    raise WorkbookRefused(f"The characters of {name} cannot be read", remedy="Save the sheet as CSV (UTF-8)")


def _delimiter(text: str, known: frozenset[str]) -> str:
    """The separator under which most headings are recognised, else the one that gives most columns."""
    lines = "\n".join(text.splitlines()[: 4 * HEADER_SEARCH_ROWS])

    def score(delimiter: str) -> tuple[int, int]:
        best, widest = 0, 0
        try:
            for number, cells in enumerate(csv.reader(io.StringIO(lines, newline=""), delimiter=delimiter)):
                if number >= HEADER_SEARCH_ROWS:
                    break
                best = max(best, sum(normalise(cell) in known for cell in cells))
                widest = max(widest, len(cells))
        except csv.Error:
            return 0, 0
        return best, widest

    return max(DELIMITERS, key=score)
