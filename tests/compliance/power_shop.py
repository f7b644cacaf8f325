"""A robot for the power pages: main feed, two drive motors, an arm on a thin lead, controller, regulator, radio."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import UTC, date, datetime, timedelta
from typing import Any

from builds.models import Build, Circuit, CircuitRole
from inventory.models import Battery, BatteryModel, Component, Method, ProtectiveDevice, Reading, WireType
from shared.access import Scope
from shared.electrical.gauges import parse_size
from shared.models import Role
from tests.builds.workshop import Workshop, make_build, make_circuit, make_workshop

TAKEN = datetime(2026, 11, 20, 18, 0, tzinfo=UTC)
CURVE = [[1.0, 12.85], [0.8, 12.6], [0.5, 12.2], [0.2, 11.9], [0.0, 11.6]]


@dataclass
class PowerShop:
    """The workshop with one solvable build; ``battery`` adds one that was measured."""

    shop: Workshop
    build: Build
    model: BatteryModel
    circuits: dict[str, Circuit]

    @property
    def scope(self) -> Scope:
        return self.shop.scope

    def battery(self, code: str, mohm: float | None) -> Battery:
        battery = Battery.objects.create(
            team=self.shop.team,
            code=code,
            model=self.model,
            acquired_on=date(2026, 1, 2),
            in_service_on=date(2026, 1, 5),
        )
        if mohm is None:
            return battery
        for n in range(3):
            Reading.objects.create(
                team=self.shop.team,
                battery=battery,
                taken_at=TAKEN + timedelta(hours=n),
                resistance_mohm=mohm,
                method=Method.LOAD_STEP,
                instrument="Bench tester",
                rest_v=12.85,
                rest_h=8,
                temperature_c=22,
            )
        return battery


def wire(shop: Workshop, size: str) -> WireType:
    made: WireType = _one(
        WireType,
        shop,
        "W" + size.replace(" ", ""),
        size_typed=size,
        area_mm2=parse_size(size).area_mm2,
        insulation_class_c=105,
        unit="m",
    )
    return made


def _one(model: Any, shop: Workshop, code: str, **values: Any) -> Any:
    found = model.objects.filter(team=shop.team, code=code).first()
    if found is None:
        found = model(team=shop.team, code=code, name=f"Part {code}", **values)
        found.full_clean()
        found.save()
    return found


def make_power_shop(role: str = Role.LEAD) -> PowerShop:
    shop = make_workshop(role)
    model = _one(
        BatteryModel, shop, "B18", chemistry="agm", capacity_ah=18, resistance_new_mohm=14, rest_curve=CURVE
    )
    build = make_build(shop)
    build.battery_model = model
    build.save()
    breaker = _one(
        ProtectiveDevice, shop, "MB120", form="thermal", rating_a=120, interrupt_a=3000, resistance_mohm=0.5
    )
    motor = _one(Component, shop, "DRIVE-MOTOR", role="motor", nominal_v=12, nominal_a=20, peak_a=110)
    brain = _one(Component, shop, "BRAIN", role="controller", nominal_v=12, nominal_a=1.2, minimum_v=6.8)
    regulator = _one(
        Component,
        shop,
        "REG5",
        role="regulator",
        nominal_v=12,
        nominal_a=2,
        output_v=5,
        efficiency_frac=0.85,
        output_max_a=6,
    )
    radio = _one(Component, shop, "LINK", role="radio", nominal_v=5, nominal_a=1, minimum_v=4.6)
    shop.motor = motor
    main = make_circuit(
        shop, build, "MAIN", role=CircuitRole.MAIN, wire=wire(shop, "4 AWG"), device=breaker, component=None,
        length_m=0.6, continuous_a=60, peak_a=115,
    )  # fmt: skip
    circuits = {"MAIN": main}

    def add(code: str, size: str, length_m: float, **values: Any) -> None:
        given = {"fed_from": main, "wire": wire(shop, size), "length_m": length_m, **values}
        circuits[code] = make_circuit(shop, build, code, **given)

    for n in (1, 2):
        add(f"DRIVE-{n}", "10 AWG", 0.9, continuous_a=20, peak_a=90, duty_frac=0.2, cycle_s=8)
    add("ARM-1", "16 AWG", 2.4, continuous_a=12, peak_a=60, duty_frac=0.2, cycle_s=6)
    add("BRAIN", "18 AWG", 0.5, component=brain, continuous_a=1.2, critical=True)
    add("REG", "14 AWG", 0.5, component=regulator, role=CircuitRole.FEED, continuous_a=1, peak_a=2)
    add("RADIO", "18 AWG", 0.9, component=radio, fed_from=circuits["REG"], continuous_a=1, critical=True)
    return PowerShop(shop, build, model, circuits)
