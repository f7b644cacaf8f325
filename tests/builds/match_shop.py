"""A team with one small robot and two batteries, for tests of simulated matches."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from datetime import UTC, date, datetime, timedelta
from typing import Any, TypeVar

from django.db.models import Model, QuerySet
from django.utils import timezone

from builds.match_study import StudyInputs, study_inputs
from builds.models import (
    Build,
    BuildState,
    Circuit,
    CircuitRole,
    DutyPhase,
    DutyProfile,
    Event,
    Robot,
    Season,
)
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
from shared.models import Role, Team
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
    maker = _Maker(scope.team)
    maker.robot()
    maker.wiring()
    maker.batteries()
    return MatchShop(scope, maker.rows["build"], maker.rows)


class _Maker:
    def __init__(self, team: Team) -> None:
        self.team = team
        self.rows: dict[str, Any] = {}

    def put(self, name: str, row: M) -> M:
        row.full_clean()
        row.save()
        self.rows[name] = row
        return row

    def robot(self) -> None:
        """The robot, its build and how its drive is used."""
        team = self.team
        self.put("AGM", BatteryModel(team=team, code="AGM", name="AGM", chemistry="agm", capacity_ah=18,
                                     resistance_new_mohm=12, rest_curve=[[1.0, 12.85], [0.5, 12.3], [0.0, 11.8]])
                 )  # fmt: skip
        season = Season(team=team, name="26", starts_on=date(2026, 1, 1), ends_on=date(2026, 12, 31))
        robot = Robot(team=team, code="HERON", name="Heron", season=self.put("season", season))
        self.put("build", Build(team=team, robot=self.put("robot", robot), label="rev A", dated=date(2026, 2, 1),
                                battery_model=self.rows["AGM"], state=BuildState.CURRENT))  # fmt: skip
        profile = self.put("profile", DutyProfile(team=team, code="PUSH", name="Push and cruise"))
        for place, (name, lasts, draw, torque) in enumerate(
            (("cruise", 1.0, 0.6, 0.05), ("push", 0.5, 1.0, 0.5), ("idle", 0.5, 0.0, 0.0)), start=1
        ):
            self.put(name, DutyPhase(team=team, profile=profile, place=place, name=name, lasts_s=lasts,
                                     draw_frac=draw, torque_frac=torque))  # fmt: skip

    def wiring(self) -> None:
        """All circuits, on thick wire behind a breaker and on thin wire behind fuses."""
        thick, thin = self._wire("W25", 25.0), self._wire("W3", 3.3)
        breaker = self._device("MB120", "thermal", 120, heat_s=60, resistance_mohm=0.5)
        fuse = self._device("F40", "blade", 40, resistance_mohm=2.0)
        self.put("point", DevicePoint(team=self.team, device=breaker, multiple=1.1, opens_min_s=None, opens_max_s=None,
                                      status="sheet", source="its sheet"))  # fmt: skip
        for name, multiple, low, high in (("twice", 2.0, 10.0, 40.0), ("thrice", 3.0, 1.0, 3.0)):
            self.put(name, DevicePoint(team=self.team, device=fuse, multiple=multiple, opens_min_s=low,
                                       opens_max_s=high, status="sheet", source="its sheet"))  # fmt: skip
        motor = self._part("MOTOR", "motor", nominal_a=12, free_a=2, stall_a=130, spin_up_s=0.2)
        self._circuit("MAIN", self._part("BOARD", "board"), role=CircuitRole.MAIN, wire=thick, length_m=0.6,
                      device=breaker)  # fmt: skip
        branch = {"wire": thin, "length_m": 1.0, "device": fuse, "fed_from": self.rows["MAIN"]}
        self._circuit("DRIVE-1", motor, profile=self.rows["profile"], **branch)
        self._circuit("DRIVE-2", motor, profile=self.rows["profile"], **branch)
        self._circuit("PUMP", self._part("COMPRESSOR", "pneumatic"), continuous_a=10, peak_a=20, duty_frac=0.25,
                      cycle_s=4, **branch)  # fmt: skip
        self._circuit("CPU", self._part("CONTROLLER", "controller", nominal_a=1.5, minimum_v=6.8), **branch)
        self._circuit("RADIO", self._part("LINK", "radio", nominal_a=1.0, minimum_v=9.0), **branch)

    def batteries(self) -> None:
        """B01 with a reading and a capacity test, B02 with nothing."""
        team, model = self.team, self.rows["AGM"]
        first = self.put("B01", Battery(team=team, code="B01", model=model, acquired_on=date(2025, 1, 10)))
        self.put("B02", Battery(team=team, code="B02", model=model, acquired_on=date(2025, 1, 10)))
        self.put("reading", Reading(team=team, battery=first, taken_at=MEASURED, resistance_mohm=15,
                                    method=Method.TWO_PULSE, instrument="Meter A", rest_v=12.9, rest_h=8)
                 )  # fmt: skip
        self.put("test", CapacityTest(team=team, battery=first, tested_at=MEASURED, current_a=0.9, end_v=10.5,
                                      capacity_ah=16))  # fmt: skip

    def _wire(self, code: str, area: float) -> WireType:
        return self.put(code, WireType(team=self.team, code=code, name=code, size_typed=f"{area} mm2", area_mm2=area,
                                       insulation_class_c=105, strands=50))  # fmt: skip

    def _part(self, code: str, role: str, **values: Any) -> Component:
        name = code.capitalize()
        return self.put(
            code, Component(team=self.team, code=code, name=name, role=role, nominal_v=12, **values)
        )

    def _device(self, code: str, form: str, rating: float, **values: Any) -> ProtectiveDevice:
        return self.put(code, ProtectiveDevice(team=self.team, code=code, name=code, form=form, rating_a=rating,
                                               **values))  # fmt: skip

    def _circuit(self, code: str, component: Component, **values: Any) -> None:
        self.put(code, Circuit(team=self.team, build=self.rows["build"], code=code, name=f"To {code}",
                               component=component, **values))  # fmt: skip


class Simulator:
    """Stands in for the simulation; notes what it was asked for and may do something in the middle of it."""

    def __init__(self) -> None:
        self.asked: list[tuple[list[str], int]] = []
        self.meanwhile: Callable[[], object] = lambda: None

    def __call__(
        self, robot: Any, batteries: Sequence[Any], runs: int, progress: Any = None
    ) -> list[dict[str, Any]]:
        self.asked.append(([battery.label for battery in batteries], runs))
        if progress:
            progress(0.5)
        self.meanwhile()
        return [
            {"summary": {"brownout_frac": 0.25, "lowest_v": 7.0}, "trace": {"t_s": []}} for _ in batteries
        ]

    @property
    def simulated(self) -> list[str]:
        return [label for labels, _ in self.asked for label in labels]


def to_event(shop: MatchShop, ends_in_days: int = 10) -> Event:
    today = timezone.localdate()
    event = Event.objects.create(
        team=shop.scope.team, name=f"Meet {ends_in_days}", starts_on=today + timedelta(days=ends_in_days - 1),
        ends_on=today + timedelta(days=ends_in_days),
    )  # fmt: skip
    event.robots.add(shop["robot"])
    return event
