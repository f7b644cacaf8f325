"""A small workshop for the tests: a team with a season, robots, builds and the parts they are made of."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date
from itertools import count
from typing import Any

from builds.models import Build, BuildState, Circuit, Event, Robot, Season
from inventory.models import BatteryModel, Component, ProtectiveDevice, TerminalType, WireType
from shared.access import Scope
from shared.models import Role, Team
from tests.inventory.stockroom import make_scope, make_team, make_wire

_numbers = count(1)


@dataclass
class Workshop:
    scope: Scope
    season: Season
    wire: WireType
    ring: TerminalType
    blade: TerminalType
    fuse: ProtectiveDevice
    motor: Component
    block: BatteryModel

    @property
    def team(self) -> Team:
        return self.scope.team


def make_workshop(role: str = Role.LEAD) -> Workshop:
    team = make_team()
    season = Season.objects.create(
        team=team, name="This season", starts_on=date(2026, 1, 1), ends_on=date(2027, 12, 31)
    )
    return Workshop(
        scope=make_scope(team, role),
        season=season,
        wire=make_wire(team, "W25"),
        ring=_part(TerminalType, team, "RING", form="ring", area_min_mm2=1.5, area_max_mm2=2.5, hole_mm=5.3),
        blade=_part(TerminalType, team, "BLADE", form="blade", area_min_mm2=1.5, area_max_mm2=2.5),
        fuse=_part(ProtectiveDevice, team, "F30", form="blade", rating_a=30),
        motor=_part(Component, team, "MOT", role="motor", nominal_a=12, peak_a=40),
        block=_part(BatteryModel, team, "AGM18", chemistry="agm", capacity_ah=18),
    )


def _part(model: Any, team: Team, code: str, **values: object) -> Any:
    part = model(team=team, code=code, name=f"Part {code}", **values)
    part.full_clean()
    part.save()
    return part


def make_robot(shop: Workshop, code: str = "") -> Robot:
    code = code or f"R{next(_numbers)}"
    return Robot.objects.create(team=shop.team, code=code, name=f"Robot {code}", season=shop.season)


def make_build(
    shop: Workshop, robot: Robot | None = None, label: str = "rev A", state: str = BuildState.CURRENT
) -> Build:
    return Build.objects.create(
        team=shop.team,
        robot=robot or make_robot(shop),
        label=label,
        dated=date(2026, 9, 1),
        state=state,
        battery_model=shop.block,
    )


def make_circuit(shop: Workshop, build: Build, code: str, **values: Any) -> Circuit:
    given: dict[str, Any] = {
        "name": f"Circuit {code}",
        "wire": shop.wire,
        "length_m": 1.5,
        "device": shop.fuse,
        "component": shop.motor,
        "terminal_source": shop.ring,
        "terminal_load": shop.blade,
    }
    return Circuit.objects.create(team=shop.team, build=build, code=code, **{**given, **values})


def make_event(
    shop: Workshop, name: str, starts_on: date, robots: list[Robot], matches: int = 10, **values: Any
) -> Event:
    event = Event.objects.create(
        team=shop.team,
        name=name,
        starts_on=starts_on,
        ends_on=values.pop("ends_on", starts_on),
        matches_planned=matches,
        **values,
    )
    event.robots.set(robots)
    return event
