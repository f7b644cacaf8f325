"""Files as people's programs write them, and files made to do harm."""

from __future__ import annotations

import io
import struct
import zipfile
from pathlib import Path
from typing import Any

import openpyxl
import pytest
from openpyxl.utils.datetime import CALENDAR_MAC_1904

from shared.workbook import limits, tables
from shared.workbook.problems import WorkbookRefused
from shared.workbook.tables import SourceFile
from tests.shared.workbook.memory import MemoryStore, exported, plan, run, told, xlsx


@pytest.fixture
def store() -> MemoryStore:
    return MemoryStore()


def _zip(**members: bytes | str) -> bytes:
    out = io.BytesIO()
    with zipfile.ZipFile(out, "w", zipfile.ZIP_DEFLATED) as archive:
        for name, data in members.items():
            archive.writestr(name, data)
    return out.getvalue()


@pytest.mark.parametrize(
    "data",
    [
        "Code,Name\r\nA1,Élan\r\n".encode(),
        "Code,Name\r\nA1,Élan\r\n".encode("utf-8-sig"),
        "Code;Name\nA1;Élan\n".encode("cp1252"),
        "Code\tName\nA1\tÉlan\n".encode("utf-16"),
        "sep=;\nCode;Name\nA1;Élan".encode("cp1252"),
        "Our bins;\n;\nCode;Name\n\nA1;Élan;\n;;\n".encode(),
        '"Code","Name"\n"A1","Élan"\n'.encode(),
        '"Title; with; many; semicolons"\nCode,Name\nA1,Élan\n'.encode(),
    ],
    ids=["utf-8", "bom", "cp1252", "utf-16", "sep", "titles", "quoted", "semicolons in a title"],
)
def test_one_csv_however_it_was_saved(store: MemoryStore, data: bytes) -> None:
    run(SourceFile("bins.CSV", data), store)
    assert [(row["code"], row["name"]) for row in store.rows["Bins"]] == [("A1", "Élan")]


def test_a_csv_in_decimal_commas(store: MemoryStore) -> None:
    members = {
        "Settings.csv": "Setting;Value\nDecimal mark;comma\nDate order;day first\n",
        "export/Batteries.csv": "Code;Acquired on\nB1;25.11.2026\n",
        "Readings.csv": "Battery;Taken at;Instrument;Resistance (mΩ)\nB1;25.11.2026 10:00;M1;15,25\n",
        "__MACOSX/._Readings.csv": "rubbish",
        "notes.txt": "not read",
    }
    run(SourceFile("team.zip", _zip(**members)), store)
    assert store.rows["Readings"][0]["resistance_mohm"] == 15.25
    # Without the setting the same file is refused cell by cell, not misread.
    del members["Settings.csv"]
    made = plan(SourceFile("team.zip", _zip(**members)), MemoryStore())
    assert {(e.sheet, e.column) for e in made.errors} == {
        ("Batteries", "Acquired on"), ("Readings", "Taken at"), ("Readings", "Resistance (mΩ)"),
    }  # fmt: skip


def test_a_folder_of_csvs(store: MemoryStore, tmp_path: Path) -> None:
    (tmp_path / "Bins.csv").write_text("Code\nA1\n")
    (tmp_path / "secret.csv").symlink_to("/etc/hostname")
    run(SourceFile.take(tmp_path), store)
    assert [row["code"] for row in store.rows["Bins"]] == ["A1"]


def test_a_path_an_upload_and_a_missing_file(tmp_path: Path) -> None:
    path = tmp_path / "b.xlsx"
    path.write_bytes(xlsx(Bins=[["Code"], ["A1"]]).data)
    assert SourceFile.take(path).data == path.read_bytes()
    upload = io.BytesIO(b"Code\nA1\n")
    upload.name = "C:\\fakepath\\Bins.csv"
    assert SourceFile.take(upload).name == "Bins.csv"
    with pytest.raises(WorkbookRefused, match="no file"):
        SourceFile.take(tmp_path / "none.xlsx")


def test_formulas_give_their_stored_result_or_an_error(store: MemoryStore) -> None:
    source = xlsx(Bins=[["Code", "Name"], ["A1", "=1+1"], ["=A2", "x"], ["A3", "plain"]])
    made = plan(source, store)
    assert [(e.row, e.column) for e in made.errors] == [(2, "Name"), (3, "Code")]
    assert "formula whose result is not stored" in told(made)[0]
    # A spreadsheet program stores the result beside the formula.
    data = _rewrite(source.data, "xl/worksheets/sheet1.xml", b"<f>1+1</f><v />", b"<f>1+1</f><v>2</v>")
    made = plan(SourceFile("x.xlsx", data), store)
    assert [(e.row, e.column) for e in made.errors] == [(3, "Code")]


