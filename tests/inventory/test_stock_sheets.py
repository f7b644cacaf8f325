"""The sheets of the stores: out and in again without a change, and stock figures that become counts."""

from __future__ import annotations

import io
from datetime import date, timedelta
from decimal import Decimal
from typing import Any

import openpyxl
import pytest
from django.utils import timezone
from openpyxl.utils.datetime import WINDOWS_EPOCH

from inventory.models import (
    Battery,
    BatteryIncident,
    BatteryModel,
    CapacityTest,
    Charge,
    Charger,
    Component,
    DevicePoint,
    Movement,
    Offer,
    ProtectiveDevice,
    Reading,
    Spool,
    StockItem,
    Supplier,
    TerminalType,
    WireType,
)
from inventory.selectors.stock import ledger_differences
from inventory.services.ledger import stock_receive, stock_use
from inventory.sheets import SHEETS
from shared.access import Scope
from shared.errors import Conflict
from shared.models import Membership, Role
from shared.workbook.cells_in import Reader
from shared.workbook.declare import registry_from
from shared.workbook.locale import Locale
from shared.workbook.spec import Kind
from shared.workbook.tables import SourceFile
from shared.workbook.team import apply_plan, export_workbook, plan_import
from tests.inventory.stockroom import Room, make_part, make_room, make_team

pytestmark = pytest.mark.django_db

REGISTRY = registry_from([SHEETS])


def workbook(**sheets: list[list[Any]]) -> SourceFile:
    book = openpyxl.Workbook()
    book.remove(book.worksheets[0])
    for name, rows in sheets.items():
        sheet = book.create_sheet(name.replace("_", " "))
        for row in rows:
            sheet.append(row)
    out = io.BytesIO()
    book.save(out)
    return SourceFile("own.xlsx", out.getvalue())


def plan(scope: Scope, source: SourceFile) -> Any:
    return plan_import(scope=scope, source=source, registry=REGISTRY)


def load(scope: Scope, source: SourceFile) -> Any:
    made = plan(scope, source)
    assert made.errors == [], made.errors
    return apply_plan(scope=scope, plan=made)


def exported(scope: Scope, form: str = "xlsx") -> SourceFile:
    name = "export.xlsx" if form == "xlsx" else "export.zip"
    return SourceFile(name, export_workbook(scope=scope, form=form, registry=REGISTRY))


def rich_room() -> Room:
    """A row of every sheet, with values that are easy to lose."""
    room = make_room(Role.LEAD)
    fill_catalogue(room)
    fill_stock(room)
    fill_batteries(room)
    return room


def fill_catalogue(room: Room) -> None:
    team = room.scope.team
    wire = WireType.objects.get(team=team)
    wire.strands, wire.resistance_mohm_per_m, wire.colour = 65, 7.41, "=red"
    wire.save()
    TerminalType.objects.create(
        team=team,
        code="RING",
        name="Ring",
        kind="terminal",
        form="ring",
        area_min_mm2=1.31,
        area_max_mm2=2.08,
        hole_mm=5.3,
    )
    fuse = ProtectiveDevice.objects.create(
        team=team, code="F30", name="Fuse", kind="device", form="blade", rating_a=30, interrupt_a=1000
    )
    DevicePoint.objects.create(
        team=team, device=fuse, multiple=1.35, opens_min_s=0.75, status="sheet", source="Sheet 3"
    )
    BatteryModel.objects.create(
        team=team,
        code="AGM18",
        name="AGM",
        kind="battery",
        chemistry="agm",
        capacity_ah=18,
        rest_curve=[[1.0, 12.85], [0.5, 12.3], [0.0, 11.8]],
    )
    Component.objects.create(team=team, code="MOT", name="Motor", kind="component", role="motor", peak_a=131)


def fill_stock(room: Room) -> None:
    team = room.scope.team
    wire, fuse = WireType.objects.get(team=team), ProtectiveDevice.objects.get(team=team)
    shop = Supplier.objects.create(team=team, name="Harbour, Electric; Ltd")
    for pack in (1, 10):
        Offer.objects.create(
            team=team,
            part=fuse,
            supplier=shop,
            price=Decimal("0.35") * pack,
            pack_size=pack,
            lead_time_days=4,
        )
    stock_receive(scope=room.scope, part=fuse, bin=room.shelf, quantity=7)
    stock_receive(scope=room.scope, part=room.fuse, bin=room.crate, quantity=3)
    stock_use(scope=room.scope, part=room.fuse, bin=room.crate, quantity=3)
    tube = make_part(team, "TUBE", unit="m")
    stock_receive(scope=room.scope, part=tube, bin=room.shelf, quantity=Decimal("2.125"))
    stock_use(scope=room.scope, part=wire, bin=room.shelf, spool=room.spool, quantity=Decimal("12.35"))


