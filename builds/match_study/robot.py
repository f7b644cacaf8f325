"""A build as the match simulation takes it: the network, cold, with motors, duties, heat and brown-out levels."""

from __future__ import annotations

import zlib
from collections.abc import Iterator, Mapping
from dataclasses import dataclass

import numpy as np

from builds.electrical import CircuitColumns
from builds.match_study.devices import device_heat
from builds.match_study.duties import CYCLE_S, PEAK_FRAC, default_duty
from builds.network import Assembled, Assumption, Scenario
from builds.network.currents import first_known
from builds.network.loads import kinds
from inventory.models import Component
from shared.columns import NO_ID, BoolArray, FloatArray, IdArray
from shared.electrical.ampacity import corrected_ampacity_a
from shared.electrical.match import Duty, MatchRobot
from shared.electrical.network import FeedTree, LoadKind, Loads
from shared.electrical.sources import COMMON_PRACTICE, Figure, Source
from shared.electrical.thermal import time_constant_s

#: Of a motor with what it drives, where nobody measured it.
SPIN_UP_S = Figure(0.3, "s", Source("Mechanical time constant of a driven mechanism", "", COMMON_PRACTICE))
COPPER_C = 20.0
LEAST_OHM = 1e-6
#: Components whose loss of voltage ends the match.
LEVEL_ROLES = (Component.Role.CONTROLLER, Component.Role.RADIO)


@dataclass(frozen=True)
class Label:
    """What people call a branch."""

    circuit_id: int
    code: str
    name: str
    component: str


@dataclass(frozen=True)
class StudyRobot:
    """One build, ready for the kernel; ``labels`` name its branches, the last may be leads that nobody drew."""

    build_id: int
    kernel: MatchRobot
    labels: tuple[Label, ...]
    mechanisms: tuple[str, ...]
    as_new_ohm: float
    assumptions: tuple[str, ...]

    @property
    def seed(self) -> int:
        """From the names of the mechanisms alone: what changes in wiring or battery meets the same matches."""
        return zlib.crc32("|".join(self.mechanisms).encode()) & 0x7FFFFFFF


@dataclass(frozen=True)
class Motors:
    """Which circuits are driven as motors, and their figures; a motor without a stall current is not."""

    is_motor: BoolArray
    stall_a: FloatArray
    free_a: FloatArray
    spin_up_s: FloatArray


def motors_of(net: Assembled) -> Motors:
    """The motors among all circuits of the assembled builds."""
    rows, c = net.rows, net.currents
    parts = rows.components
    stall = first_known(parts.floats("stall_a"), parts.floats("peak_a"), rows.floats("peak_a"))
    stall = np.fmax(stall, c.peak_a)
    is_motor = (kinds(c) == LoadKind.MOTOR) & c.is_load & (stall > 0)
    free = np.nan_to_num(parts.floats("free_a"))
    spin = first_known(parts.floats("spin_up_s"), np.full(rows.size, SPIN_UP_S.value))
    return Motors(
        is_motor, *(np.where(is_motor, value, 0.0) for value in (stall, np.minimum(free, 0.5 * stall), spin))
    )


def study_robots(net: Assembled, profiles: Mapping[int, Duty]) -> dict[int, StudyRobot]:
    """Every build that has a network, by its id."""
    motors = motors_of(net)
    ids = net.rows.builds.table.ids("id")
    return {
        int(ids[row]): _robot(net, motors, profiles, robot, int(ids[row]))
        for robot, row in enumerate(net.build_row.tolist())
    }


