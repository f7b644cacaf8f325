"""The workbook on the real models: what lands in the database, with history, all or nothing."""

from __future__ import annotations

import itertools
from datetime import UTC, date, datetime
from decimal import Decimal
from typing import Any

import pytest
from django.core.exceptions import ValidationError
from django.db import connection
from django.db.models import CheckConstraint
from django.test.utils import CaptureQueriesContext

from builds.models import Build, Circuit, Event, Robot, Season
from inventory.models import Battery, BatteryModel, Bin, Offer, Part, Reading, Supplier, WireType
from shared.access import Scope
from shared.electrical.gauges import parse_size
from shared.errors import Conflict, NotAllowed
from shared.models import JobRun, Membership, Role, Team, User
from shared.workbook.conditions import broken_checks
from shared.workbook.declare import col, registry_from, sheet
from shared.workbook.django_store import DjangoStore
from shared.workbook.plan import PlanSummary
from shared.workbook.service import ImportPlan
from shared.workbook.spec import Kind, Registry, Values
from shared.workbook.tables import SourceFile
from shared.workbook.team import apply_plan, export_workbook, plan_import, template_workbook
from tests.shared.workbook.memory import told, xlsx

pytestmark = pytest.mark.django_db


def _area_from_size(values: Values) -> None:
    if values.get("area_mm2") is None and values.get("size_typed"):
        values["area_mm2"] = parse_size(str(values["size_typed"])).area_mm2


def people(team: Team) -> dict[str, object]:
    return {user.username: user for user in User.objects.filter(memberships__team=team)}


