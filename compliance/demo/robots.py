"""Robots of the demo teams: each build is put together from circuit templates in which every rule holds."""

from __future__ import annotations

from dataclasses import dataclass, field, replace
from decimal import Decimal
from random import Random
from typing import Any

from builds.models import Build, BuildLine, BuildState, Circuit, CircuitRole, DutyProfile, Robot, Season
from builds.models.circuits import mechanism_of
from compliance.demo.catalogue import COMPONENTS, Catalogue
from compliance.demo.clock import SEASONS, Clock
from compliance.demo.duties import USED, make_profiles
from compliance.demo.faults import LACKING, WIRING
from compliance.demo.feeds import NO_BUS, SHARED, VISION
from compliance.demo.people import GULL, SALT, TERN
from compliance.demo.rows import put_many
from inventory.models import BatteryModel, Component, ProtectiveDevice, TerminalType, WireType
from shared.access import Scope
from shared.records import record_save


@dataclass(frozen=True)
class Template:
    """One circuit as a careful builder would wire it."""

    code: str
    name: str
    wire: str
    device: str | None
    component: str | None
    length_m: float
    ends: tuple[str, str]
    studs: tuple[float | None, float | None] = (None, None)
    fed_from: str | None = "MAIN"
    role: str = CircuitRole.BRANCH
    duty: tuple[float, float] | None = None
    bundle: int = 2
    critical: bool = False
    amps: tuple[float, float] | None = None


@dataclass(frozen=True)
class Plan:
    """A robot of the demo world: which season it was made for and what it carries."""

    code: str
    name: str
    season: int
    build: str
    dated: int
    motors: tuple[int, int, int]
    sensors: int
    air: bool = True
    state: str = BuildState.CURRENT
    archived: bool = False
    past_builds: tuple[tuple[str, int], ...] = field(default=())


@dataclass(frozen=True)
class Kit:
    """What the team's circuits are made of and follow."""

    parts: Catalogue
    profiles: dict[str, DutyProfile]


PLANS: dict[str, tuple[Plan, ...]] = {
    GULL: (
        Plan("KITTIWAKE", "Kittiwake", 2, "rev C", -30, (4, 4, 4), 6, past_builds=(("rev B", -120),)),
        Plan("PETREL", "Petrel", 1, "rev D", -90, (4, 4, 3), 4),
        Plan("AUK", "Auk", 0, "final", -600, (4, 0, 3), 3, state=BuildState.PAST, archived=True),
    ),
    TERN: (
        Plan("SANDPIPER", "Sandpiper", 2, "rev A", -40, (4, 4, 3), 5),
        Plan("DUNLIN", "Dunlin", 1, "rev B", -210, (4, 0, 3), 4),
    ),
    SALT: (
        Plan("CURLEW", "Curlew", 2, "rev A", -25, (4, 4, 2), 5),
        Plan("AVOCET", "Avocet", 2, "rev A", -60, (4, 0, 4), 4, air=False),
        Plan("GODWIT", "Godwit", 0, "final", -610, (4, 0, 2), 3, state=BuildState.PAST, archived=True),
    ),
}


def make_seasons(scope: Scope, clock: Clock) -> list[Season]:
    """The past two seasons and the current one."""
    seasons = [
        Season(team=scope.team, name=name, starts_on=clock.day(first), ends_on=clock.day(last))
        for name, first, last in SEASONS
    ]
    return put_many(scope, seasons)


def make_robots(
    scope: Scope, parts: Catalogue, seasons: list[Season], clock: Clock, chance: Random
) -> list[Robot]:
    """The team's robots with their builds; returns those that still run."""
    running = []
    kit = Kit(parts, make_profiles(scope))
    for plan in PLANS[scope.team.slug]:
        robot = Robot(
            team=scope.team,
            code=plan.code,
            name=plan.name,
            season=seasons[plan.season],
            archived=plan.archived,
        )
        record_save(scope=scope, instance=robot)
        for label, dated in plan.past_builds:
            _make_build(scope, kit, robot, plan, (label, dated, BuildState.PAST), clock, chance)
        _make_build(scope, kit, robot, plan, (plan.build, plan.dated, plan.state), clock, chance)
        if not plan.archived:
            running.append(robot)
    return running