def _robot(
    net: Assembled, motors: Motors, profiles: Mapping[int, Duty], robot: int, build_id: int
) -> StudyRobot:
    branches = np.flatnonzero(net.robot == robot)
    local = np.full(net.branches, NO_ID, dtype=np.int64)
    local[branches] = np.arange(branches.size)
    at = net.circuit[branches]
    leads = _leads_ohm(net, robot)
    duties = tuple(_duties(net, motors, profiles, at))
    # By name, so that a mechanism keeps its place, and with it its random timing, in every process.
    moves_with = [net.mechanisms.names[k] for k in net.mechanisms.of_circuit[at].tolist()]
    names = tuple(sorted(set(moves_with)))
    group = np.array([names.index(name) for name in moves_with], dtype=np.intp)
    labels = tuple(_labels(net.rows, at))
    if leads is not None:
        labels, duties, names = (*labels, Label(0, "", "leads", "")), (*duties, None), (*names, "")
    branch = _Branches(net, branches, at, leads)
    watched = _watched(net.rows, at)
    return StudyRobot(
        build_id=build_id,
        kernel=MatchRobot(
            tree=branch.tree(np.where(net.parent[branches] >= 0, local[net.parent[branches]], NO_ID)),
            loads=branch.loads(motors),
            duties=duties,
            group=branch.more(group, len(names) - 1).astype(np.intp),
            board=int(local[net.board[robot]]) if leads is None else at.size,
            stall_a=branch.more(motors.stall_a[at]),
            free_a=branch.more(motors.free_a[at]),
            spin_up_s=branch.more(motors.spin_up_s[at]),
            wire_ohm=branch.more(branch.wire_ohm),
            **branch.heat(),
            watch_branch=watched,
            watch_v=net.rows.components.floats("minimum_v")[at][watched],
        ),
        labels=labels,
        mechanisms=names,
        as_new_ohm=float(net.as_new.internal_ohm[robot] - net.as_new.leads_ohm[robot]),
        assumptions=tuple(_assumptions(net, motors, profiles, robot, at)),
    )


def _leads_ohm(net: Assembled, robot: int) -> float | None:
    """Where no main feed is drawn, the board hangs on leads of their own; None where one is."""
    return None if net.board[robot] >= 0 else max(float(net.as_new.leads_ohm[robot]), LEAST_OHM)


@dataclass(frozen=True)
class _Branches:
    """The circuits ``at`` as branches of one robot, with the leads that nobody drew as the last one."""

    net: Assembled
    branches: IdArray
    at: IdArray
    leads: float | None

    def more(self, values: FloatArray | IdArray, of_leads: float = 0.0) -> FloatArray:
        """A column with the value of the leads added, where there are any."""
        column = np.asarray(values, dtype=np.float64)
        return column if self.leads is None else np.append(column, of_leads)

    @property
    def wire_ohm(self) -> FloatArray:
        """Copper of both poles at 20 C."""
        cold = np.full(self.net.rows.size, COPPER_C)
        return 2.0 * self.net.currents.pole_ohm_at(cold)[self.at]

    def tree(self, parent: IdArray) -> FeedTree:
        net, at = self.net, self.at
        back = self.wire_ohm / 2.0 + net.currents.joints_ohm[at] / 2.0
        there = back + net.currents.device_ohm[at]
        if self.leads is not None:
            parent = np.append(np.where(parent >= 0, parent, at.size), NO_ID)
            there, back = np.append(there, self.leads / 2.0), np.append(back, self.leads / 2.0)
        return FeedTree.build(robot=np.zeros(len(parent)), parent=parent, supply_ohm=there, return_ohm=back)

    def loads(self, motors: Motors) -> Loads:
        """Full draws: motors as motors, everything else as at its peak."""
        net, at = self.net, self.at
        count = net.branches
        column: dict[str, FloatArray] = {}
        for name, value in vars(net.loads).items():
            array = np.asarray(value, dtype=np.float64)
            array = array[:, Scenario.ALL] if array.ndim == 2 else np.broadcast_to(array, (count,))
            column[name] = array[self.branches]
        turns = motors.is_motor[at]
        with np.errstate(divide="ignore", invalid="ignore"):
            ohm = np.where(turns, net.currents.nominal_v[at] / motors.stall_a[at], 0.0)
        column["kind"] = np.where(turns, LoadKind.MOTOR, column["kind"])
        column["motor_ohm"] = ohm
        usual = vars(Loads(kind=LoadKind.NONE))
        return Loads(**{name: self.more(value, float(usual[name])) for name, value in column.items()})

    def heat(self) -> dict[str, FloatArray]:
        """How conductors and devices warm; NaN where that cannot be judged."""
        net, at = self.net, self.at
        rows = net.rows
        area, class_c = rows.wires.floats("area_mm2")[at], rows.wires.floats("insulation_class_c")[at]
        ambient = first_known(rows.floats("ambient_c"), rows.builds.floats("ambient_c"))[at]
        rated = corrected_ampacity_a(area, class_c, ambient, rows.floats("bundle_count")[at])
        device = device_heat(rows, at)
        columns = {
            "wire_rated_a": rated * rows.floats("parallel")[at],
            "wire_limit_c": class_c,
            "ambient_c": ambient,
            "wire_tau_s": time_constant_s(area),
            "device_a": device.holds_a,
            "device_tau_s": device.tau_s,
        }
        return {name: self.more(np.asarray(value), np.nan) for name, value in columns.items()}


