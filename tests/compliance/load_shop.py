"""A workshop for the load rules: one build, wires and devices by size, and what a sweep says of a circuit."""

from __future__ import annotations

from dataclasses import dataclass, field
from datetime import UTC, datetime
from typing import Any

from builds.models import Build, Circuit, Robot
from compliance.models import RulePack, RuleSetting, SubjectKind
from compliance.rules.base import Finding
from compliance.sweeps.loads import findings
from inventory.models import DevicePoint, ProtectiveDevice, TerminalType, Unit, WireType
from shared.electrical.gauges import parse_size
from tests.builds.workshop import Workshop, make_build, make_circuit, make_robot, make_workshop

NOW = datetime(2026, 11, 25, 12, 0, tzinfo=UTC)


@dataclass
class LoadShop:
    """A robot with one build; ``circuit`` makes a circuit in which, unless told otherwise, every rule holds."""

    shop: Workshop = field(default_factory=make_workshop)
    build: Build = field(init=False)

    def __post_init__(self) -> None:
        self.build = self.new_build()

    def new_build(self, robot: Robot | None = None) -> Build:
        build = make_build(self.shop, robot or make_robot(self.shop))
        Build.objects.filter(pk=build.pk).update(source_mohm=20.0)
        build.refresh_from_db()
        return build

    def wire(self, size: str = "12 AWG", class_c: float = 105.0, **values: Any) -> WireType:
        code = f"W{size.replace(' ', '')}-{class_c:g}"
        given = {"name": f"Wire {size}", "size_typed": size, "area_mm2": parse_size(size).area_mm2}
        given |= {"unit": Unit.METRE, "insulation_class_c": class_c, **values}
        return WireType.objects.get_or_create(team=self.shop.team, code=code, kind="wire", defaults=given)[0]

    def device(self, rating: float = 30.0, code: str = "", **values: Any) -> ProtectiveDevice:
        given = {"name": "A device", "form": "blade", "rating_a": rating, "interrupt_a": 1000.0, **values}
        code = code or f"D{rating:g}"
        return ProtectiveDevice.objects.get_or_create(
            team=self.shop.team, code=code, kind="device", defaults=given
        )[0]

    def end(self, code: str = "ANY", least: float = 0.1, most: float = 120.0, **values: Any) -> TerminalType:
        given = {
            "name": "A terminal",
            "form": "ferrule",
            "area_min_mm2": least,
            "area_max_mm2": most,
            **values,
        }
        return TerminalType.objects.get_or_create(
            team=self.shop.team, code=code, kind="terminal", defaults=given
        )[0]

    def points(self, device: ProtectiveDevice, *rows: tuple[float, float | None, float | None]) -> None:
        for multiple, low, high in rows:
            DevicePoint.objects.create(
                team=self.shop.team, device=device, multiple=multiple, opens_min_s=low, opens_max_s=high,
                status="sheet", source="its sheet",
            )  # fmt: skip

    def circuit(self, code: str = "C1", build: Build | None = None, **values: Any) -> Circuit:
        given: dict[str, Any] = {
            "wire": self.wire(),
            "device": self.device(),
            "component": None,
            "length_m": 1.0,
            "continuous_a": 10.0,
            "terminal_source": self.end(),
            "terminal_load": self.end(),
            **values,
        }
        return make_circuit(self.shop, build or self.build, code, **given)

    def pack(self, rule: str, *, season: bool = False, **setting: Any) -> RulePack:
        pack, _ = RulePack.objects.get_or_create(
            team=self.shop.team, name=f"Pack {season}", season=self.shop.season if season else None
        )
        RuleSetting.objects.create(team=self.shop.team, pack=pack, rule_code=rule, **setting)
        return pack

    def found(self) -> list[Finding]:
        """What is said of circuits; what is said of the build as a whole is another test's matter."""
        every = findings([self.shop.team.pk], now=NOW)[0]
        return [f for f in every if f.subject_kind == SubjectKind.CIRCUIT]

    def said(self) -> dict[str, str]:
        """Rule -> severity, of a shop in which no rule speaks twice."""
        told = {finding.rule_code: finding.severity for finding in self.found()}
        assert len(told) == len(self.found())
        return told

    def one(self) -> Finding:
        (only,) = self.found()
        return only