def _make_build(
    scope: Scope,
    kit: Kit,
    robot: Robot,
    plan: Plan,
    what: tuple[str, int, str],
    clock: Clock,
    chance: Random,
) -> None:
    label, dated, state = what
    build = Build(
        team=scope.team,
        robot=robot,
        label=label,
        dated=clock.day(dated),
        state=state,
        battery_model=kit.parts.get_as(BatteryModel, "AGM18"),
        ambient_c=30.0,
        source_mohm=19.0,
    )
    record_save(scope=scope, instance=build)
    templates = templates_of(plan, chance)
    if state == BuildState.CURRENT:
        templates = _as_wired(templates, (scope.team.slug, plan.code))
    faults = WIRING if state == BuildState.CURRENT else {}
    made: dict[str, Circuit] = {}
    for level in _levels(templates):
        circuits = [
            _circuit(build, t, kit, made, faults.get((scope.team.slug, plan.code, t.code), {})) for t in level
        ]
        for circuit in put_many(scope, circuits):
            made[circuit.code] = circuit
    if state == BuildState.CURRENT:
        _make_lines(scope, kit.parts, build, plan.code)


def _as_wired(templates: list[Template], robot: tuple[str, str]) -> list[Template]:
    """What this robot has besides, leaves out, and hangs on a feed of its own."""
    wired = [t for t in templates if not (t.code == "BUS" and robot in NO_BUS)]
    if robot in VISION:
        wired.append(
            Template(
                "VISION", "Vision computer", "W18P", "BL05", "VISION", 0.4, ("FER-18", "FER-18"), bundle=4
            )
        )
    feed = SHARED.get(robot)
    if feed is None:
        return wired
    moved = [replace(t, fed_from=feed.code) if t.code in feed.feeds else t for t in wired]
    return [*moved, Template(feed.code, feed.name, feed.wire, feed.device, None, feed.length_m, feed.ends,
                             role=CircuitRole.FEED)]  # fmt: skip


def _levels(templates: list[Template]) -> list[list[Template]]:
    """From the battery outwards, so that a circuit is made after the one that feeds it."""
    levels: list[list[Template]] = []
    placed: set[str | None] = {None}
    waiting = templates
    while waiting:
        levels.append([t for t in waiting if t.fed_from in placed])
        placed |= {t.code for t in levels[-1]}
        waiting = [t for t in waiting if t.code not in placed]
    return levels


def _circuit(build: Build, t: Template, kit: Kit, made: dict[str, Circuit], fault: dict[str, Any]) -> Circuit:
    running, peak = t.amps or (COMPONENTS[t.component][2:4] if t.component else (None, None))
    values: dict[str, Any] = {
        "wire": t.wire,
        "device": t.device,
        "length_m": t.length_m,
        "continuous_a": running,
        "peak_a": peak,
        "terminal_source": t.ends[0],
        "terminal_load": t.ends[1],
        "stud_source_mm": t.studs[0],
        "stud_load_mm": t.studs[1],
        "bundle_count": t.bundle,
    } | fault
    parts, (profile, limit_a) = kit.parts, USED.get(mechanism_of("", t.code), (None, None))
    return Circuit(
        team=build.team,
        build=build,
        code=t.code,
        name=t.name,
        role=t.role,
        fed_from=made[t.fed_from] if t.fed_from else None,
        wire=parts.get_as(WireType, values.pop("wire")),
        device=parts.get_as(ProtectiveDevice, values.pop("device")),
        component=parts.get_as(Component, t.component),
        terminal_source=parts.get_as(TerminalType, values.pop("terminal_source")),
        terminal_load=parts.get_as(TerminalType, values.pop("terminal_load")),
        duty_frac=t.duty[0] if t.duty else None,
        cycle_s=t.duty[1] if t.duty else None,
        critical=t.critical,
        profile=kit.profiles.get(profile) if profile else None,
        limit_a=limit_a,
        **values,
    )


def _make_lines(scope: Scope, parts: Catalogue, build: Build, robot: str) -> None:
    """Further parts of a build, all fitted but for what the world is told to lack."""
    wanted = {"STRAP": (2, 0), "BATT-PLUG": (1, 0), "BOOT": (2, 0), "LENS": (1, 0), "CLAMP": (20, 0)}
    for code, lacking in LACKING.get((scope.team.slug, robot), {}).items():
        wanted[code] = (wanted.get(code, (0, 0))[0] + lacking, lacking)
    lines = [
        BuildLine(
            team=scope.team,
            build=build,
            part=parts[code],
            quantity=Decimal(count),
            installed=Decimal(count - lacking),
        )
        for code, (count, lacking) in wanted.items()
    ]
    put_many(scope, lines)