def _labels(rows: CircuitColumns, at: IdArray) -> Iterator[Label]:
    codes, names = rows.circuits.texts("code"), rows.circuits.texts("name")
    for i in at.tolist():
        yield Label(int(rows.ids[i]), codes[i], names[i], rows.components.text("name", i))


def _watched(rows: CircuitColumns, at: IdArray) -> IdArray:
    """The branches whose component ends the match when it gets too little voltage, and says how little."""
    roles = frozenset(role.value for role in LEVEL_ROLES)
    matters = rows.components.is_one_of("role", roles) & (rows.components.floats("minimum_v") > 0)
    return np.flatnonzero(matters[at])


def _duties(
    net: Assembled, motors: Motors, profiles: Mapping[int, Duty], at: IdArray
) -> Iterator[Duty | None]:
    rows, c = net.rows, net.currents
    profile_ids = rows.circuits.ids("profile_id")
    for i in at.tolist():
        if not c.is_load[i]:
            yield None
        elif (given := profiles.get(int(profile_ids[i]))) is not None:
            yield given
        else:
            yield default_duty(
                running_a=float(c.own_running_a[i]),
                peak_a=float(min(c.peak_a[i], c.limit_a[i])),
                peak_frac=float(rows.floats("duty_frac")[i]),
                cycle_s=float(rows.floats("cycle_s")[i]),
                motor=(float(motors.stall_a[i]), float(motors.free_a[i])) if motors.is_motor[i] else None,
            )


def _assumptions(
    net: Assembled, motors: Motors, profiles: Mapping[int, Duty], robot: int, at: IdArray
) -> Iterator[str]:
    row = int(net.build_row[robot])
    yield from (f"{gap.code} is left out: {gap.reason}." for gap in net.left_out(row))
    yield from _grouped(net.assumptions(row))
    rows, c = net.rows, net.currents
    codes = np.array(rows.circuits.texts("code"), dtype=object)
    parts = rows.components
    unprofiled = np.array([int(p) not in profiles for p in rows.circuits.ids("profile_id")], dtype=np.bool_)
    peaks = c.is_load & (c.peak_a > c.own_running_a) & unprofiled
    no_share = np.isnan(rows.floats("duty_frac"))
    said = (
        (
            peaks & no_share & ~motors.is_motor,
            "Share of the peak not entered: taken as if it lasted",
        ),
        (
            peaks & no_share & motors.is_motor,
            f"Share of the peak not entered: {PEAK_FRAC.value:.0%} of the time ({_USUAL_WORDS})",
        ),
        (
            peaks & np.isnan(rows.floats("cycle_s")) & (motors.is_motor | ~no_share),
            f"Cycle of the peak not entered: {CYCLE_S.value:g} s ({_USUAL_WORDS})",
        ),
        (
            motors.is_motor & np.isnan(parts.floats("spin_up_s")),
            f"Spin-up time not entered: {SPIN_UP_S.value:g} s ({_USUAL_WORDS})",
        ),
        (
            motors.is_motor & np.isnan(parts.floats("stall_a")),
            "Stall current not entered: the highest current known of the motor",
        ),
        (
            motors.is_motor & np.isnan(parts.floats("free_a")),
            "Free-running current not entered: nothing",
        ),
        (
            (kinds(c) == LoadKind.MOTOR) & c.is_load & ~motors.is_motor,
            "Neither stall nor peak current is known of the motor: a steady current",
        ),
        (
            c.is_load & unprofiled,
            "Use during the match from running and peak current, no duty profile chosen",
        ),
    )
    for mask, words in said:
        if mask[at].any():
            yield f"{words}: {_listed(codes[at][mask[at]].tolist())}."


_USUAL_WORDS = "common practice, no source"


def _grouped(found: list[Assumption]) -> Iterator[str]:
    """One sentence per kind of assumption, with the circuits it was made for."""
    groups: dict[tuple[str, str, str], list[str]] = {}
    for one in found:
        figure = "" if one.value is None else f" {one.value:.3g} {one.unit}".rstrip()
        groups.setdefault((one.what, figure, one.source), []).append(one.code)
    for (what, figure, source), codes in groups.items():
        yield f"{what[:1].upper()}{what[1:]} not entered:{figure} ({source}): {_listed(codes)}."


def _listed(codes: list[str], most: int = 6) -> str:
    shown = ", ".join(codes[:most])
    return shown if len(codes) <= most else f"{shown} and {len(codes) - most} more"
