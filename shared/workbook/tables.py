"""A file as tables of raw cells: XLSX, a zip or folder of CSVs, or one CSV. No meaning yet."""

from __future__ import annotations

import re
from collections.abc import Iterable
from dataclasses import dataclass, field
from pathlib import Path, PurePosixPath
from typing import Protocol
from zipfile import ZipFile

from shared.workbook.archive import SAVE_AS, ZIP_MAGIC, check_size, open_zip, refuse_old_formats
from shared.workbook.csv_in import read_csv
from shared.workbook.limits import MAX_FILE_BYTES, MAX_SHEETS, MAX_UNPACKED_BYTES
from shared.workbook.problems import WorkbookRefused
from shared.workbook.raw import RawSheet
from shared.workbook.xlsx_in import read_xlsx

_FORMULA = re.compile(rb"<f[\s/>]")


class Upload(Protocol):
    """What a web framework hands over: a name and something to read."""

    @property
    def name(self) -> str | None: ...

    def read(self, size: int = ..., /) -> bytes: ...


@dataclass(frozen=True)
class SourceFile:
    """A file as received. ``members`` holds the CSVs when it was a folder."""

    name: str
    data: bytes
    members: tuple[tuple[str, bytes], ...] | None = field(default=None, repr=False)

    @classmethod
    def take(cls, source: SourceFile | Path | Upload) -> SourceFile:
        """Read at most the allowed size from a path, a folder of CSVs, or an upload."""
        if isinstance(source, SourceFile):
            return source
        if isinstance(source, Path):
            return cls._from_path(source)
        data = source.read(MAX_FILE_BYTES + 1)
        check_size(data)
        return cls(PurePosixPath((source.name or "upload").replace("\\", "/")).name, data)

    @classmethod
    def _from_path(cls, path: Path) -> SourceFile:
        if path.is_dir():
            files = sorted(p for p in path.iterdir() if p.suffix.lower() == ".csv" and not p.is_symlink())
            if len(files) > MAX_SHEETS:
                raise WorkbookRefused(f"The folder holds more than {MAX_SHEETS} CSV files")
            if sum(p.stat().st_size for p in files) > MAX_UNPACKED_BYTES:
                raise WorkbookRefused(f"The folder holds more than {MAX_UNPACKED_BYTES // 2**20} MB")
            return cls(path.name, b"", tuple((p.name, p.read_bytes()) for p in files))
        if not path.exists():
            raise WorkbookRefused(f"There is no file {path}", remedy="Check the name")
        with path.open("rb") as stream:
            data = stream.read(MAX_FILE_BYTES + 1)
        check_size(data)
        return cls(path.name, data)


def read_tables(source: SourceFile, headings: dict[str, frozenset[str]]) -> list[RawSheet]:
    """The tables of a file. ``headings`` (sheet -> its headings, normalised) help to tell CSV separators."""
    if source.members is not None:
        return _csv_tables(source.members, headings)
    data = source.data
    check_size(data)
    refuse_old_formats(data)
    if data.startswith(ZIP_MAGIC):
        with open_zip(data) as archive:
            return _from_zip(data, archive, headings)
    if data.startswith(b"PK"):
        raise WorkbookRefused("The file is an empty or damaged archive", remedy="Save or download it again")
    return _csv_tables([(source.name, data)], headings)


def _from_zip(data: bytes, archive: ZipFile, headings: dict[str, frozenset[str]]) -> list[RawSheet]:
    names = set(archive.namelist())
    if "xl/workbook.xml" in names:
        parts = (archive.read(n) for n in names if n.startswith("xl/worksheets/") and n.endswith(".xml"))
        return read_xlsx(data, has_formulas=any(_FORMULA.search(part) for part in parts))
    if "xl/workbook.bin" in names or "mimetype" in names:
        raise WorkbookRefused("This spreadsheet format is not read here", remedy=SAVE_AS)
    members = []
    for name in sorted(names):
        path = PurePosixPath(name.replace("\\", "/"))
        if path.suffix.lower() == ".csv" and not path.name.startswith(".") and "__MACOSX" not in path.parts:
            members.append((path.name, archive.read(name)))
    if not members:
        raise WorkbookRefused(
            "The archive holds no workbook and no CSV files", remedy="Pack the CSV files themselves"
        )
    return _csv_tables(members, headings)


def _csv_tables(members: Iterable[tuple[str, bytes]], headings: dict[str, frozenset[str]]) -> list[RawSheet]:
    sheets = [read_csv(name, data, headings) for name, data in members]
    if len(sheets) > MAX_SHEETS:
        raise WorkbookRefused(f"The file holds more than {MAX_SHEETS} tables")
    if not sheets:
        raise WorkbookRefused(
            "There are no CSV files here", remedy="Name them after the sheets: Batteries.csv"
        )
    return sheets