ROBOT_OF_BUILD = col(
    "robot", kind=Kind.REFERENCE, reference="Robots", path="build__robot__code", required=True
)
SHEETS = [
    sheet("Bins", Bin, key=("code",), columns=["code", "name", "travels", "archived"]),
    sheet("Suppliers", Supplier, key=("name",), columns=["name", "contact"]),
    sheet("Wire types", WireType, key=("code",), namespace="Parts", columns=[
        "code", "name", "unit", "minimum_stock", col("size_typed", kind=Kind.SIZE),
        col("area_mm2", kind=Kind.AREA, required=False), "strands",
        "insulation_class_c", "colour"], complete=_area_from_size),
    sheet("Battery models", BatteryModel, key=("code",), namespace="Parts", columns=[
        "code", "name", "chemistry", "capacity_ah", col("rest_curve", kind=Kind.POINTS), "mass_g"]),
    sheet("Offers", Offer, key=("part", "supplier", "pack_size"), columns=[
        col("part", reference="Parts"), col("supplier", reference="Suppliers"), "price", "pack_size",
        "lead_time_days"]),
    sheet("Batteries", Battery, key=("code",), columns=[
        "code", col("model", reference="Battery models"), "acquired_on", "state", "state_reason"]),
    sheet("Readings", Reading, key=("battery", "taken_at", "instrument"), bulk=True, columns=[
        col("battery", reference="Batteries"), "taken_at", "instrument", "resistance_mohm", "method",
        col("rest_v", heading="Rest voltage (V)"), "charge_frac",
        col("by", reference="People", lookup=people, path="by__username")]),
    sheet("Seasons", Season, key=("name",), columns=["name", "starts_on", "ends_on"]),
    sheet("Robots", Robot, key=("code",), columns=["code", "name", col("season", reference="Seasons")]),
    sheet("Builds", Build, key=("robot", "label"), columns=[
        col("robot", reference="Robots"), "label", "dated", "state",
        col("battery_model", reference="Battery models")]),
    sheet("Circuits", Circuit, key=("robot", "build", "code"), columns=[
        ROBOT_OF_BUILD, col("build", reference="Builds", reference_with=("robot",)), "code", "name",
        col("fed_from", reference="Circuits", reference_with=("robot", "build")),
        col("wire", reference="Wire types"), "length_m", "continuous_a", "peak_a", "bundle_count"]),
    sheet("Events", Event, key=("name",), columns=[
        "name", "starts_on", "ends_on", col("robots", reference="Robots")]),
]  # fmt: skip
BOOK: dict[str, list[list[Any]]] = {
    "Bins": [["Code", "Name", "Travels"], ["A1", "Shelf", "yes"], ["A2", "", ""]],
    "Suppliers": [["Name"], ["Harbour Electric"]],
    "Wire types": [["Code", "Name", "Unit", "Size typed", "Area (mm²)", "Insulation class (°C)", "Strands"],
                   ["W12", "Red", "m", "12 AWG", None, 105, 19],
                   ["W4", "Thick", "m", "25 mm2", 24.5, "105 C", None]],
    "Battery models": [["Code", "Name", "Chemistry", "Capacity (Ah)", "Rest curve", "Mass (g)"],
                       ["AGM18", "Block", "Lead-acid, AGM", 18, "1.0:12.85; 0.5:12.3; 0:11.8", "5.9 kg"]],
    "Offers": [["Part", "Supplier", "Price", "Pack size", "Lead time (days)"],
               ["W12", "Harbour Electric", 19.9, 25, "1 week"], ["AGM18", "Harbour Electric", "42.00", 1, 3]],
    "Batteries": [["Code", "Model", "Acquired on", "State", "State reason"],
                  ["B01", "AGM18", "2026-01-10", None, None], ["B02", "AGM18", 46032, "Retired", "Swollen"]],
    "Readings": [["Battery", "Taken at", "Instrument", "Resistance (mΩ)", "Method", "Rest voltage (V)", "By"],
                 ["B01", datetime(2026, 2, 1, 9, 30), "Meter 1", 14.2, "AC, 1 kHz", "12.85 V", "lead"],
                 ["B01", "2026-03-01 09:30", "Meter 1", "0.0148 ohm", "ac1k", None, None]],
    "Seasons": [["Name", "Starts on", "Ends on"], ["2026", "2026-01-01", "2026-12-31"]],
    "Robots": [["Code", "Name", "Season"], ["R1", "Sandpiper", "2026"], ["R2", "Curlew", 2026]],
    "Builds": [["Robot", "Label", "Dated", "State", "Battery model"], ["R1", "rev A", "2026-02-01", "Past", None],
               ["R1", "rev B", "2026-05-01", "Current", "AGM18"]],
    "Circuits": [["Robot", "Build", "Code", "Name", "Fed from", "Wire", "Length (m)", "Continuous (A)"],
                 ["R1", "rev B", "C2", "Drive left", "C1", "W12", "4 ft", 20],
                 ["R1", "rev B", "C1", "Main feed", None, "W4", 0.5, "120 A"]],
    "Events": [["Name", "Starts on", "Ends on", "Robots"], ["Opener", "2026-12-05", "2026-12-06", "R2; R1"]],
}  # fmt: skip


@pytest.fixture
def registry() -> Registry:
    return registry_from([SHEETS])


@pytest.fixture
def scope() -> Scope:
    team = Team.objects.create(name="Gull Point", slug="gull")
    user = User.objects.create(username="lead")
    Membership.objects.create(team=team, user=user, role=Role.LEAD)
    return Scope(user=user, team=team, role=Role.LEAD)


def prepare(book: dict[str, list[list[Any]]], scope: Scope, registry: Registry) -> ImportPlan:
    return plan_import(scope=scope, source=xlsx(**book), registry=registry)


def bring_in(book: dict[str, list[list[Any]]], scope: Scope, registry: Registry) -> PlanSummary:
    made = prepare(book, scope, registry)
    assert told(made) == []
    return apply_plan(scope=scope, plan=made)


