"""What is on record comes back from an export; what is broken in a file is an error, never an exception."""

from __future__ import annotations

import csv
import io
import zipfile
from datetime import UTC, date, datetime, timedelta
from decimal import Decimal
from typing import Any

import openpyxl
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from shared.workbook.cells_in import Reader
from shared.workbook.cells_out import same, to_cell
from shared.workbook.escape import escape, unescape
from shared.workbook.exporter import template_book
from shared.workbook.locale import Locale
from shared.workbook.problems import CellProblem, WorkbookRefused
from shared.workbook.raw import EPOCH_1900
from shared.workbook.service import apply_made_plan
from shared.workbook.spec import Column, Kind
from shared.workbook.tables import SourceFile
from tests.shared.workbook.memory import LOCALE, REGISTRY, MemoryStore, exported, plan, run

TEXT = st.text(max_size=30).map(str.strip)
CODE = st.text(alphabet="abcXYZ019-_/.+", min_size=1, max_size=8)
FLOAT = st.floats(min_value=-1e9, max_value=1e9, allow_nan=False).map(lambda x: float(f"{x:.15g}"))
MONEY = st.decimals(min_value=0, max_value=99999, places=2)
DAY = st.dates(min_value=date(1800, 1, 1), max_value=date(2200, 1, 1))
MOMENT = st.datetimes(min_value=datetime(1970, 1, 1), max_value=datetime(2100, 1, 1), timezones=st.just(UTC))
PLAIN_TEXT = TEXT.filter(lambda t: not any(ord(c) < 32 or 0x7F <= ord(c) < 0xA0 for c in t))


def _codes(size: int) -> st.SearchStrategy[list[str]]:
    return st.lists(CODE, max_size=size, unique_by=lambda c: "".join(c.split()).casefold())


@st.composite
def worlds(draw: Any) -> dict[str, list[dict[str, Any]]]:
    """Random rows for every sheet, pointing at each other as they should."""
    bins = [
        {"code": code, "name": draw(TEXT), "travels": draw(st.none() | st.booleans())}
        for code in draw(_codes(4))
    ]
    parts = draw(_codes(6))
    wires = [
        {
            "code": code,
            "size_typed": draw(st.sampled_from(["12 AWG", "2.5 mm2", "1/0", "SAE 16", "#10"])),
            "grip_mm2": draw(st.none() | st.floats(min_value=0.1, max_value=100)),
            "price": draw(st.none() | MONEY),
            "bins": tuple(
                draw(st.lists(st.sampled_from([b["code"] for b in bins]), unique=True)) if bins else ()
            ),
        }
        for code in parts[:3]
    ]
    batteries = [
        {
            "code": code,
            "acquired_on": draw(st.none() | DAY),
            "state": draw(st.sampled_from(["service", "retired"])),
            "curve": tuple(draw(st.lists(st.tuples(FLOAT, FLOAT), max_size=3))),
            "cycles": draw(st.none() | st.integers(0, 2**50)),
            "extra": draw(
                st.none() | st.dictionaries(st.text(max_size=3), st.integers() | st.text(max_size=3))
            ),
            "studs": tuple(draw(st.lists(st.sampled_from(["M5", "M6", "1/4 in"]), unique=True))),
        }
        for code in parts[3:]
    ]
    moments = draw(st.lists(MOMENT, max_size=4, unique=True)) if parts else []
    readings = [
        {
            "battery": draw(st.sampled_from(parts)),
            "taken_at": moment,
            "instrument": draw(PLAIN_TEXT.filter(bool)),
            "resistance_mohm": draw(st.floats(min_value=1, max_value=500)),
            "charge_frac": draw(st.none() | st.floats(min_value=0, max_value=1)),
            "by": draw(st.sampled_from([None, "ada", "grace"])),
        }
        for moment in moments
    ]
    builds = [{"robot": "R", "label": label, "current": draw(st.booleans())} for label in draw(_codes(2))]
    circuits: list[dict[str, Any]] = []
    for build in builds:
        codes = draw(_codes(4))
        for number, code in enumerate(codes):
            # Later rows may feed earlier ones; the chain always goes one way, so there is no loop.
            above = draw(st.none() | st.sampled_from(codes[number + 1 :])) if codes[number + 1 :] else None
            length = draw(st.none() | FLOAT)
            circuits.append(
                {"robot": "R", "build": build["label"], "code": code, "fed_from": above, "length_m": length}
            )
    return {
        "Bins": bins, "Wires": wires, "Batteries": batteries, "Readings": readings,
        "Builds": builds, "Circuits": circuits,
    }  # fmt: skip