def fill_batteries(room: Room) -> None:
    team, user = room.scope.team, room.scope.user
    model = BatteryModel.objects.get(team=team)
    battery = Battery.objects.create(
        team=team,
        code="B01",
        model=model,
        acquired_on=date(2025, 3, 1),
        state="practice",
        state_reason="worn",
    )
    now = timezone.now()
    Reading.objects.create(
        team=team,
        battery=battery,
        taken_at=now,
        resistance_mohm=14.2,
        method="ac1k",
        instrument="Bridge",
        charge_frac=0.95,
        by=user,
    )
    left = Charger.objects.create(team=team, name="Left", current_a=6, absorption_min=60)
    Charge.objects.create(
        team=team, battery=battery, charger=left, started_at=now - timedelta(hours=3), ended_at=now
    )
    Charge.objects.create(team=team, battery=battery, charger=left, started_at=now)
    BatteryIncident.objects.create(
        team=team,
        battery=battery,
        kind="hot",
        happened_at=now,
        temperature_c=61.5,
        by=user,
        note="after a match",
    )
    CapacityTest.objects.create(
        team=team, battery=battery, tested_at=now, current_a=5, end_v=10.5, capacity_ah=15.1
    )


def test_every_column_is_explained_and_has_an_example():
    for spec in REGISTRY.specs:
        assert spec.about or spec.name in ("Suppliers", "Batteries")
        for column in spec.columns:
            assert len(column.explanation) > 5, (spec.name, column.field)
            assert spec.export_only or column.example, (spec.name, column.field)


def test_every_example_is_a_value_its_column_takes():
    reader = Reader(Locale(), WINDOWS_EPOCH)
    for spec in REGISTRY.specs:
        for column in spec.columns:
            if column.example:
                reader.read(column.example, column)


@pytest.mark.parametrize("form", ["xlsx", "csv"])
def test_an_export_imports_without_a_change(form):
    room = rich_room()
    made = plan(room.scope, exported(room.scope, form))
    assert made.errors == []
    assert made.changes_nothing, [(s.name, s.added, s.changed) for s in made.sheets]
    assert made.unchanged == sum(s.unchanged for s in made.sheets) > 20


def test_an_export_makes_the_same_state_in_an_empty_team():
    room = rich_room()
    team = make_team()
    assert room.scope.user is not None
    Membership.objects.create(team=team, user=room.scope.user, role=Role.LEAD)
    fresh = Scope(room.scope.user, team, Role.LEAD)
    load(fresh, exported(room.scope))
    assert state(fresh) == state(room.scope)
    assert ledger_differences(fresh) == []
    assert plan(fresh, exported(room.scope)).changes_nothing


def state(scope: Scope) -> dict[str, list[Any]]:
    """What a person would compare: every sheet but the ledger, whose lines tell how it came about."""
    source = exported(scope)
    book = openpyxl.load_workbook(io.BytesIO(source.data))
    return {
        spec.name: [list(row) for row in book[spec.name].iter_rows(values_only=True)]
        for spec in REGISTRY.specs
        if not spec.export_only
    }


def test_a_stock_figure_that_differs_becomes_a_count():
    room = rich_room()
    source = workbook(
        Stock=[["Part", "Bin", "Quantity"], ["F30", "A1", 5], ["F30", "CRATE", 2], ["TUBE", "A1", "2.125"]],
        Spools=[["Code", "Wire", "Bin", "Full length (m)", "Remaining (ft)"], ["S1", "W25R", "A1", 100, 100]],
    )
    before = set(Movement.objects.values_list("pk", flat=True))
    done = load(room.scope, source)
    assert (done.added, done.changed, done.unchanged) == (1, 2, 1)
    lines = Movement.objects.exclude(pk__in=before).order_by("pk")
    assert [(m.kind, m.part.code, m.bin.code, str(m.quantity), str(m.balance)) for m in lines] == [
        ("count", "F30", "A1", "-2.000", "5.000"),
        ("count", "F30", "CRATE", "2.000", "2.000"),
        # 100 ft = 30.48 m on a spool that held 87.65 m.
        ("count", "W25R", "A1", "-57.170", "30.480"),
    ]
    assert {m.by for m in lines} == {room.scope.user}
    assert load(room.scope, source).changes_nothing
    assert ledger_differences(room.scope) == []


