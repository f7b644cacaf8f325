"""A league to measure with: many teams, robots, circuits, batteries and readings, some four in a hundred at fault."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from datetime import datetime, timedelta
from decimal import Decimal
from itertools import islice
from typing import Any, TypeVar

import numpy as np
from django.db.models import Model

from builds.models import Build, Circuit, Event, Robot, Season
from inventory.models import (
    Battery,
    BatteryModel,
    Bin,
    Component,
    DevicePoint,
    Offer,
    ProtectiveDevice,
    Reading,
    StockItem,
    Supplier,
    TerminalType,
    Unit,
    WireType,
)
from shared.models import Team

ROBOTS_PER_TEAM = 10
CIRCUITS, READINGS = 60, 60
FAULTY_FRAC = 0.04
SEED = 20261125
_BATCH = 2000
_FEEDS, _ESSENTIALS = 3, 4

Points = tuple[tuple[float, float | None, float | None], ...]
#: Time-current points, invented so that each device opens well before the next towards the battery.
FUSE_POINTS: Points = (
    (1.1, None, None),
    (1.35, 0.75, 600.0),
    (2.0, 0.15, 5.0),
    (6.0, 0.02, 0.1),
    (100.0, 0.01, 0.05),
)
LARGE_POINTS: Points = ((1.1, None, None), (2.0, 2.0, 20.0), (6.0, 0.3, 1.5), (12.0, 0.12, 0.5))
BREAKER_POINTS: Points = ((1.0, None, None), (2.0, 60.0, 300.0), (6.0, 8.0, 20.0), (12.0, 2.0, 6.0))

M = TypeVar("M", bound=Model)


@dataclass(frozen=True)
class Kit:
    """One team with what its robots are made of."""

    team: Team
    season: Season
    thin: WireType
    wire: WireType
    heavy: WireType
    ring: TerminalType
    wide: TerminalType
    lug: TerminalType
    fuse: ProtectiveDevice
    large: ProtectiveDevice
    breaker: ProtectiveDevice
    motor: Component
    board: Component
    controller: Component
    radio: Component
    beacon: Component
    battery: BatteryModel


def build_league(*, robots: int, batteries: int, now: datetime) -> None:
    """Fill an empty database."""
    rng = np.random.default_rng(SEED)
    kits = [make_kit(number, now) for number in range(max(1, -(-robots // ROBOTS_PER_TEAM)))]
    owners = [kits[number % len(kits)] for number in range(robots)]
    machines = save(
        Robot(team=kit.team, code=f"R{n}", name=f"Robot {n}", season=kit.season)
        for n, kit in enumerate(owners)
    )
    builds = save(
        Build(
            team_id=robot.team_id,
            robot=robot,
            label="rev A",
            dated=now.date(),
            state="current",
            battery_model=kit.battery,
            source_mohm=15.0,
        )
        for robot, kit in zip(machines, owners, strict=True)
    )
    pairs = list(zip(builds, owners, strict=True))
    mains = save(main_of(build, kit) for build, kit in pairs)
    feeds = save(
        feed_of(build, kit, n, mains[i]) for i, (build, kit) in enumerate(pairs) for n in range(_FEEDS)
    )
    save(
        circuit
        for i, (build, kit) in enumerate(pairs)
        for circuit in essentials_of(build, kit, feeds[i * _FEEDS])
    )
    branches = CIRCUITS - 1 - _FEEDS - _ESSENTIALS
    save(
        branch_of(build, kit, n, feeds[i * _FEEDS + n % _FEEDS], rng)
        for i, (build, kit) in enumerate(pairs)
        for n in range(branches)
    )
    make_batteries(kits, batteries, now, rng)
    make_stock(kits, machines, now)


def save(rows: Iterator[M]) -> list[M]:
    """Write rows in batches; returns them with their keys."""
    done: list[M] = []
    while batch := list(islice(rows, _BATCH)):
        done += type(batch[0])._default_manager.bulk_create(batch)
    return done


@dataclass(frozen=True)
class Maker:
    """Makes the parts of one team."""

    team: Team

    def part(self, model: type[M], code: str, **values: Any) -> M:
        made = model(team=self.team, code=code, name=code, **values)
        made.save()
        return made

    def wire(self, code: str, area: float) -> WireType:
        return self.part(
            WireType, code, kind="wire", unit=Unit.METRE, size_typed=f"{area} mm2", area_mm2=area,
            insulation_class_c=105.0,
        )  # fmt: skip

    def ring(self, code: str, low: float, high: float, hole: float) -> TerminalType:
        return self.part(
            TerminalType,
            code,
            kind="terminal",
            form="ring",
            area_min_mm2=low,
            area_max_mm2=high,
            hole_mm=hole,
        )

    def device(self, code: str, form: str, rating: float, points: Points) -> ProtectiveDevice:
        made = self.part(
            ProtectiveDevice,
            code,
            kind="device",
            form=form,
            rating_a=rating,
            interrupt_a=5000.0,
            voltage_v=32.0,
        )
        DevicePoint.objects.bulk_create(
            DevicePoint(
                team=self.team, device=made, multiple=multiple, opens_min_s=low, opens_max_s=high, status="memory",
                source="Invented",
            )
            for multiple, low, high in points
        )  # fmt: skip
        return made

    def component(self, role: str, **values: Any) -> Component:
        return self.part(Component, role.upper(), kind="component", role=role, **values)


def make_kit(number: int, now: datetime) -> Kit:
    team = Team.objects.create(name=f"Team {number}", slug=f"team-{number}")
    season = Season.objects.create(
        team=team,
        name=f"{now.year}",
        starts_on=now.date() - timedelta(days=100),
        ends_on=now.date() + timedelta(days=265),
    )
    m = Maker(team)
    return Kit(
        team=team,
        season=season,
        thin=m.wire("W05", 0.5),
        wire=m.wire("W25", 2.5),
        heavy=m.wire("W50", 50.0),
        ring=m.ring("RING5", 0.5, 2.5, 5.3),
        wide=m.ring("RING8", 4.0, 6.0, 8.4),
        lug=m.ring("LUG8", 35.0, 50.0, 8.4),
        fuse=m.device("F10", "blade", 10.0, FUSE_POINTS),
        large=m.device("F80", "bolt", 80.0, LARGE_POINTS),
        breaker=m.device("CB120", "thermal", 120.0, BREAKER_POINTS),
        motor=m.component("motor", nominal_a=1.2, peak_a=5.0),
        board=m.component("board"),
        controller=m.component("controller", nominal_v=12.0, nominal_a=1.0, minimum_v=6.5),
        radio=m.component("radio", nominal_v=12.0, nominal_a=0.8, minimum_v=6.5),
        beacon=m.component("beacon", nominal_v=12.0, nominal_a=0.3),
        battery=m.part(BatteryModel, "AGM18", kind="battery", chemistry="agm", capacity_ah=18.0, end_v=10.5),
    )


def main_of(build: Build, kit: Kit) -> Circuit:
    return Circuit(
        team=kit.team, build=build, code="MAIN", name="Main feed", role="main", component=kit.board,
        device=kit.breaker, wire=kit.heavy,
        length_m=0.5, terminal_source=kit.lug, stud_source_mm=8.0, terminal_load=kit.lug, stud_load_mm=8.0,
    )  # fmt: skip


def feed_of(build: Build, kit: Kit, number: int, main: Circuit) -> Circuit:
    return Circuit(
        team=kit.team, build=build, code=f"FEED{number}", name="Feed", role="feed", fed_from=main,
        device=kit.large, wire=kit.heavy, length_m=0.4, terminal_source=kit.lug, stud_source_mm=8.0,
        terminal_load=kit.lug, stud_load_mm=8.0,
    )  # fmt: skip


def essentials_of(build: Build, kit: Kit, feed: Circuit) -> list[Circuit]:
    """What every robot needs beside motors: main controller, radio, status beacon and a data bus."""
    ends: dict[str, Any] = {"terminal_source": kit.ring, "stud_source_mm": 5.0, "terminal_load": kit.ring,
                            "stud_load_mm": 5.0, "wire": kit.wire, "length_m": 0.6}  # fmt: skip
    powered = [
        Circuit(
            team=kit.team, build=build, code=component.code, name=component.role, fed_from=feed, device=kit.fuse,
            component=component, **ends,
        )
        for component in (kit.controller, kit.radio, kit.beacon)
    ]  # fmt: skip
    bus = Circuit(
        team=kit.team, build=build, code="BUS", name="Data bus", role="signal", wire=kit.thin, length_m=2.0
    )
    return [*powered, bus]


def branch_of(build: Build, kit: Kit, number: int, feed: Circuit, rng: np.random.Generator) -> Circuit:
    """A branch to a motor; a few in a hundred have one thing wrong."""
    values: dict[str, Any] = {
        "device": kit.fuse,
        "wire": kit.wire,
        "length_m": float(np.round(rng.uniform(0.3, 1.4), 2)),
        "terminal_source": kit.ring,
        "terminal_load": kit.ring,
    }
    if rng.random() < FAULTY_FRAC:
        faults: list[dict[str, Any]] = [
            {"device": kit.large},
            {"wire": kit.thin, "continuous_a": 9.0},
            {"length_m": None},
            {"terminal_load": kit.wide},
            {"length_m": 25.0},
        ]
        values |= faults[int(rng.integers(len(faults)))]
    return Circuit(
        team=kit.team, build=build, code=f"B{number}", name="Branch", fed_from=feed, component=kit.motor,
        duty_frac=0.2, cycle_s=10.0, stud_source_mm=5.0, stud_load_mm=5.0, bundle_count=3, **values,
    )  # fmt: skip


def make_batteries(kits: list[Kit], number: int, now: datetime, rng: np.random.Generator) -> None:
    """Batteries read every ten days; a few in a hundred rise by half."""
    made = save(
        Battery(
            team=kits[n % len(kits)].team,
            code=f"A{n}",
            model=kits[n % len(kits)].battery,
            acquired_on=now.date() - timedelta(days=700),
            cycles_at_intake=10,
        )
        for n in range(number)
    )
    taken = [now - timedelta(days=10 * (READINGS - i), hours=3) for i in range(READINGS)]
    rise = np.linspace(0.0, 1.0, READINGS)

    def readings() -> Iterator[Reading]:
        for battery in made:
            new = rng.uniform(11.0, 14.0)
            grows = 0.5 if rng.random() < FAULTY_FRAC else 0.0
            values = new * (1 + grows * rise) + rng.normal(0.0, 0.15, READINGS)
            for at, mohm in zip(taken, np.round(values, 2).tolist(), strict=True):
                yield Reading(
                    team_id=battery.team_id, battery=battery, taken_at=at, resistance_mohm=mohm, method="ac1k",
                    instrument="Bench 1", rest_v=12.9, rest_h=8.0, temperature_c=21.0,
                )  # fmt: skip

    save(readings())


def make_stock(kits: list[Kit], machines: list[Robot], now: datetime) -> None:
    """Some of everything on the shelf, an offer for it, and an event in twelve days."""
    for kit in kits:
        shelf = Bin.objects.create(team=kit.team, code="A1")
        supplier = Supplier.objects.create(team=kit.team, name="Harbour Supplies")
        counted = (kit.ring, kit.wide, kit.lug, kit.fuse, kit.large, kit.breaker, kit.motor)
        StockItem.objects.bulk_create(
            StockItem(team=kit.team, part=part, bin=shelf, quantity=Decimal(5 * n))
            for n, part in enumerate(counted)
        )
        Offer.objects.bulk_create(
            Offer(
                team=kit.team, part=part, supplier=supplier, price=Decimal("2.50"), pack_size=Decimal(10),
                lead_time_days=5,
            )
            for part in counted
        )  # fmt: skip
        type(kit.fuse).objects.filter(pk=kit.fuse.pk).update(minimum_stock=Decimal(50))
        event = Event.objects.create(
            team=kit.team,
            name="Winter regional",
            starts_on=now.date() + timedelta(days=12),
            ends_on=now.date() + timedelta(days=13),
            matches_planned=10,
        )
        event.robots.set(robot for robot in machines if robot.team_id == kit.team.pk)