@pytest.mark.parametrize("form", ["xlsx", "csv"])
@settings(max_examples=15, deadline=None, suppress_health_check=[HealthCheck.too_slow])
@given(world=worlds())
def test_an_export_imports_to_the_same_state(form: str, world: dict[str, list[dict[str, Any]]]) -> None:
    store = MemoryStore()
    store.rows = {name: list(rows) for name, rows in world.items()}
    made = plan(exported(store, form), store)
    assert made.errors == []
    assert made.changes_nothing
    assert made.unchanged == sum(len(rows) for rows in world.values())
    empty = MemoryStore()
    run(exported(store, form), empty)
    for spec in REGISTRY.specs:
        before = sorted(store.records(spec), key=lambda r: repr(r.key))
        after = sorted(empty.records(spec), key=lambda r: repr(r.key))
        assert [r.key for r in after] == [r.key for r in before]
        for old, new in zip(before, after, strict=True):
            assert all(same(old.values[c.field], new.values[c.field], c) for c in spec.columns)


JUNK = st.one_of(
    st.none(), st.booleans(), st.integers(-(10**20), 10**20), st.floats(), TEXT, st.datetimes(), st.dates(),
    st.times(), st.timedeltas(),
    st.sampled_from(["#REF!", "=1+1", "'=x", "1e999", "12 AWG", "1/0", "nan", "{", "[[[", "::", "5 %",
                     "1:2:3"]),
)  # fmt: skip
COLUMNS = [column for spec in REGISTRY.specs for column in spec.columns]


@settings(max_examples=300, deadline=None)
@given(
    junk=JUNK, column=st.sampled_from(COLUMNS), comma=st.booleans(), unit=st.sampled_from(["", "ft", "ohm"])
)
def test_any_cell_is_a_value_or_a_remedy(junk: Any, column: Column, comma: bool, unit: str) -> None:
    reader = Reader(Locale(comma, "day first", "Europe/Paris"), EPOCH_1900)
    if junk is None:
        return
    told = "read"
    try:
        reader.read(junk, column, unit if column.unit else "")
    except CellProblem as problem:
        told = problem.remedy
    assert told


@settings(max_examples=20, deadline=None, suppress_health_check=[HealthCheck.too_slow])
@given(world=worlds(), data=st.data())
def test_a_corrupted_cell_is_an_error_that_names_it(
    world: dict[str, list[dict[str, Any]]], data: Any
) -> None:
    store = MemoryStore()
    store.rows = {name: list(rows) for name, rows in world.items()}
    book = openpyxl.load_workbook(io.BytesIO(exported(store).data))
    spots = [
        (spec, row, position)
        for spec in REGISTRY.specs
        for row in range(5, 5 + len(world[spec.name]))
        for position, column in enumerate(spec.columns)
        if column.kind not in (Kind.TEXT, Kind.REFERENCE, Kind.REFERENCES, Kind.LIST)
        and column.lookup is None
    ]
    if not spots:
        return
    spec, row, position = data.draw(st.sampled_from(spots))
    book[spec.name].cell(row, position + 1).value = "§ no such value §"
    out = io.BytesIO()
    book.save(out)
    made = plan(SourceFile("bad.xlsx", out.getvalue()), store)
    assert (spec.name, row, spec.columns[position].heading) in [
        (e.sheet, e.row, e.column) for e in made.errors
    ]


@settings(max_examples=40, deadline=None)
@given(noise=st.binary(max_size=400), cut=st.integers(0, 5000), at=st.integers(0, 5000))
def test_damaged_files_are_refused_or_read_never_a_crash(noise: bytes, cut: int, at: int) -> None:
    whole = template_book(REGISTRY, LOCALE)
    for data in (noise, whole[:cut], whole[:at] + noise[:20] + whole[at + 20 :], b"PK\x03\x04" + noise):
        for name in ("x.xlsx", "Bins.csv"):
            told = "read"
            try:
                plan(SourceFile(name, data), MemoryStore())
            except WorkbookRefused as refused:
                told = refused.sentence
            assert told


