"""A robot for the studies: a battery, a main feed, two drive motors, an arm, a controller and a radio."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import UTC, date, datetime
from decimal import Decimal
from typing import Any

from builds.models import Build, Circuit
from inventory.models import Battery, BatteryModel, Offer, Reading, Supplier, WireType
from shared.access import Scope, system_scope
from tests.compliance.wiring_shop import WiringShop

NOON = datetime(2026, 3, 1, 12, 0, tzinfo=UTC)


@dataclass
class StudyShop:
    """``radio`` hangs on a long thin wire; what a test does not change has volts to spare with a new battery."""

    wiring: WiringShop
    model: BatteryModel
    circuits: dict[str, Circuit]

    @classmethod
    def open(cls, radio_m: float = 1.0, **build: Any) -> StudyShop:
        wiring = WiringShop.open(source_mohm=None, **build)
        model = wiring.battery(resistance_new_mohm=12.0, full_rest_v=12.8)
        wiring.build.battery_model = model
        wiring.build.save()
        shop = cls(wiring, model, {})
        shop.wire_up(wiring.build, radio_m)
        return shop

    @property
    def build(self) -> Build:
        return self.wiring.build

    @property
    def scope(self) -> Scope:
        return system_scope(self.wiring.team)

    def wire_up(self, build: Build, radio_m: float) -> None:
        w = self.wiring
        thick, middle, thin = w.wire("4 AWG"), w.wire("12 AWG"), w.wire("22 AWG")
        drive = w.component("motor", nominal_v=12.0, nominal_a=8.0, peak_a=60.0)
        arm = w.component("motor", nominal_v=12.0, nominal_a=5.0, peak_a=30.0)
        controller = w.component("controller", nominal_a=1.5, nominal_v=12.0, minimum_v=6.5)
        radio = w.component("radio", nominal_a=1.0, nominal_v=12.0, minimum_v=9.0)
        given = {"continuous_a": None, "joints_mohm": 2.0, "build": build}
        main = self.add(
            "MAIN", wire=thick, role="main", length_m=0.6, device=w.device(120, resistance_mohm=1.0), **given
        )
        for code, part in (("DRIVE-1", drive), ("DRIVE-2", drive), ("ARM-1", arm)):
            self.add(code, fed_from=main, wire=middle, component=part, **given)
        self.add("CONTROLLER", fed_from=main, wire=thin, component=controller, length_m=0.4, **given)
        self.add("RADIO", fed_from=main, wire=thin, component=radio, length_m=radio_m, **given)

    def add(self, code: str, **values: Any) -> Circuit:
        self.circuits[code] = self.wiring.circuit(code=code, **values)
        return self.circuits[code]

    def offer(self, wire: WireType, price: str, pack: str = "10") -> Offer:
        supplier, _ = Supplier.objects.get_or_create(team=self.wiring.team, name="Quay Wires")
        return Offer.objects.create(team=self.wiring.team, part=wire, supplier=supplier, price=Decimal(price),
                                    pack_size=Decimal(pack), lead_time_days=3)  # fmt: skip

    def battery(self, code: str, mohm: float | None = None, **values: Any) -> Battery:
        battery = Battery.objects.create(
            team=self.wiring.team, code=code, model=self.model, acquired_on=date(2025, 1, 1), **values
        )
        if mohm is not None:
            self.reading(battery, mohm)
        return battery

    def reading(self, battery: Battery, mohm: float, **values: Any) -> Reading:
        given = {"taken_at": NOON, "method": "pulse2", "instrument": "Bench load"}
        return Reading.objects.create(
            team=self.wiring.team, battery=battery, resistance_mohm=mohm, **(given | values)
        )
