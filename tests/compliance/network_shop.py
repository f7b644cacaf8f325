"""A whole robot for the rules of the network: battery, main feed, board, and what a test hangs on it.

Joints and devices have next to no resistance here, so that a test can say by hand what the wires lose.
"""

from __future__ import annotations

from typing import Any

from builds.models import Build, Circuit, CircuitRole
from compliance.rules.base import Finding
from inventory.models import ProtectiveDevice
from tests.compliance.wiring_shop import WiringShop

OPEN_V, INTERNAL_MOHM = 12.8, 10.0
#: 4 AWG, 21.15 mm2, stranded copper: 17.241 x 1.02 / 21.15 mohm/m at 20 C (ASTM B258, IEC 60028).
MAIN_MOHM_PER_M = 17.241 * 1.02 / 21.1506
NEXT_TO_NOTHING = 1e-6

Points = tuple[tuple[float, float | None, float | None], ...]
#: Points of ISO 8820-3 and SAE J1284 blade fuses: 110 and 135 % seen, the others from memory.
BLADE: Points = (
    (1.10, None, None), (1.35, 0.75, 600.0), (1.6, 0.25, 50.0), (2.0, 0.15, 5.0), (3.5, 0.04, 0.5), (6.0, 0.02, 0.1),
)  # fmt: skip
#: A manual-reset thermal breaker of the 120 A class, from memory, with a point beyond for the fault of this battery.
THERMAL: Points = (
    (1.0, None, None), (1.5, 60.0, 300.0), (2.0, 10.0, 60.0), (3.0, 5.0, 20.0), (4.0, 2.0, 10.0), (6.0, 1.0, 4.0),
    (12.0, 0.25, 1.0),
)  # fmt: skip


class NetworkShop(WiringShop):
    """``main`` feeds the board; every circuit made here is fed from it unless told otherwise."""

    main: Circuit

    @classmethod
    def start(cls, slug: str = "gull-point", **main: Any) -> NetworkShop:
        shop = cls.open(slug, source_mohm=None, ambient_c=20.0)
        assert isinstance(shop, NetworkShop)
        shop.build.battery_model = shop.battery(
            full_rest_v=OPEN_V, resistance_new_mohm=INTERNAL_MOHM, nominal_v=12.0
        )
        shop.build.save()
        shop.main = shop.board(shop.build, **main)
        return shop

    def board(self, build: Build, **main: Any) -> Circuit:
        given: dict[str, Any] = {
            "code": "MAIN", "build": build, "role": CircuitRole.MAIN, "wire": self.wire("4 AWG"), "length_m": 0.5,
            "device": self.fuse(120.0, THERMAL, form="thermal"), "component": self.component("board"),
            "continuous_a": None, "joints_mohm": NEXT_TO_NOTHING,
        }  # fmt: skip
        return super().circuit(**(given | main))

    def fuse(self, rating_a: float, points: Points = BLADE, **more: Any) -> ProtectiveDevice:
        return self.device(rating_a, points=points, resistance_mohm=NEXT_TO_NOTHING, **more)

    def circuit(self, **values: Any) -> Circuit:
        given: dict[str, Any] = {"fed_from": self.main, "joints_mohm": NEXT_TO_NOTHING}
        if "device" not in values:
            given["device"] = self.fuse(20.0)
        return super().circuit(**(given | values))

    def load(self, code: str, amps: float, *, role: str = "other", peak_a: float | None = None, draw: str = "current",
             minimum_v: float | None = None, **values: Any) -> Circuit:  # fmt: skip
        """A load at constant current, at the end of next to no wire unless told otherwise."""
        component = self.component(
            role,
            nominal_v=12.0,
            nominal_a=amps,
            peak_a=peak_a,
            draw=draw,
            minimum_v=minimum_v,
        )
        given = {
            "code": code, "component": component, "continuous_a": None, "length_m": 1e-6, "wire": self.wire("4 AWG"),
            "device": self.fuse(150.0),
        }  # fmt: skip
        return self.circuit(**(given | values))

    def whole(self) -> None:
        """Everything else that every robot needs."""
        for code, role in (
            ("CTRL", "controller"),
            ("RADIO", "radio"),
            ("BEACON", "beacon"),
            ("M-1", "motor"),
        ):
            self.load(code, 0.1, role=role, device=self.fuse(5.0), minimum_v=7.0)
        super().circuit(code="BUS", role=CircuitRole.SIGNAL, device=None, component=None)

    def of_circuit(self, circuit: Circuit) -> set[str]:
        return set(self.found(circuit))

    def one(self, circuit: Circuit, code: str) -> Finding | None:
        return self.found(circuit).get(code)