@given(text=st.text(max_size=20))
def test_escaping_is_undone_and_leaves_nothing_to_run(text: str) -> None:
    assert unescape(escape(text)) == text
    assert escape(text)[:1] not in ("=", "+", "-", "@", "\t", "\r")


@pytest.mark.parametrize("form", ["xlsx", "csv"])
@pytest.mark.parametrize(
    "attack", ["=1+2", "+1", "-1+cmd", "@SUM(A1)", "'=x", "#REF!", "\t=1", "=HYPERLINK(1)"]
)
def test_text_that_looks_like_a_formula_is_text_in_the_file(form: str, attack: str) -> None:
    store = MemoryStore()
    store.rows["Bins"] = [{"code": "A1", "name": attack, "travels": True}]
    source = exported(store, form)
    if form == "xlsx":
        cell = openpyxl.load_workbook(io.BytesIO(source.data))["Bins"]["B5"]
        assert cell.data_type == "s"
        written = str(cell.value)
    else:
        with zipfile.ZipFile(io.BytesIO(source.data)) as archive:
            written = list(csv.reader(io.StringIO(archive.read("Bins.csv").decode("utf-8-sig"))))[1][1]
    assert written[0] not in "=+-@\t\r"
    assert plan(source, store).changes_nothing


def test_times_that_a_local_clock_cannot_name_keep_their_offset() -> None:
    # Clocks in Paris went back at 2026-10-25 01:00 UTC: 02:30 happens twice.
    zone = Locale(time_zone="Europe/Paris")
    column = REGISTRY.by_name["Readings"].by_field["taken_at"]
    reader = Reader(zone, EPOCH_1900)
    start = datetime(2026, 10, 25, 0, 0, tzinfo=UTC)
    for minutes in range(0, 180, 30):
        moment = start + timedelta(minutes=minutes)
        assert reader.read(to_cell(moment, column, zone), column) == moment


@pytest.mark.parametrize("form", ["xlsx", "csv"])
def test_the_template_imports_as_nothing_and_explains_every_column(form: str) -> None:
    data = template_book(REGISTRY, LOCALE, form)
    made = plan(SourceFile(f"template.{form}", data), MemoryStore())
    assert made.errors == []
    assert (made.added, made.changed) == (0, 0)
    if form == "xlsx":
        book = openpyxl.load_workbook(io.BytesIO(data))
        sheet = book["Batteries"]
        assert [cell.value for cell in sheet[4]][:3] == ["Code", "Acquired on", "State"]
        assert all(str(cell.value).startswith("What ") for cell in sheet[2])
        assert "One of: In service, Retired." in str(sheet["C2"].value)
        rules = {str(rule.sqref): rule.formula1 for rule in sheet.data_validations.dataValidation}
        assert rules == {"C5:C5004": '"In service,Retired"'}
        rules = {str(rule.sqref): rule.formula1 for rule in book["Circuits"].data_validations.dataValidation}
        assert rules == {}
        assert [rule.formula1 for rule in book["Bins"].data_validations.dataValidation] == ['"yes,no"']
        assert book["Batteries"].column_dimensions["A"].number_format == "@"


def test_a_filled_in_template_is_read() -> None:
    book = openpyxl.load_workbook(io.BytesIO(template_book(REGISTRY, LOCALE)))
    book["Bins"]["A5"] = "A1"
    out = io.BytesIO()
    book.save(out)
    store = MemoryStore()
    run(SourceFile("filled.xlsx", out.getvalue()), store)
    assert [row["code"] for row in store.rows["Bins"]] == ["A1"]


def test_the_same_state_gives_the_same_csv_file() -> None:
    store = MemoryStore()
    store.rows["Wires"] = [
        {"code": "W", "size_typed": "12 AWG", "grip_mm2": 2.5, "price": Decimal("3.10"), "bins": ()}
    ]
    assert exported(store, "csv").data == exported(store, "csv").data
    made = plan(exported(store, "csv"), store)
    apply_made_plan(made)
    assert store.saved == []
