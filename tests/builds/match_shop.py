"""A team with one small robot and two batteries, for tests of simulated matches."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import UTC, date, datetime
from typing import Any, TypeVar

from django.db.models import Model, QuerySet

from builds.match_study import StudyInputs, study_inputs
from builds.models import Build, BuildState, Circuit, CircuitRole, DutyPhase, DutyProfile, Robot, Season
from inventory.models import (
    Battery,
    BatteryModel,
    CapacityTest,
    Component,
    DevicePoint,
    Method,
    ProtectiveDevice,
    Reading,
    WireType,
)
from shared.access import Scope
from shared.models import Role
from tests.inventory.stockroom import make_scope, make_team

M = TypeVar("M", bound=Model)
MEASURED = datetime(2026, 9, 1, 10, 0, tzinfo=UTC)


@dataclass
class MatchShop:
    """The rows, by the names that the tests use for them."""

    scope: Scope
    build: Build
    rows: dict[str, Any]

    def __getitem__(self, name: str) -> Any:
        return self.rows[name]

    @property
    def builds(self) -> QuerySet[Build]:
        return Build.objects.filter(pk=self.build.pk)

    def inputs(self) -> StudyInputs:
        """What enters its studies now."""
        (found,) = study_inputs(self.scope, self.builds)
        return found

    def keys(self) -> dict[str, str]:
        """The key of each study, by what the battery is called."""
        return {case.battery.label: case.key for case in self.inputs().cases}

    def change(self, name: str, /, **values: Any) -> None:
        """Change columns of a row behind everybody's back."""
        row: Model = self.rows[name]
        type(row)._default_manager.filter(pk=row.pk).update(**values)
        row.refresh_from_db()


def make_match_shop(role: str = Role.LEAD) -> MatchShop:
    """Main feed, two drive motors with a profile, a compressor, controller and radio; B01 measured, B02 never."""
    scope = make_scope(make_team(), role)
    team = scope.team
    rows: dict[str, Any] = {}

    def put(name: str, row: M) -> M:
        row.full_clean()
        row.save()
        rows[name] = row
        return row

    def wire(code: str, area: float) -> WireType:
        return put(code, WireType(team=team, code=code, name=code, size_typed=f"{area} mm2", area_mm2=area,
                                  insulation_class_c=105, strands=50))  # fmt: skip

    def part(code: str, role: str, **values: Any) -> Component:
        return put(
            code, Component(team=team, code=code, name=code.capitalize(), role=role, nominal_v=12, **values)
        )

    def device(code: str, rating: float, **values: Any) -> ProtectiveDevice:
        return put(
            code, ProtectiveDevice(team=team, code=code, name=code, form="thermal", rating_a=rating, **values)
        )

    model = put("AGM", BatteryModel(team=team, code="AGM", name="AGM", chemistry="agm", capacity_ah=18,
                                    resistance_new_mohm=12, rest_curve=[[1.0, 12.85], [0.5, 12.3], [0.0, 11.8]])
                )  # fmt: skip
    season = put(
        "season", Season(team=team, name="26", starts_on=date(2026, 1, 1), ends_on=date(2026, 12, 31))
    )
    robot = put("robot", Robot(team=team, code="HERON", name="Heron", season=season))
    build = put("build", Build(team=team, robot=robot, label="rev A", dated=date(2026, 2, 1), battery_model=model,
                               state=BuildState.CURRENT))  # fmt: skip
    profile = put("profile", DutyProfile(team=team, code="PUSH", name="Push and cruise"))
    for place, (name, lasts, draw, torque) in enumerate(
        (("cruise", 1.0, 0.6, 0.05), ("push", 0.5, 1.0, 0.5), ("idle", 0.5, 0.0, 0.0)), start=1
    ):
        put(name, DutyPhase(team=team, profile=profile, place=place, name=name, lasts_s=lasts, draw_frac=draw,
                            torque_frac=torque))  # fmt: skip
    thick, thin = wire("W25", 25.0), wire("W3", 3.3)
    breaker, fuse = (
        device("MB120", 120, heat_s=60, resistance_mohm=0.5),
        device("F40", 40, resistance_mohm=2.0),
    )
    put("point", DevicePoint(team=team, device=breaker, multiple=1.1, opens_min_s=100, opens_max_s=None,
                             status="sheet", source="its sheet"))  # fmt: skip
    motor = part("MOTOR", "motor", nominal_a=12, free_a=2, stall_a=130, spin_up_s=0.2)
    main = put("MAIN", Circuit(team=team, build=build, code="MAIN", name="Main feed", role=CircuitRole.MAIN, wire=thick,
                               length_m=0.6, device=breaker, component=part("BOARD", "board")))  # fmt: skip

    def circuit(code: str, component: Component, **values: Any) -> None:
        put(code, Circuit(team=team, build=build, code=code, name=f"To {code}", wire=thin, length_m=1.0, device=fuse,
                          component=component, fed_from=main, **values))  # fmt: skip

    circuit("DRIVE-1", motor, profile=profile)
    circuit("DRIVE-2", motor, profile=profile)
    circuit("PUMP", part("COMPRESSOR", "pneumatic"), continuous_a=10, peak_a=20, duty_frac=0.25, cycle_s=4)
    circuit("CPU", part("CONTROLLER", "controller", nominal_a=1.5, minimum_v=6.8))
    circuit("RADIO", part("LINK", "radio", nominal_a=1.0, minimum_v=9.0))
    first = put("B01", Battery(team=team, code="B01", model=model, acquired_on=date(2025, 1, 10)))
    put("B02", Battery(team=team, code="B02", model=model, acquired_on=date(2025, 1, 10)))
    put("reading", Reading(team=team, battery=first, taken_at=MEASURED, resistance_mohm=15, method=Method.TWO_PULSE,
                           instrument="Meter A", rest_v=12.9, rest_h=8))  # fmt: skip
    put(
        "test",
        CapacityTest(team=team, battery=first, tested_at=MEASURED, current_a=0.9, end_v=10.5, capacity_ah=16),
    )
    return MatchShop(scope, build, rows)
