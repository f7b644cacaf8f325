"""The sheets of robots and events: out and in again without a change, and mistakes told in their place."""

from __future__ import annotations

import io
from datetime import UTC, date, datetime
from typing import Any

import openpyxl
import pytest

from builds.models import Build, BuildLine, Circuit, DutyPhase, DutyProfile, Handling, Match, Outing, Season
from builds.sheets import SHEETS
from inventory.models import Charger
from inventory.sheets import SHEETS as STORES
from shared.access import Scope
from shared.models import Membership, Role
from shared.workbook.declare import registry_from
from shared.workbook.tables import SourceFile
from shared.workbook.team import apply_plan, export_workbook, plan_import
from tests.builds.workshop import Workshop, make_build, make_circuit, make_event, make_robot, make_workshop
from tests.inventory.stockroom import make_part, make_team
from tests.inventory.test_batteries import make_battery
from tests.inventory.test_stock_sheets import workbook

pytestmark = pytest.mark.django_db

REGISTRY = registry_from([STORES, SHEETS])


def plan(scope: Scope, source: SourceFile) -> Any:
    return plan_import(scope=scope, source=source, registry=REGISTRY)


def exported(scope: Scope, form: str = "xlsx") -> SourceFile:
    name = "export.xlsx" if form == "xlsx" else "export.zip"
    return SourceFile(name, export_workbook(scope=scope, form=form, registry=REGISTRY))


def rich_shop() -> Workshop:
    shop = make_workshop()
    Season.objects.filter(pk=shop.season.pk).update(match_s=135.0)
    robots = [make_robot(shop, "R1"), make_robot(shop, "R2")]
    build = make_build(shop, robots[0])
    make_build(shop, robots[0], "rev B", "draft")
    profile = DutyProfile.objects.create(team=shop.team, code="DRIVE", name="Dash and push")
    for place, draw in ((1, 1.0), (2, 0.0)):
        DutyPhase.objects.create(
            team=shop.team, profile=profile, place=place, name=f"phase {place}", lasts_s=1.5, draw_frac=draw
        )
    # Two builds may use the same codes; a feeder may have been entered after what it feeds.
    for one in (build, make_build(shop, robots[1])):
        branch = make_circuit(shop, one, "C1", duty_frac=0.25, cycle_s=20, continuous_a=8, peak_a=40)
        main = make_circuit(shop, one, "MAIN", role="main", wired=False, length_m=0.3048, parallel=2)
        Circuit.objects.filter(pk=branch.pk).update(
            fed_from=main, mechanism="drive", profile=profile, limit_a=40, joints_mohm=1.8
        )
    tie = make_part(shop.team, "TIE")
    for note, quantity in (("", 20), ("arm", 5)):
        BuildLine.objects.create(
            team=shop.team, build=build, part=tie, quantity=quantity, installed=3, note=note
        )
    event = make_event(shop, "Winter; regional", date(2026, 12, 7), robots, goods_by=date(2026, 12, 3))
    start = datetime(2026, 12, 7, 10, 40, tzinfo=UTC)
    match = Match.objects.create(team=shop.team, event=event, robot=robots[1], number="12", starts_at=start)
    battery, charger = make_battery(shop.scope), Charger.objects.create(team=shop.team, name="Pit, left")
    event.batteries.add(battery)
    event.chargers.add(charger)
    Handling.objects.create(team=shop.team, event=event, cool_min=25, least_charge_frac=0.9)
    Outing.objects.create(
        team=shop.team, battery=battery, robot=robots[1], match=match, started_at=start, in_robot=True
    )
    Outing.objects.create(
        team=shop.team, battery=battery, started_at=start.replace(month=11), by=shop.scope.user, used_ah=3.5,
        ended_at=start.replace(month=11, hour=11),
    )  # fmt: skip
    return shop


def test_every_column_is_explained_and_has_an_example():
    for spec in SHEETS:
        for column in spec.columns:
            assert len(column.explanation) > 5, (spec.name, column.field)
            assert column.example, (spec.name, column.field)


@pytest.mark.parametrize("form", ["xlsx", "csv"])
def test_an_export_imports_without_a_change(form):
    shop = rich_shop()
    made = plan(shop.scope, exported(shop.scope, form))
    assert made.errors == []
    assert made.changes_nothing, [(s.name, s.added, s.changed) for s in made.sheets]
    assert made.unchanged > 20