def test_a_row_of_formulas_alone_is_not_lost(store: MemoryStore) -> None:
    made = plan(xlsx(Bins=[["Code"], ["A1"], ["=A2"]]), store)
    assert [(e.row, e.column) for e in made.errors] == [(3, "Code")]


def test_spreadsheet_errors_and_merged_titles(store: MemoryStore) -> None:
    book = openpyxl.Workbook()
    sheet = book.worksheets[0]
    sheet.title = "bins "
    sheet["A1"] = "All our bins"
    sheet.merge_cells("A1:C1")
    for row in (["Code", "Name"], ["A1", "#REF!"], ["A2", "ok"]):
        sheet.append(row)
    out = io.BytesIO()
    book.save(out)
    made = plan(SourceFile("x.xlsx", out.getvalue()), store)
    assert [(e.row, e.column) for e in made.errors] == [(3, "Name")]
    assert "spreadsheet error" in told(made)[0]


def test_serial_dates_of_the_other_origin(store: MemoryStore) -> None:
    book = openpyxl.Workbook()
    book.epoch = CALENDAR_MAC_1904
    sheet = book.worksheets[0]
    sheet.title = "Batteries"
    for row in (["Code", "Acquired on"], ["B1", 44620]):  # 44620 days after 1904-01-01
        sheet.append(row)
    out = io.BytesIO()
    book.save(out)
    run(SourceFile("x.xlsx", out.getvalue()), store)
    assert str(store.rows["Batteries"][0]["acquired_on"]) == "2026-03-01"


def _rewrite(data: bytes, member: str, old: bytes, new: bytes) -> bytes:
    out = io.BytesIO()
    with (
        zipfile.ZipFile(io.BytesIO(data)) as source,
        zipfile.ZipFile(out, "w", zipfile.ZIP_DEFLATED) as target,
    ):
        for name in source.namelist():
            part = source.read(name)
            if name == member:
                assert old in part
                part = part.replace(old, new)
            target.writestr(name, part)
    return out.getvalue()


def refusal(data: bytes, name: str = "x.xlsx") -> str:
    with pytest.raises(WorkbookRefused) as refused:
        plan(SourceFile(name, data), MemoryStore())
    return refused.value.sentence


def test_other_formats_are_refused_with_a_remedy() -> None:
    ole = b"\xd0\xcf\x11\xe0\xa1\xb1\x1a\xe1"
    assert "old XLS" in refusal(ole + bytes(600))
    assert "password" in refusal(ole + "EncryptedPackage".encode("utf-16-le") + bytes(100))
    assert "save it as XLSX" in refusal(_zip(mimetype="application/vnd.oasis.opendocument.spreadsheet"))
    assert "save it as XLSX" in refusal(_zip(**{"xl/workbook.bin": b"x"}))
    assert "PDF" in refusal(b"%PDF-1.7")
    assert "no CSV" in refusal(_zip(**{"readme.txt": "hello"}))
    assert "empty" in refusal(b"")
    assert "text file" in refusal(b"Code\0\0\x01", "Bins.csv")


def test_a_zip_bomb_is_refused_by_its_declared_size() -> None:
    assert "unpacks to more" in refusal(_zip(**{"Bins.csv": bytes(limits.MAX_UNPACKED_BYTES + 1)}))


def test_a_zip_bomb_that_lies_about_its_size_is_refused() -> None:
    data = bytearray(_zip(**{"Bins.csv": bytes(20_000_000)}))
    # The directory at the end says 10 bytes; the data inflate to twenty million.
    at = data.rindex(b"PK\x01\x02") + 24
    assert struct.unpack("<I", data[at : at + 4]) == (20_000_000,)
    data[at : at + 4] = struct.pack("<I", 10)
    assert "damaged" in refusal(bytes(data))


def test_an_encrypted_zip_is_refused() -> None:
    data = bytearray(_zip(**{"Bins.csv": "Code\nA1\n"}))
    data[data.rindex(b"PK\x01\x02") + 8] |= 1
    assert "password" in refusal(bytes(data))


