"""A file against rows on record: what is added, changed and left, and every error in its place."""

from __future__ import annotations

import json
from dataclasses import replace
from datetime import UTC, date, datetime
from decimal import Decimal

import pytest

from shared.errors import Conflict
from shared.workbook.problems import WorkbookRefused
from shared.workbook.service import apply_made_plan
from shared.workbook.spec import Registry
from shared.workbook.store import UniqueRule
from tests.shared.workbook.memory import BATTERIES, BINS, CIRCUITS, MemoryStore, plan, run, told, xlsx

BATTERY_HEAD = ["Code", "Acquired on", "State", "Rest curve", "Cycles", "Extra", "Studs"]
READING_HEAD = ["Battery", "Taken at", "Instrument", "Resistance (mΩ)", "State of charge", "By"]
CIRCUIT_HEAD = ["Robot", "Build", "Code", "Fed from", "Length (m)"]


@pytest.fixture
def store() -> MemoryStore:
    return MemoryStore()


def test_every_kind_of_cell_is_read(store: MemoryStore) -> None:
    source = xlsx(
        Bins=[["Code", "Name", "Travels"], ["A1", "Shelf", "yes"], ["A2", None, None]],
        Wires=[
            ["Code", "Size", "Grips up to", "Price", "Bins"],
            ["W12", "12 AWG", "10 AWG", "3.20", "A2; A1"],
            ["W25", "2.5 mm2", 4, 19.99, None],
        ],
        Batteries=[
            BATTERY_HEAD,
            ["B1", date(2026, 3, 1), "in SERVICE", "1.0:12.85; 0.5:12.3", 12, '{"a": [1]}', "M8; M6"],
            ["B2", 46082, "retired", None, "3", None, None],
        ],
        Readings=[
            READING_HEAD,
            ["B1", datetime(2026, 3, 2, 14, 30), "M1", "0.015 ohm", 0.9, "ada"],
            ["b1", "2026-03-03T10:00+02:00", "M1", 15.5, "95 %", None],
        ],
    )
    run(source, store)
    assert store.rows["Bins"] == [
        {"code": "A1", "name": "Shelf", "travels": True},
        {"code": "A2", "name": "", "travels": None},
    ]
    wire = store.rows["Wires"][0]
    assert wire["size_typed"] == "12 AWG"
    assert wire["price"] == Decimal("3.20")
    assert wire["bins"] == ("A2", "A1")
    # ASTM B258: 10 AWG is 5.261 mm2.
    assert wire["grip_mm2"] == pytest.approx(5.261, abs=5e-4)
    assert store.rows["Wires"][1]["price"] == Decimal("19.99")
    first, second = store.rows["Batteries"]
    assert first["acquired_on"] == date(2026, 3, 1)
    assert first["state"] == "service"
    assert first["curve"] == ((1.0, 12.85), (0.5, 12.3))
    assert first["cycles"] == 12
    assert first["extra"] == {"a": [1]}
    assert first["studs"] == ("M8", "M6")
    # 46082 days after 1899-12-30 is the first of March 2026.
    assert second["acquired_on"] == date(2026, 3, 1)
    one, two = store.rows["Readings"]
    assert one["taken_at"] == datetime(2026, 3, 2, 14, 30, tzinfo=UTC)
    assert one["resistance_mohm"] == 15.0
    assert one["by"] == "ada"
    assert two["battery"] == "B1"  # written as the battery writes itself
    assert two["taken_at"] == datetime(2026, 3, 3, 8, 0, tzinfo=UTC)
    assert two["charge_frac"] == 0.95


def test_importing_the_same_file_again_changes_nothing(store: MemoryStore) -> None:
    source = xlsx(
        Bins=[["Code", "Name", "Travels"], ["A1", "Shelf", True]],
        Circuits=[CIRCUIT_HEAD, ["R", "B", "2", "1", "3 ft"], ["R", "B", "1", None, 1.5]],
        Builds=[["Robot", "Build", "Current"], ["R", "B", "x"]],
    )
    run(source, store)
    before = {name: [dict(row) for row in rows] for name, rows in store.rows.items()}
    again = run(source, store)
    assert again.changes_nothing
    assert again.unchanged == 4
    assert store.rows == before