def test_a_whole_book_lands_in_the_database(scope: Scope, registry: Registry) -> None:
    done = bring_in(BOOK, scope, registry)
    assert (done.added, done.changed) == (20, 0)
    wire = WireType.objects.get(code="W12")
    assert (wire.size_typed, wire.kind, wire.insulation_class_c, wire.strands) == (
        "12 AWG",
        "wire",
        105.0,
        19,
    )
    assert wire.area_mm2 == pytest.approx(3.309, abs=5e-4)  # ASTM B258
    model = BatteryModel.objects.get(code="AGM18")
    assert model.rest_curve == [[1.0, 12.85], [0.5, 12.3], [0.0, 11.8]]
    assert (model.mass_g, model.nominal_v) == (5900.0, 12.0)
    offer = Offer.objects.get(part__code="W12")
    assert (offer.price, offer.pack_size, offer.lead_time_days) == (Decimal("19.90"), Decimal(25), 7)
    first, second = Reading.objects.order_by("taken_at")
    assert (first.resistance_mohm, second.resistance_mohm, first.by) == (14.2, 14.8, scope.user)
    assert first.taken_at == datetime(2026, 2, 1, 9, 30, tzinfo=UTC)
    assert first.team == scope.team
    branch = Circuit.objects.get(code="C2")
    assert branch.fed_from == Circuit.objects.get(code="C1")
    assert (branch.length_m, branch.wire, branch.bundle_count) == (1.2192, wire, 2)
    assert {robot.code for robot in Event.objects.get().robots.all()} == {"R1", "R2"}
    assert Battery.objects.get(code="B02").acquired_on == date(2026, 1, 10)


def test_every_row_has_its_history_and_the_sweeps_are_queued(
    scope: Scope, registry: Registry, django_capture_on_commit_callbacks: Any
) -> None:
    with django_capture_on_commit_callbacks():
        bring_in(BOOK, scope, registry)
    for model in (Bin, WireType, Reading, Circuit, Event):
        rows = model.history.all()
        # An event has a second line: its robots are set once it is there.
        assert {row.instance.pk for row in rows} == set(model.objects.values_list("pk", flat=True))
        assert {row.history_user for row in rows} == {scope.user}
    queued = JobRun.objects.filter(team=scope.team, trigger=JobRun.Trigger.IMPORT)
    assert set(queued.values_list("name", flat=True)) == {
        "match.team", "rotation.look", "sweep.batteries", "sweep.loads", "sweep.stock",
    }  # fmt: skip


def test_importing_again_changes_nothing_and_writes_nothing(scope: Scope, registry: Registry) -> None:
    bring_in(BOOK, scope, registry)
    again = prepare(BOOK, scope, registry)
    assert told(again) == []
    assert again.changes_nothing
    assert again.unchanged == 20
    with CaptureQueriesContext(
        connection,
    ) as queries:
        apply_plan(scope=scope, plan=again)
    assert not [q["sql"] for q in queries if q["sql"].split()[0] in ("INSERT", "UPDATE", "DELETE")]


@pytest.mark.parametrize("form", ["xlsx", "csv"])
def test_an_export_imports_to_the_same_state(scope: Scope, registry: Registry, form: str) -> None:
    bring_in(BOOK, scope, registry)
    source = SourceFile(f"x.{form}", export_workbook(scope=scope, form=form, registry=registry))
    made = plan_import(scope=scope, source=source, registry=registry)
    assert told(made) == []
    assert made.changes_nothing
    assert made.unchanged == 20
    # Into an empty team it builds the same rows.
    other = Team.objects.create(name="Tern Bay", slug="tern")
    Membership.objects.create(team=other, user=User.objects.get(), role=Role.MENTOR)
    there = Scope(user=scope.user, team=other, role=Role.MENTOR)
    apply_plan(scope=there, plan=plan_import(scope=there, source=source, registry=registry))
    for spec in registry.specs:
        ours, theirs = (
            sorted(repr((r.key, r.values)) for r in DjangoStore(s).records(spec)) for s in (scope, there)
        )
        assert theirs == ours
    assert Circuit.objects.get(team=other, code="C2").wire == WireType.objects.get(team=other, code="W12")