def templates_of(plan: Plan, chance: Random) -> list[Template]:
    """All circuits of a robot, lengths varied a little from robot to robot."""
    branches = [*_motors(plan, chance), *_electronics(plan, chance)]
    if plan.air:
        branches += [
            Template("COMPRESSOR", "Air compressor", "W12P", "BL20", "COMPRESSOR", _length(chance, 0.8),
                     ("FER-12", "FER-12"), duty=(0.3, 60.0)),
            Template("VALVES", "Valve block", "W16P", "BL10", "VALVES", _length(chance, 1.0),
                     ("FER-18", "BLADE-B")),
        ]  # fmt: skip
    total = sum(_running(t) for t in branches if t.fed_from == "MAIN")
    main = Template(
        "MAIN", "Battery to distribution board", "W04R", "MB120", "BOARD", 0.6, ("LUG-4-M8", "LUG-4-M6"),
        (8.0, 6.0), None, CircuitRole.MAIN, (0.1, 10.0), 2, True, (round(total + 0.5), 115.0),
    )  # fmt: skip
    return [main, *branches]


def _running(t: Template) -> float:
    return t.amps[0] if t.amps else COMPONENTS[t.component or "BOARD"][2]


def _length(chance: Random, typical_m: float) -> float:
    return round(typical_m * chance.uniform(0.85, 1.15), 2)


def _motors(plan: Plan, chance: Random) -> list[Template]:
    drives, steers, arms = plan.motors
    return [
        *(
            Template(f"DRIVE-{n}", f"Drive motor {n}", "W10P", "MX40", "DRIVE-MOTOR", _length(chance, 0.9),
                     ("FER-10", "RING-Y-M5"), (None, 5.0), duty=(0.15, 8.0))
            for n in range(1, drives + 1)
        ),
        *(
            Template(f"STEER-{n}", f"Steering motor {n}", "W12P", "BL20", "STEER-MOTOR", _length(chance, 0.9),
                     ("FER-12", "RING-Y-M5"), (None, 5.0), duty=(0.2, 4.0))
            for n in range(1, steers + 1)
        ),
        *(
            Template(f"ARM-{n}", f"Arm motor {n}", "W12P", "MX30", "ARM-MOTOR", _length(chance, 1.3),
                     ("FER-12", "RING-Y-M5"), (None, 5.0), duty=(0.25, 6.0))
            for n in range(1, arms + 1)
        ),
        *(
            Template(f"INTAKE-{n}", f"Intake motor {n}", "W12P", "BL20", "INTAKE-MOTOR", _length(chance, 1.1),
                     ("FER-12", "RING-Y-M5"), (None, 5.0), duty=(0.3, 10.0))
            for n in range(1, 3)
        ),
    ]  # fmt: skip


def _electronics(plan: Plan, chance: Random) -> list[Template]:
    small = [
        Template("CONTROLLER", "Main controller", "W18P", "BL05", "CONTROLLER", _length(chance, 0.5),
                 ("FER-18", "FER-18"), critical=True, bundle=4),
        Template("REGULATOR", "Feed of the regulator board", "W14P", "BL15", "REGULATOR",
                 _length(chance, 0.5), ("FER-14", "RING-B-M4"), (None, 4.0), role=CircuitRole.FEED,
                 critical=True, amps=(2.4, 4.2)),
        Template("RADIO", "Radio", "W18P", "BL03", "RADIO", _length(chance, 0.9), ("FER-18", "FER-18"),
                 fed_from="REGULATOR", critical=True, bundle=4),
        Template("BEACON", "Status beacon", "W20P", "BL02", "BEACON", _length(chance, 1.0),
                 ("FER-22", "FER-22"), fed_from="REGULATOR"),
        Template("LIGHTS", "Light strip", "W20P", "BL02", "LIGHTS", _length(chance, 1.1),
                 ("FER-22", "FER-22"), fed_from="REGULATOR"),
        Template("BUS", "Data bus", "WBUS", None, None, 2.4, ("FER-22", "FER-22"), fed_from="CONTROLLER",
                 role=CircuitRole.SIGNAL),
    ]  # fmt: skip
    for n in range(1, plan.sensors + 1):
        camera = n <= 2
        kind, name = ("CAMERA", "Camera") if camera else ("RANGE", "Range sensor")
        number = n if camera else n - 2
        small.append(
            Template(f"{kind}-{number}", f"{name} {number}", "W20P" if camera else "W22P", "BL02", kind,
                     _length(chance, 0.8), ("FER-22", "FER-22"), fed_from="REGULATOR")
        )  # fmt: skip
    return small