def test_the_preview_names_each_value_that_would_change(store: MemoryStore) -> None:
    run(xlsx(Bins=[["Code", "Name", "Travels"], ["A1", "Shelf", "no"], ["A2", "Crate", "yes"]]), store)
    made = plan(xlsx(Bins=[["code", "NAME"], ["A1", "Top shelf"], ["A3", "Box"]]), store)
    sheet = made.sheets[0]
    assert [(row.name, row.row) for row in sheet.added] == [("A3", 3)]
    change = sheet.changed[0].changes[0]
    assert (sheet.changed[0].name, change.heading, change.old, change.new) == (
        "A1",
        "Name",
        "Shelf",
        "Top shelf",
    )
    assert sheet.not_in_file == 1
    assert store.rows["Bins"][0]["name"] == "Shelf"
    apply_made_plan(made)
    assert store.rows["Bins"][0] == {"code": "A1", "name": "Top shelf", "travels": False}


def test_all_errors_are_told_at_once_with_their_place(store: MemoryStore) -> None:
    source = xlsx(
        Bins=[["Code", "Name", "Travels"], ["A1", "x", "maybe"], ["A1", "y", None], [None, "z", None]],
        Batteries=[BATTERY_HEAD, ["B1", "25/11/2026", "broken", "1.0;12", 1.5, "{", None]],
        Readings=[READING_HEAD, ["B9", "soon", "M1", "15 A", "200"], ["B1", "2026-01-01", "M1", 900]],
    )  # fmt: skip
    made = plan(source, store)
    assert {(e.sheet, e.row, e.column) for e in made.errors} == {
        ("Bins", 2, "Travels"),
        ("Bins", 3, "Code"),
        ("Bins", 4, "Code"),
        ("Batteries", 2, "Acquired on"),
        ("Batteries", 2, "State"),
        ("Batteries", 2, "Rest curve"),
        ("Batteries", 2, "Cycles"),
        ("Batteries", 2, "Extra"),
        ("Readings", 2, "Battery"),
        ("Readings", 2, "Taken at"),
        ("Readings", 2, "Resistance (mΩ)"),
        ("Readings", 3, "Resistance (mΩ)"),
    }
    assert all(error.remedy and error.message for error in made.errors)
    assert "Did you mean “B1”?" in next(s for s in told(made) if "B9" in s)
    assert "Date order" in next(s for s in told(made) if "25/11/2026" in s)
    with pytest.raises(WorkbookRefused, match="Nothing was changed"):
        apply_made_plan(made)
    assert store.rows == {}


def test_people_are_looked_up(store: MemoryStore) -> None:
    rows = [["B1", "2026-01-01", "M1", 15, None, "nobody"]]
    made = plan(xlsx(Batteries=[["Code"], ["B1"]], Readings=[READING_HEAD, *rows]), store)
    assert [(e.row, e.column) for e in made.errors] == [(2, "By")]
    assert "ada, grace" in made.errors[0].remedy


def test_unknown_sheets_and_columns_are_errors_with_the_nearest_name(store: MemoryStore) -> None:
    made = plan(xlsx(Batterys=[["Code"], ["B1"]], Bins=[["Code", "Nmae"], ["A1", "x"]], Sheet2=[]), store)
    assert len(made.errors) == 2
    assert "Did you mean “Batteries”?" in told(made)[0]
    assert "Did you mean “Name”?" in told(made)[1]


def test_own_notes_are_left_alone(store: MemoryStore) -> None:
    own: dict[str, list[list[object]]] = {"#todo": [["x"], [1]]}
    source = xlsx(Bins=[["Code", "# ours"], ["A1", "anything"]], **own)
    run(source, store)
    assert store.rows["Bins"][0]["code"] == "A1"


@pytest.mark.parametrize(
    ("head", "column"),
    [(["Name"], "Code"), (["Code", "Code"], "Code"), (["Code", None, "Name"], "B")],
    ids=["missing", "twice", "no heading"],
)
def test_headings_must_be_complete_and_single(
    store: MemoryStore, head: list[str | None], column: str
) -> None:
    made = plan(xlsx(Bins=[head, ["A1", "x", "y"][: len(head)]]), store)
    assert [error.column for error in made.errors] == [column]


def test_titles_above_and_blank_rows_between_are_passed_over(store: MemoryStore) -> None:
    source = xlsx(
        Bins=[["Our bins"], [], [None, "x"], ["Code ", " name"], [], ["A1 ", "  x "], [" ", None], [None]]
    )
    run(source, store)
    assert [(row["code"], row["name"]) for row in store.rows["Bins"]] == [("A1", "x")]


def test_a_sheet_without_headings_is_an_error(store: MemoryStore) -> None:
    made = plan(xlsx(Bins=[["A1", "x"], ["A2", "y"]]), store)
    assert "headings" in told(made)[0]


