"""A team's robot for the load rules: one healthy circuit, in which a test changes the one thing it asks about."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import UTC, date, datetime
from typing import Any, TypeVar

from builds.models import Build, BuildState, Circuit, CircuitRole, Robot, Season
from compliance.models import SubjectKind
from compliance.rules.base import Finding
from compliance.sweeps.loads import findings
from inventory.models import (
    BatteryModel,
    Component,
    DevicePoint,
    Part,
    ProtectiveDevice,
    TerminalType,
    WireType,
)
from shared.electrical.gauges import parse_size
from shared.models import Team

P = TypeVar("P", bound=Part)
NOW = datetime(2026, 3, 1, 10, 0, tzinfo=UTC)


@dataclass
class WiringShop:
    """Makes parts and circuits of one team; what a test does not name is healthy."""

    team: Team
    season: Season
    build: Build
    made: int = 0

    @classmethod
    def open(cls, slug: str = "gull-point", **build: Any) -> WiringShop:
        team = Team.objects.create(name=slug, slug=slug)
        season = Season.objects.create(
            team=team, name="2026", starts_on=date(2026, 1, 1), ends_on=date(2026, 12, 31)
        )
        shop = cls(team, season, Build())
        shop.build = shop.robot("HERON", season, **build)
        return shop

    def robot(self, code: str, season: Season, **build: Any) -> Build:
        robot = Robot.objects.create(team=self.team, code=code, name=code, season=season)
        given = {"state": BuildState.CURRENT, "source_mohm": 20.0, "ambient_c": 30.0} | build
        return Build.objects.create(
            team=self.team, robot=robot, label="rev A", dated=date(2026, 2, 1), **given
        )

    def wire(self, size: str, class_c: float = 105, **more: Any) -> WireType:
        area = parse_size(size).area_mm2
        values = {"size_typed": size, "area_mm2": area, "insulation_class_c": class_c, "kind": "wire"} | more
        return self._part(WireType, **values)

    def device(self, rating_a: float, *, points: tuple[tuple[float, float | None, float | None], ...] = (),
               **more: Any) -> ProtectiveDevice:  # fmt: skip
        values = {"form": "blade", "rating_a": rating_a, "interrupt_a": 5000.0, "kind": "device"} | more
        device = self._part(ProtectiveDevice, **values)
        for multiple, low, high in points:
            DevicePoint.objects.create(
                team=self.team, device=device, multiple=multiple, opens_min_s=low, opens_max_s=high,
                status="sheet", source="its sheet",
            )  # fmt: skip
        return device

    def terminal(self, low: float = 0.05, high: float = 150.0, **more: Any) -> TerminalType:
        values = {"form": "ferrule", "area_min_mm2": low, "area_max_mm2": high, "kind": "terminal"} | more
        return self._part(TerminalType, **values)

    def component(self, role: str = "motor", **more: Any) -> Component:
        return self._part(Component, role=role, kind="component", **more)

    def battery(self, **more: Any) -> BatteryModel:
        values = {"chemistry": "agm", "capacity_ah": 18.0, "kind": "battery"} | more
        return self._part(BatteryModel, **values)

    def _part(self, model: type[P], **values: Any) -> P:
        self.made += 1
        code = f"{model.__name__}-{self.made}"
        made = model(team=self.team, code=code, name=code, **values)
        made.save()
        return made

    def circuit(self, *, build: Build | None = None, **values: Any) -> Circuit:
        """A healthy circuit: 12 AWG, 105 C, 1 m, 10 A behind 20 A; ``values`` say what is different."""
        healthy: dict[str, Any] = {
            "code": f"C{Circuit.objects.count()}", "name": "Test", "role": CircuitRole.BRANCH, "length_m": 1.0,
            "continuous_a": 10.0, "bundle_count": 2,
        }  # fmt: skip
        for name, make in (("wire", lambda: self.wire("12 AWG")), ("device", lambda: self.device(20.0))):
            if name not in values:
                healthy[name] = make()
        for end in ("terminal_source", "terminal_load"):
            if end not in values:
                healthy[end] = self.terminal()
        return Circuit.objects.create(team=self.team, build=build or self.build, **(healthy | values))

    def found(self, circuit: Circuit | None = None) -> dict[str, Finding]:
        """What the sweep says of one circuit (or of all), by the code of the rule."""
        every = [f for f in self.everything() if f.subject_kind == SubjectKind.CIRCUIT]
        return {f.rule_code: f for f in every if circuit is None or f.subject_id == circuit.pk}

    def of_build(self, build: Build | None = None) -> dict[str, Finding]:
        """What the sweep says of a build as a whole, by the code of the rule."""
        wanted = build or self.build
        return {
            f.rule_code: f
            for f in self.everything()
            if f.subject_kind == SubjectKind.BUILD and f.subject_id == wanted.pk
        }

    def everything(self) -> list[Finding]:
        """All that the sweep says of the team."""
        return findings([self.team.pk], now=NOW)[0]

    def said(self, circuit: Circuit) -> dict[str, str]:
        """Rule code -> severity of one circuit."""
        return {code: str(finding.severity) for code, finding in self.found(circuit).items()}