@pytest.mark.parametrize(
    "name", ["../Bins.csv", "/etc/Bins.csv", "a/../../Bins.csv", "..\\Bins.csv", "C:/Bins.csv"]
)
def test_names_that_lead_outside_are_refused(name: str) -> None:
    assert "outside" in refusal(_zip(**{name: "Code\nA1\n"}))


@pytest.mark.parametrize("member", ["xl/workbook.xml", "xl/worksheets/sheet1.xml", "xl/styles.xml"])
def test_xml_entities_are_refused(member: str) -> None:
    data = xlsx(Bins=[["Code"], ["A1"]]).data
    bomb = b'<!DOCTYPE x [<!ENTITY a "aaaa"><!ENTITY b "&a;&a;&a;">]>'
    with zipfile.ZipFile(io.BytesIO(data)) as source:
        first = source.read(member)[:5]
    assert "entities" in refusal(_rewrite(data, member, first, bomb + first))


def test_too_many_bytes_rows_columns_cells_sheets_parts(monkeypatch: pytest.MonkeyPatch) -> None:
    assert "larger than 10 MB" in refusal(b"x" * (limits.MAX_FILE_BYTES + 1), "Bins.csv")
    monkeypatch.setattr("shared.workbook.raw.MAX_ROWS", 50)
    assert "more than 50 rows" in refusal(xlsx(Bins=[["Code"], *([f"A{n}"] for n in range(60))]).data)
    assert "more than 50 rows" in refusal(("Code\n" + "A\n" * 60).encode(), "Bins.csv")
    assert "wider than" in refusal(xlsx(Bins=[["Code"], ["A1", *[None] * 110, "x"]]).data)
    monkeypatch.setattr("shared.workbook.xlsx_in.MAX_SHEETS", 1)
    assert "more than 1 sheets" in refusal(xlsx(Bins=[["Code"]], Wires=[["Code"]]).data)
    monkeypatch.setattr("shared.workbook.archive.MAX_ENTRIES", 3)
    assert "more than 3 parts" in refusal(xlsx(Bins=[["Code"]]).data)


def test_formatting_far_beyond_the_data_costs_little_or_is_refused(store: MemoryStore) -> None:
    book = openpyxl.Workbook()
    sheet = book.worksheets[0]
    sheet.title = "Bins"
    sheet.append(["Code"])
    sheet.append(["A1"])
    sheet.cell(1_048_576, 1).number_format = "@"  # the last row is formatted, and empty
    out = io.BytesIO()
    book.save(out)
    run(SourceFile("x.xlsx", out.getvalue()), store)
    assert len(store.rows["Bins"]) == 1
    wide = xlsx(Bins=[["Code"], ["A1"]]).data
    blank = b"".join(b'<row r="%d"><c r="XFD%d"/></row>' % (n, n) for n in range(9, 409))
    data = _rewrite(wide, "xl/worksheets/sheet1.xml", b"</sheetData>", blank + b"</sheetData>")
    assert "formatted far beyond" in refusal(data)


def test_macros_are_carried_by_no_one(store: MemoryStore) -> None:
    data = xlsx(Bins=[["Code"], ["A1"]]).data
    out = io.BytesIO(data)
    with zipfile.ZipFile(out, "a") as archive:
        archive.writestr("xl/vbaProject.bin", b"\xcc\x61 anything")
    run(SourceFile("x.xlsm", out.getvalue()), store)
    with zipfile.ZipFile(io.BytesIO(exported(store).data)) as archive:
        assert not [name for name in archive.namelist() if "vba" in name]


def test_long_lists_of_errors_are_cut_but_counted(
    store: MemoryStore, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("shared.workbook.problems.MAX_ERRORS", 10)
    rows: list[list[Any]] = [[f"A{n}", "x", "maybe"] for n in range(40)]
    made = plan(xlsx(Bins=[["Code", "Name", "Travels"], *rows]), store)
    assert (len(made.errors), made.error_count, made.ok) == (10, 40, False)


def test_reading_never_writes_to_disk(store: MemoryStore, monkeypatch: pytest.MonkeyPatch) -> None:
    def forbidden(*args: Any, **kwargs: Any) -> None:
        raise AssertionError("a member was unpacked to disk")

    monkeypatch.setattr(zipfile.ZipFile, "extract", forbidden)
    monkeypatch.setattr(zipfile.ZipFile, "extractall", forbidden)
    run(SourceFile("team.zip", _zip(**{"Bins.csv": "Code\nA1\n"})), store)
    assert tables.SourceFile is SourceFile