def test_changes_are_shown_then_made_and_blank_means_blank(scope: Scope, registry: Registry) -> None:
    bring_in(BOOK, scope, registry)
    book: dict[str, list[list[Any]]] = {
        "Bins": [["Code", "Name", "Travels"], ["A1", None, None]],
        "Circuits": [["Robot", "Build", "Code", "Name", "Fed from", "Length (m)"],
                     ["R1", "rev B", "C2", "Drive left", None, None]],
        "Events": [["Name", "Starts on", "Ends on", "Robots"], ["Opener", "2026-12-05", "2026-12-06", "R2"]],
    }  # fmt: skip
    made = prepare(book, scope, registry)
    changed = [(s.name, row) for s in made.sheets for row in s.changed]
    shown = {(name, row.name, c.heading): (c.old, c.new) for name, row in changed for c in row.changes}
    assert shown == {
        ("Bins", "A1", "Name"): ("Shelf", ""),
        ("Circuits", "R1 / rev B / C2", "Fed from"): ("C1", ""),
        ("Circuits", "R1 / rev B / C2", "Length (m)"): ("1.2192", ""),
        ("Events", "Opener", "Robots"): ("R1; R2", "R2"),
    }
    apply_plan(scope=scope, plan=made)
    branch = Circuit.objects.get(code="C2")
    assert (branch.fed_from, branch.length_m, branch.continuous_a) == (None, None, 20.0)
    assert Bin.objects.get(code="A1").travels  # an empty cell leaves a field that always has a value
    assert [robot.code for robot in Event.objects.get().robots.all()] == ["R2"]


def test_what_the_models_refuse_is_told_with_its_place(scope: Scope, registry: Registry) -> None:
    book: dict[str, list[list[Any]]] = {
        **BOOK,
        "Bins": [["Code", "Name"], ["has blank", "x"], ["A3", "y" * 200]],
        "Batteries": [["Code", "Model", "Acquired on", "State"],
                      ["B01", "AGM18", "2026-01-10", "Quarantined"],
                      ["B02", "W12", "2026-01-10", None]],
        "Readings": [BOOK["Readings"][0], ["B01", "2026-02-01", "M", 0.015, "ac1k", 12.8, None],
                     ["B01", "2026-02-02", "M", 15, "ac1k", -1, "stranger"]],
        "Circuits": [[*BOOK["Circuits"][0], "Peak (A)"],
                     ["R1", "rev B", "C1", "Main", "C1", "W4", -1, 50, 20]],
        "Builds": [*BOOK["Builds"], ["R1", "rev C", "2026-06-01", "Current", None]],
    }  # fmt: skip
    made = prepare(book, scope, registry)
    assert {(e.sheet, e.row, e.column) for e in made.errors} == {
        ("Bins", 2, "Code"),
        ("Bins", 3, "Name"),
        ("Batteries", 2, ""),  # why is it not in service?
        ("Batteries", 3, "Model"),  # a wire is no battery model
        ("Readings", 2, "Resistance (mΩ)"),
        ("Readings", 3, "By"),
        ("Builds", 4, "Robot"),  # one current build
        ("Circuits", 2, "Fed from"),  # fed from itself
    }
    assert all(error.remedy for error in made.errors)
    assert any("0.015 ohm is 15 mohm" in sentence for sentence in told(made))


def test_the_state_may_pass_from_one_build_to_the_next(scope: Scope, registry: Registry) -> None:
    bring_in(BOOK, scope, registry)
    head = BOOK["Builds"][0]
    book = {"Builds": [head, ["R1", "rev C", "2026-06-01", "Current"], ["R1", "rev B", "2026-05-01", "Past"]]}
    bring_in(book, scope, registry)
    assert [b.label for b in Build.objects.filter(state="current")] == ["rev C"]


def test_other_teams_rows_are_neither_seen_nor_touched(scope: Scope, registry: Registry) -> None:
    other = Team.objects.create(name="Other", slug="other")
    Bin.objects.create(team=other, code="A1", name="Theirs")
    Supplier.objects.create(team=other, name="Secret Source")
    bring_in(BOOK, scope, registry)
    assert Bin.objects.get(team=other).name == "Theirs"
    offers = [BOOK["Offers"][0], ["W12", "Secret Source", 1, 1, 1]]
    made = prepare({"Offers": offers}, scope, registry)
    assert [(e.row, e.column) for e in made.errors] == [(2, "Supplier")]
    assert b"Secret Source" not in export_workbook(scope=scope, form="csv", registry=registry)


def test_who_may_not_import_may_not(scope: Scope, registry: Registry) -> None:
    member = Scope(user=scope.user, team=scope.team, role=Role.MEMBER)
    with pytest.raises(NotAllowed):
        prepare(BOOK, member, registry)
    made = prepare(BOOK, scope, registry)
    with pytest.raises(NotAllowed):
        apply_plan(scope=member, plan=made)
    auditor = Scope(user=scope.user, team=scope.team, role=Role.AUDITOR)
    assert export_workbook(scope=auditor, registry=registry)[:2] == b"PK"


