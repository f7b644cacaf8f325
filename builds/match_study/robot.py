"""A build as the match simulation takes it: the network, cold, with motors, duties, heat and brown-out levels."""

from __future__ import annotations

import zlib
from collections.abc import Iterator, Mapping
from dataclasses import dataclass

import numpy as np

from builds.electrical import CircuitColumns
from builds.match_study.assumed import assumptions
from builds.match_study.devices import device_heat
from builds.match_study.duties import default_duty
from builds.match_study.motors import Motors, motors_of
from builds.network import Assembled, Scenario
from builds.network.currents import first_known
from inventory.models import Component
from shared.columns import NO_ID, FloatArray, IdArray
from shared.electrical.ampacity import corrected_ampacity_a
from shared.electrical.match import Duty, MatchRobot
from shared.electrical.network import FeedTree, LoadKind, Loads
from shared.electrical.thermal import time_constant_s

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
    match_s: float
    kernel: MatchRobot
    labels: tuple[Label, ...]
    mechanisms: tuple[str, ...]
    as_new_ohm: float
    assumptions: tuple[str, ...]

    @property
    def seed(self) -> int:
        """From the names of the mechanisms alone: what changes in wiring or battery meets the same matches."""
        return zlib.crc32("|".join(self.mechanisms).encode()) & 0x7FFFFFFF


def study_robots(
    net: Assembled, profiles: Mapping[int, Duty], match_s: Mapping[int, float]
) -> dict[int, StudyRobot]:
    """Every build that has a network and a length of its matches in ``match_s``, by its id."""
    motors = motors_of(net, profiles)
    ids = net.rows.builds.table.ids("id")
    return {
        build_id: _robot(net, motors, profiles, robot, build_id, match_s[build_id])
        for robot, build_id in enumerate(ids[net.build_row].tolist())
        if build_id in match_s
    }


def _robot(
    net: Assembled,
    motors: Motors,
    profiles: Mapping[int, Duty],
    robot: int,
    build_id: int,
    match_s: float,
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
        match_s=match_s,
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
            holds_from_v=branch.more(_holds_from_v(net)[at], np.nan),
            **branch.heat(),
            watch_branch=watched,
            watch_v=net.rows.components.floats("minimum_v")[at][watched],
        ),
        labels=labels,
        mechanisms=names,
        as_new_ohm=float(net.as_new.internal_ohm[robot] - net.as_new.leads_ohm[robot]),
        assumptions=tuple(assumptions(net, motors, int(net.build_row[robot]), at)),
    )


def _holds_from_v(net: Assembled) -> FloatArray:
    """Least input of every regulator as the checks know it; 0 where it steps up and says nothing."""
    c = net.currents
    return np.where(c.regulates, np.nan_to_num(c.holds_from_v), np.nan)


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
        """Full draws: motors that turn as such, everything else as at its peak."""
        net, at = self.net, self.at
        count = net.branches
        column: dict[str, FloatArray] = {}
        for name, value in vars(net.loads).items():
            array = np.asarray(value, dtype=np.float64)
            array = array[:, Scenario.ALL] if array.ndim == 2 else np.broadcast_to(array, (count,))
            column[name] = array[self.branches]
        turns = motors.turns[at]
        # Without a profile a motor's peak follows the voltage: for the kernel that is a resistance, not a motor.
        peaks = (column["kind"] == LoadKind.MOTOR) & ~turns
        most = np.fmin(net.currents.peak_a, net.currents.limit_a)[at]
        with np.errstate(divide="ignore", invalid="ignore"):
            column["motor_ohm"] = np.where(turns, net.currents.nominal_v[at] / motors.stall_a[at], 0.0)
            column["load_ohm"] = np.where(peaks, net.currents.nominal_v[at] / most, column["load_ohm"])
        column["kind"] = np.select([turns, peaks], [LoadKind.MOTOR, LoadKind.RESISTANCE], column["kind"])
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
        elif motors.profiled[i]:
            yield profiles[int(profile_ids[i])]
        else:
            yield default_duty(
                running_a=float(c.own_running_a[i]),
                peak_a=float(min(c.peak_a[i], c.limit_a[i])),
                peak_frac=float(rows.floats("duty_frac")[i]),
                cycle_s=float(rows.floats("cycle_s")[i]),
                motor=bool(motors.motor[i]),
            )