def test_the_unit_of_a_heading_counts_for_plain_numbers(store: MemoryStore) -> None:
    head = ["Robot", "Build", "Code", "Length [ft]"]
    builds = [["Robot", "Build"], ["R", "B"]]
    run(xlsx(Builds=builds, Circuits=[head, ["R", "B", "1", 10], ["R", "B", "2", "2 m"]]), store)
    assert [row["length_m"] for row in store.rows["Circuits"]] == [3.048, 2.0]
    head[3] = "Length (kg)"
    made = plan(xlsx(Builds=builds, Circuits=[head, ["R", "B", "3", 10]]), store)
    assert [(e.row, e.column) for e in made.errors] == [(1, "Length (kg)")]


def test_settings_decide_decimal_marks_dates_and_time_zone(store: MemoryStore) -> None:
    source = xlsx(
        Settings=[["Setting", "Value"], ["Decimal mark", "Comma"], ["Date order", "day first"],
                  ["Time zone", "America/New_York"]],
        Batteries=[["Code", "Acquired on", "Rest curve"], ["B1", "25/11/2026", "1,0:12,85; 0,5:12,3"]],
        Readings=[READING_HEAD, ["B1", "25.11.2026 09:30", "M1", "15,5", "95,5 %", None]],
    )  # fmt: skip
    run(source, store)
    assert store.rows["Batteries"][0]["acquired_on"] == date(2026, 11, 25)
    assert store.rows["Batteries"][0]["curve"] == ((1.0, 12.85), (0.5, 12.3))
    reading = store.rows["Readings"][0]
    assert reading["resistance_mohm"] == 15.5
    assert reading["charge_frac"] == 0.955
    assert reading["taken_at"] == datetime(2026, 11, 25, 14, 30, tzinfo=UTC)


def test_wrong_settings_are_errors(store: MemoryStore) -> None:
    source = xlsx(
        Settings=[["Decimal mark", "dot"], ["Time zone", "Moon/Base"], ["Colour", "red"]], Bins=[["Code"]]
    )
    assert [error.row for error in plan(source, store).errors] == [1, 2, 3]


@pytest.mark.parametrize("text", ["25 Nov 2026", "25. November 2026", "2026-11-25", "2026-11-25 00:00"])
def test_dates_in_words_and_iso(store: MemoryStore, text: str) -> None:
    run(xlsx(Batteries=[["Code", "Acquired on"], ["B1", text]]), store)
    assert store.rows["Batteries"][0]["acquired_on"] == date(2026, 11, 25)


@pytest.mark.parametrize("cell", ["31.02.2026", "2026-13-01", 3, "yesterday", True, 1e12, "2026-11-25 10:00"])
def test_what_is_no_day_is_an_error(store: MemoryStore, cell: object) -> None:
    made = plan(xlsx(Batteries=[["Code", "Acquired on"], ["B1", cell]]), store)
    assert [(e.row, e.column) for e in made.errors] == [(2, "Acquired on")]


def test_rows_may_point_at_rows_further_down_and_are_saved_in_order(store: MemoryStore) -> None:
    builds = [["Robot", "Build"], ["R", "B"], ["R", "C"]]
    rows: list[list[str | None]] = [
        ["R", "B", "3", "2"],
        ["R", "B", "2", "1"],
        ["R", "B", "1", None],
        ["R", "C", "9", None],
    ]
    run(xlsx(Builds=builds, Circuits=[CIRCUIT_HEAD[:4], *rows]), store)
    codes = [key[-1] for name, key in store.saved if name == "Circuits"]  # type: ignore[index]
    assert codes.index("1") < codes.index("2") < codes.index("3")
    made = plan(xlsx(Builds=builds, Circuits=[CIRCUIT_HEAD[:4], ["R", "B", "5", "9"]]), store)
    assert [(e.row, e.column) for e in made.errors] == [(2, "Fed from")]  # 9 is in the other build


def test_a_loop_is_an_error_even_through_rows_on_record(store: MemoryStore) -> None:
    builds = [["Robot", "Build"], ["R", "B"]]
    run(xlsx(Builds=builds, Circuits=[CIRCUIT_HEAD[:4], ["R", "B", "1", None], ["R", "B", "2", "1"]]), store)
    made = plan(xlsx(Circuits=[CIRCUIT_HEAD[:4], ["R", "B", "1", "2"], ["R", "B", "3", "3"]]), store)
    assert [(e.row, e.column) for e in made.errors] == [(2, "Fed from"), (3, "Fed from")]


def test_keys_are_one_across_sheets_that_share_a_namespace(store: MemoryStore) -> None:
    wires = [["Code", "Size"], ["X1", "12 AWG"]]
    made = plan(xlsx(Wires=wires, Batteries=[["Code"], ["X1"]]), store)
    assert [(e.sheet, e.row) for e in made.errors] == [("Batteries", 2)]
    run(xlsx(Wires=wires), store)
    made = plan(xlsx(Batteries=[["Code"], ["X1"], ["x1"]]), store)
    assert ["sheet Wires" in s for s in told(made)] == [True, False]
    assert "capitals" in told(made)[1]