def test_an_export_makes_the_same_state_in_an_empty_team():
    shop = rich_shop()
    team = make_team()
    assert shop.scope.user is not None
    Membership.objects.create(team=team, user=shop.scope.user, role=Role.LEAD)
    fresh = Scope(shop.scope.user, team, Role.LEAD)
    made = plan(fresh, exported(shop.scope))
    assert made.errors == []
    apply_plan(scope=fresh, plan=made)
    assert plan(fresh, exported(shop.scope)).changes_nothing
    assert rows_of(fresh) == rows_of(shop.scope)
    feeds = fresh.rows(Circuit).filter(code="C1").select_related("fed_from", "build")
    assert [c.fed_from and c.fed_from.build_id for c in feeds] == [c.build_id for c in feeds]


def test_the_length_of_a_match_may_be_left_out_of_the_seasons():
    shop = rich_shop()
    old = ["Name", "Starts on", "Ends on"]
    days = [date(2028, 1, 1), date(2028, 12, 31)]
    made = plan(
        shop.scope,
        workbook(Seasons=[old, ["Next", *days], ["This season", date(2026, 1, 1), date(2027, 12, 30)]]),
    )
    assert made.errors == []
    apply_plan(scope=shop.scope, plan=made)
    assert dict(Season.objects.values_list("name", "match_s")) == {"Next": 150.0, "This season": 135.0}
    new = [*old, "Match length (s)"]
    made = plan(shop.scope, workbook(Seasons=[new, ["Next", *days, "2 min"], ["Later", *days, None]]))
    assert made.errors == []
    apply_plan(scope=shop.scope, plan=made)
    lengths = dict(Season.objects.values_list("name", "match_s"))
    assert lengths == {"Next": 120.0, "This season": 135.0, "Later": 150.0}
    (wrong,) = plan(shop.scope, workbook(Seasons=[new, ["Next", *days, 1000]])).errors
    assert (wrong.row, wrong.column) == (2, "Match length (s)")
    assert "lies between 10 and 900 s" in wrong.message


def rows_of(scope: Scope) -> dict[str, list[Any]]:
    book = openpyxl.load_workbook(io.BytesIO(exported(scope).data))
    return {spec.name: [list(r) for r in book[spec.name].iter_rows(values_only=True)] for spec in SHEETS}


def test_three_mistakes_are_told_at_once_and_nothing_is_changed():
    shop = rich_shop()
    source = workbook(
        Circuits=[
            ["Robot", "Build", "Code", "Name", "Fed from", "Wire", "Length (m)", "Peak current (A)"],
            ["R1", "rev A", "MAIN", "Main", "C1", "W25", 0.3, None],
            ["R1", "rev A", "C9", "New", "MAIN", "W26", 0.3, None],
            ["R1", "rev C", "C9", "New", None, "W25", "3 A", None],
        ]
    )
    made = plan(shop.scope, source)
    told = {(e.row, e.column): f"{e.message} {e.remedy}" for e in made.errors}
    assert told.keys() == {(2, "Fed from"), (3, "Wire"), (4, "Build"), (4, "Length (m)")}
    assert "leads back to itself" in told[2, "Fed from"]
    assert "Did you mean “W25”?" in told[3, "Wire"]
    assert Circuit.objects.filter(code="MAIN", name="Circuit MAIN").count() == 2


def test_what_the_network_cannot_take_is_told_under_its_heading():
    shop = rich_shop()
    figures = ["Robot", "Build", "Code", "Name", "Fed from", "Length (m)", "Current limit (A)", "Joints (mΩ)"]
    source = workbook(
        Components=[
            [
                "Code",
                "Name",
                "Role",
                "Free current (A)",
                "Stall current (A)",
                "Output voltage (V)",
                "Efficiency",
            ],
            ["REG", "Regulator", "Voltage regulator", None, None, None, None],
            ["REG2", "Regulator", "Voltage regulator", None, None, 5, "120 %"],
            ["M2", "Motor", "Motor with controller", 3, 2, None, None],
        ],
        Duty_phases=[
            ["Profile", "Place", "Name", "Lasts (s)", "Draw", "Torque"],
            ["DRIVE", 1, "dash", 0, 1, 0],
            ["DRIVE", 3, "push", "2 s", "110 %", 0],
            ["LIFT", 1, "lift", 1, 1, 0],
        ],
        Circuits=[
            figures,
            ["R1", "rev A", "MAIN", "Main", "C1", 0.3, None, None],
            ["R1", "rev A", "C9", "New", "MAIN", 0, 0, None],
            ["R1", "rev A", "C8", "New", "MAIN", 1, None, "0 mohm"],
        ],
    )
    made = plan(shop.scope, source)
    assert {(e.sheet, e.row, e.column) for e in made.errors} == {
        ("Components", 2, "Output voltage (V)"),
        ("Components", 3, "Efficiency"),
        ("Components", 4, "Stall current (A)"),
        ("Duty phases", 2, "Lasts (s)"),
        ("Duty phases", 3, "Draw"),
        ("Duty phases", 4, "Profile"),
        ("Circuits", 2, "Fed from"),
        ("Circuits", 3, "Length (m)"),
        ("Circuits", 3, "Current limit (A)"),
        ("Circuits", 4, "Joints (mΩ)"),
    }
    length = next(e for e in made.errors if e.column == "Length (m)")
    assert length.message == "Must be greater than zero."