def test_a_new_spool_is_full_unless_said_and_a_known_one_can_move_and_grow():
    room = rich_room()
    head = ["Code", "Wire", "Bin", "Full length (m)", "Remaining (m)"]
    load(
        room.scope,
        workbook(
            Spools=[
                head,
                ["S2", "W25R", "A1", 30, None],
                ["S3", "W25R", "A1", 30, 8.5],
                ["S1", "W25R", "CRATE", 120, 110],
            ]
        ),
    )
    spools = {s.code: (s.bin.code, str(s.remaining_m)) for s in Spool.objects.select_related("bin")}
    assert spools == {"S1": ("CRATE", "110.000"), "S2": ("A1", "30.000"), "S3": ("A1", "8.500")}
    assert ledger_differences(room.scope) == []


def test_what_cannot_be_in_stock_is_told_in_the_preview_with_its_place():
    room = rich_room()
    made = plan(
        room.scope,
        workbook(
            Stock=[
                ["Part", "Bin", "Quantity"],
                ["F30", "A1", 1.5],
                ["W25R", "A1", 3],
                ["TUBE", "A1", -1],
                ["F31", "A1", 1],
            ],
            Spools=[
                ["Code", "Wire", "Bin", "Full length (m)", "Remaining (m)"],
                ["S1", "W25R", "A1", 100, 101],
            ],
        ),
    )
    assert [(e.sheet, e.row, e.column) for e in made.errors] == [
        ("Stock", 2, "Quantity"),
        ("Stock", 3, "Part"),
        ("Stock", 4, "Quantity"),
        ("Stock", 5, "Part"),
        ("Spools", 2, "Remaining (m)"),
    ]
    assert "whole number" in made.errors[0].message
    assert "F30" in made.errors[3].remedy


def test_a_spool_keeps_its_wire_type_and_nothing_is_half_done():
    room = rich_room()
    source = workbook(
        Wire_types=[["Code", "Name", "Size", "Insulation class (°C)"], ["W4", "Four", "4 mm2", 105]],
        Stock=[["Part", "Bin", "Quantity"], ["F30", "A1", 1]],
        Spools=[["Code", "Wire", "Bin", "Full length (m)"], ["S1", "W4", "A1", 100]],
    )
    made = plan(room.scope, source)
    with pytest.raises(Conflict, match="Spool S1 holds another wire type"):
        apply_plan(scope=room.scope, plan=made)
    assert StockItem.objects.get(part__code="F30", bin=room.shelf).quantity == 7
    assert not WireType.objects.filter(code="W4").exists()


def test_a_wire_needs_only_its_size_and_is_measured_by_the_metre():
    room = rich_room()
    load(
        room.scope,
        workbook(
            Wire_types=[["Code", "Name", "Size", "Insulation class (°C)"], ["W12", "Twelve", "12 AWG", "105"]]
        ),
    )
    wire = WireType.objects.get(code="W12")
    # ASTM B258: 12 AWG is 3.308 mm2.
    assert wire.area_mm2 == pytest.approx(3.308, abs=1e-3)
    assert (wire.unit, wire.kind) == ("m", "wire")


def test_a_reference_takes_parts_of_its_own_kind_only():
    room = rich_room()
    made = plan(
        room.scope,
        workbook(
            Spools=[["Code", "Wire", "Bin", "Full length (m)"], ["S9", "F30", "A1", 10]],
            Other_parts=[["Code", "Name"], ["F30", "Same code as a fuse"]],
        ),
    )
    told = {(e.sheet, e.column): e.message for e in made.errors}
    assert "not a row of Wire types" in told["Spools", "Wire"]
    assert "on record in sheet Protective devices" in told["Other parts", "Code"]


def test_history_sheets_are_written_and_passed_over():
    room = rich_room()
    made = plan(room.scope, exported(room.scope))
    assert made.notes == ["Sheet Movements is written on export only; it was not read."]
    book = openpyxl.load_workbook(io.BytesIO(exported(room.scope).data))
    assert book["Movements"].max_row - 4 == Movement.objects.filter(team=room.scope.team).count()


def test_kinds_of_columns_are_those_a_person_can_type():
    for spec in REGISTRY.specs:
        assert not [c.field for c in spec.columns if c.kind is Kind.JSON]