def test_one_at_a_time_rules_hold_over_file_and_record(store: MemoryStore) -> None:
    rule = UniqueRule(
        ("robot",), "A robot has one current build.", lambda values: values.get("current") is True
    )
    store.rules["Builds"] = [rule]
    head = ["Robot", "Build", "Current"]
    run(xlsx(Builds=[head, ["R", "A", "yes"], ["R", "0", "no"]]), store)
    made = plan(xlsx(Builds=[head, ["R", "B", "yes"]]), store)
    assert [(e.row, e.column) for e in made.errors] == [(2, "Robot")]
    run(xlsx(Builds=[head, ["R", "B", "yes"], ["R", "A", "no"]]), store)
    assert store.saved[-2:] == [("Builds", ("R", "A")), ("Builds", ("R", "B"))]  # out before in


def test_a_preview_grown_old_is_not_applied(store: MemoryStore) -> None:
    made = plan(xlsx(Bins=[["Code", "Name"], ["A1", "x"]]), store)
    store.rows["Bins"] = [{"code": "A1", "name": "someone else was faster", "travels": None}]
    with pytest.raises(Conflict):
        apply_made_plan(made)
    assert store.rows["Bins"][0]["name"] == "someone else was faster"


def test_a_failure_while_saving_undoes_everything(
    store: MemoryStore, monkeypatch: pytest.MonkeyPatch
) -> None:
    source = xlsx(Bins=[["Code"], ["A1"]], Batteries=[["Code"], ["B1"]])
    made = plan(source, store)
    real = store.save

    def save(spec, drafts):
        if spec.name == "Batteries":
            raise OSError("disk full")
        real(spec, drafts)

    monkeypatch.setattr(store, "save", save)
    with pytest.raises(OSError, match="disk full"):
        apply_made_plan(made)
    assert store.rows == {}


def test_keys_that_repeat_are_matched_in_order(store: MemoryStore) -> None:
    spec = replace(BINS, repeats=True)
    registry = Registry([spec])
    source = xlsx(Bins=[["Code", "Name"], ["A1", "first"], ["A1", "second"]])
    run(source, store, registry)
    assert [row["name"] for row in store.rows["Bins"]] == ["first", "second"]
    assert plan(source, store, registry).changes_nothing
    longer = xlsx(Bins=[["Code", "Name"], ["A1", "first"], ["A1", "2nd"], ["A1", "third"]])
    made = run(longer, store, registry)
    assert (made.added, made.changed, made.sheets[0].changed[0].name) == (1, 1, "A1")


def test_recorded_figures_stay_and_export_only_sheets_are_not_read(store: MemoryStore) -> None:
    registry = Registry([replace(BINS, append_only=True), replace(BATTERIES, export_only=True)])
    run(xlsx(Bins=[["Code", "Name"], ["A1", "first"]]), store, registry)
    made = plan(xlsx(Bins=[["Code", "Name"], ["A1", "other"], ["A2", "new"]]), store, registry)
    assert [(e.row, e.column) for e in made.errors] == [(2, "Name")]
    made = plan(xlsx(Bins=[["Code"]], Batteries=[["Code"], ["B1"]]), store, registry)
    assert made.ok
    assert made.changes_nothing
    assert "Batteries" in made.notes[0]


def test_a_preview_as_plain_data(store: MemoryStore) -> None:
    made = plan(xlsx(Bins=[["Code", "Name", "Travels"], ["A1", "x", "yes"], ["A2", "y", "maybe"]]), store)
    data = json.loads(json.dumps(made.as_dict()))
    assert (data["ok"], data["added"], data["errors"]) == (False, 1, 1)
    assert data["error_list"][0]["sentence"].startswith(
        "Bins, row 3, Travels: “maybe” is neither yes nor no."
    )
    assert data["sheets"][0]["added"][0]["changes"][1] == {"heading": "Name", "old": "", "new": "x"}


def test_a_registry_refuses_what_could_not_be_read_in() -> None:
    with pytest.raises(ValueError, match="no earlier sheet"):
        Registry([CIRCUITS])
    with pytest.raises(ValueError, match="same name"):
        Registry([BINS, BINS])
    with pytest.raises(ValueError, match="no column"):
        replace(BINS, key=("nothing",))
    with pytest.raises(ValueError, match="declared twice"):
        replace(BINS, columns=(*BINS.columns, BINS.columns[0]))