def test_duty_profiles_come_in_with_units_and_are_followed():
    shop = make_workshop()
    make_build(shop, make_robot(shop, "R1"))
    source = workbook(
        Duty_profiles=[["Code", "Name"], ["LIFT", "Up and down"]],
        Duty_phases=[
            ["Profile", "Place", "Name", "Lasts (s)", "Draw", "Torque"],
            ["LIFT", 1, "up", "900 ms", "80 %", 0.2],
            ["LIFT", 2, "rest", "0.1 min", 0, None],
        ],
        Circuits=[
            ["Robot", "Build", "Code", "Name", "Mechanism", "Duty profile", "Current limit (A)"],
            ["R1", "rev A", "C7", "Arm", "arm", "LIFT", "20 A"],
        ],
    )
    made = plan(shop.scope, source)
    assert made.errors == []
    apply_plan(scope=shop.scope, plan=made)
    circuit = Circuit.objects.select_related("profile").get(code="C7")
    assert circuit.profile is not None
    phases = circuit.profile.phases.values_list("place", "name", "lasts_s", "draw_frac", "torque_frac")
    assert list(phases) == [(1, "up", 0.9, 0.8, 0.2), (2, "rest", 6.0, 0.0, 0.0)]
    assert (circuit.moves_with, circuit.limit_a) == ("arm", 20.0)


def test_lengths_are_read_as_people_type_them():
    shop = rich_shop()
    source = workbook(
        Circuits=[
            ["Robot", "Build", "Code", "Name", "Length (ft)", "Duty", "Running current (A)"],
            ["R1", "rev A", "C7", "Arm", 4, "25 %", "500 mA"],
        ]
    )
    made = plan(shop.scope, source)
    assert made.errors == []
    apply_plan(scope=shop.scope, plan=made)
    circuit = Circuit.objects.get(code="C7")
    # 1 ft is 0.3048 m exactly (international foot, 1959).
    assert (circuit.length_m, circuit.duty_frac, circuit.continuous_a) == (1.2192, 0.25, 0.5)


def test_another_build_can_become_current_in_one_file():
    shop = rich_shop()
    source = workbook(
        Builds=[
            ["Robot", "Label", "Dated", "State"],
            ["R1", "rev B", "2026-11-01", "Current"],
            ["R1", "rev A", "2026-09-01", "Past"],
        ]
    )
    made = plan(shop.scope, source)
    assert made.errors == []
    apply_plan(scope=shop.scope, plan=made)
    builds = shop.scope.rows(Build).filter(robot__code="R1")
    assert {b.label: b.state for b in builds} == {"rev A": "past", "rev B": "current"}


def test_a_current_build_without_a_battery_is_refused_with_row_and_column():
    shop = rich_shop()
    build = shop.scope.rows(Build).get(robot__code="R1", state="current")
    head = ["Robot", "Label", "Dated", "State", "Battery model"]
    (wrong,) = plan(
        shop.scope, workbook(Builds=[head, ["R1", build.label, build.dated, "Current", None]])
    ).errors
    assert (wrong.row, wrong.column) == (2, "Battery model")
    assert "needs the kind of battery it runs on" in wrong.message
    source = workbook(
        Builds=[["Robot", "Label", "Dated", "State"], ["R2", "rev Z", "2026-11-01", "Current"]],
        Circuits=[["Robot", "Build", "Code", "Name"], ["R2", "rev Z", "C1", "Arm"]],
    )
    Build.objects.filter(robot__code="R2").update(state="past")
    (wrong,) = plan(shop.scope, source).errors
    assert (wrong.sheet, wrong.row) == ("Circuits", 2)
    assert "battery_model" in wrong.message


def test_an_event_without_a_robots_column_keeps_its_robots():
    shop = rich_shop()
    event = shop.scope.rows(Match).get().event
    source = workbook(
        Events=[
            ["Name", "Starts on", "Ends on", "Matches planned"],
            ["Winter; regional", date(2026, 12, 7), date(2026, 12, 8), 11],
        ]
    )
    apply_plan(scope=shop.scope, plan=plan(shop.scope, source))
    event.refresh_from_db()
    assert (event.matches_planned, event.robots.count()) == (11, 2)