def test_a_preview_grown_old_is_not_applied(scope: Scope, registry: Registry) -> None:
    bring_in(BOOK, scope, registry)
    made = prepare({"Bins": [["Code", "Name"], ["A1", "new"]]}, scope, registry)
    Bin.objects.filter(code="A1").update(name="changed meanwhile")
    with pytest.raises(Conflict, match="changed since the preview"):
        apply_plan(scope=scope, plan=made)
    again = prepare({"Bins": [["Code", "Name"], ["A1", "new"]]}, scope, registry)
    with pytest.raises(Conflict):
        apply_plan(scope=scope, plan=again, fingerprint=made.fingerprint)
    apply_plan(scope=scope, plan=again, fingerprint=again.fingerprint)
    assert Bin.objects.get(code="A1").name == "new"


def test_a_failure_half_way_leaves_nothing(scope: Scope, registry: Registry, monkeypatch: Any) -> None:
    made = prepare(BOOK, scope, registry)

    def refuse(**kwargs: Any) -> None:
        raise Conflict("no", remedy="later")

    monkeypatch.setattr("shared.workbook.django_store.bulk_create_with_history", lambda *a, **k: refuse())
    with pytest.raises(Conflict):
        apply_plan(scope=scope, plan=made)
    assert not Bin.objects.exists()
    assert not Part.objects.exists()
    assert not Battery.history.exists()


def test_reading_costs_the_same_for_two_rows_and_for_two_hundred(scope: Scope, registry: Registry) -> None:
    def readings(count: int) -> list[list[Any]]:
        rest = ["M", 15, "ac1k", 12.8, "lead"]
        rows = [["B01", f"2026-02-{1 + n // 20:02} {n % 20:02}:00", *rest] for n in range(count)]
        return [BOOK["Readings"][0], *rows]

    counts = []
    for size in (2, 200):
        with CaptureQueriesContext(connection) as queries:
            made = prepare({**BOOK, "Readings": readings(size)}, scope, registry)
        assert made.ok
        counts.append(len(queries))
    assert counts[0] == counts[1]


def test_the_template_of_real_sheets_says_what_the_models_say(registry: Registry) -> None:
    assert template_workbook(registry=registry)[:2] == b"PK"
    batteries = registry.by_name["Batteries"].by_field
    assert batteries["code"].explanation == "As written on its case"
    assert batteries["code"].required
    assert not batteries["state"].required
    assert batteries["state"].choices[0] == ("service", "In service")
    readings = registry.by_name["Readings"].by_field
    assert (readings["resistance_mohm"].kind, readings["resistance_mohm"].unit) == (Kind.QUANTITY, "mohm")
    assert readings["battery"].path == "battery__code"
    circuits = registry.by_name["Circuits"].by_field
    assert (circuits["fed_from"].path, circuits["build"].path) == ("fed_from__code", "build__label")


CONSTRAINED = [Reading, Circuit, Build, Battery, Offer, Event, WireType, BatteryModel]
NUMERIC = ("FloatField", "DecimalField", "PositiveIntegerField", "PositiveSmallIntegerField")


@pytest.mark.parametrize("model", CONSTRAINED, ids=lambda m: m.__name__)
def test_check_constraints_are_judged_as_the_database_judges_them(model: Any) -> None:
    numbers = [f for f in model._meta.concrete_fields if f.get_internal_type() in NUMERIC]
    checks = [
        (table, check)
        for table, constraints in model().get_constraints()
        for check in constraints
        if isinstance(check, CheckConstraint)
    ]
    assert checks
    for first, second in itertools.product([None, -1, 0, 0.5, 1, 20, 600], repeat=2):
        row = model()
        for field, number in zip(numbers, itertools.cycle((first, second)), strict=False):
            setattr(row, field.attname, field.to_python(number))
        broken = {message for _, message in broken_checks(row)}
        told_by_database = set()
        for table, check in checks:
            try:
                check.validate(table, row)
            except ValidationError as error:
                told_by_database.update(error.messages)
        assert broken == told_by_database
