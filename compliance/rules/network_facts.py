"""The robot as one circuit, as columns for the rules: solved voltages and currents, and what flows in a push.

Scenarios are those of ``builds.network``: everything running, the heaviest mechanisms pushing, everything at its peak.
Where a circuit takes no part in the network, or a robot's battery is not known, the figures are NaN.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property

import numpy as np

from builds.models import CircuitRole
from builds.network import Assembled, Out, Scenario, assemble
from builds.network.currents import first_known
from compliance.rules.base import Rule
from compliance.rules.fault_facts import FaultFacts
from compliance.rules.load_limits import limits_by_pack
from compliance.rules.network import BoardSag
from inventory.models import Component
from shared.columns import BoolArray, FloatArray, IdArray
from shared.electrical.conductors import conductor_temperature_c
from shared.electrical.network import Solution, Sources, collapse_margin, solve


@dataclass(frozen=True)
class Solved:
    """What the network says of circuits (n, scenarios) and of builds (builds, scenarios)."""

    load_v: FloatArray
    current_a: FloatArray
    battery_v: FloatArray
    board_v: FloatArray
    collapsed: BoolArray


@dataclass(frozen=True)
class NetworkFacts(FaultFacts):
    """All columns of the load rules; the network is solved once, when a rule first asks for it."""

    @cached_property
    def assembled(self) -> Assembled:
        per_pack = np.array(limits_by_pack(self.table, BoardSag, "mechanisms"), dtype=np.int64)
        push = per_pack[self.build_pack]
        return assemble(self.rows, push=push, conductor_c=self.conductor_c, currents=self.currents)

    @cached_property
    def sources(self) -> Sources:
        return self.assembled.as_new.sources

    @cached_property
    def solution(self) -> Solution:
        """By branches and robots of ``assembled``."""
        return solve(self.assembled.tree, self.sources, self.assembled.loads)

    @cached_property
    def solved(self) -> Solved:
        """By circuits and builds."""
        a, builds = self.assembled, self.rows.builds.table.size
        circuits, scenarios = np.full((self.rows.size, len(Scenario)), np.nan), len(Scenario)
        per_build = np.full((builds, scenarios), np.nan)
        collapsed = np.zeros((builds, scenarios), dtype=np.bool_)
        load_v, current, battery, board = circuits, circuits.copy(), per_build, per_build.copy()
        if a.robots:
            s, known = self.solution, a.as_new.judged
            blank = np.where(known[a.robot], 0.0, np.nan)[:, None]
            load_v[a.circuit], current[a.circuit] = s.load_v + blank, s.current_a + blank
            rows, at = a.build_row[known], a.board[known]
            battery[rows] = s.battery_v[known]
            board[rows] = np.where((at >= 0)[:, None], s.load_v[at], s.battery_v[known])
            collapsed[rows] = ~s.solved[known]
        return Solved(load_v, current, battery, board, collapsed)

    def headroom(self, builds: BoolArray) -> FloatArray:
        """How many times the draws could grow before these builds collapse, running or pushing; NaN for the others."""
        a, room = self.assembled, np.full(builds.size, np.nan)
        chosen = builds[a.build_row] & a.as_new.judged if a.robots else np.zeros(0, dtype=np.bool_)
        if chosen.any():
            tree, branches = a.tree.only(chosen)
            sources = Sources(
                np.asarray(self.sources.open_v)[chosen], np.asarray(self.sources.internal_ohm)[chosen]
            )
            margin = collapse_margin(tree, sources, a.loads.only(branches))
            room[a.build_row[chosen]] = margin[:, [Scenario.RUNNING, Scenario.PUSH]].min(axis=1)
        return room

    # --- over pushes and rests ------------------------------------------------------------------------
    @cached_property
    def pushes(self) -> BoolArray:
        """The circuits whose load peaks in a push."""
        pushes = np.zeros(self.rows.size, dtype=np.bool_)
        pushes[self.assembled.circuit] = self.assembled.pushes
        return pushes

    @cached_property
    def push_frac(self) -> FloatArray:
        """Share of the time that what pushes behind each circuit is at its peak, each weighed by what it adds.

        Where duty or cycle is not entered, the peak is taken as if it lasted.
        """
        rows = self.rows
        duty, limit = (
            rows.floats("duty_frac"),
            first_known(rows.floats("limit_a"), np.full(rows.size, np.inf)),
        )
        lasts = np.where(np.isnan(duty) | np.isnan(rows.floats("cycle_s")), 1.0, duty)
        more = np.fmin(self.peak_a, limit) - self.running_a
        added = np.where(self.pushes & (more > 0), more, 0.0)
        weight, share = self._sum_up(added), self._sum_up(added * lasts)
        return np.where(weight > 0, share / np.where(weight > 0, weight, 1.0), 0.0)

    @cached_property
    def push_s(self) -> FloatArray:
        """The longest single push behind each circuit; 0 where none is known."""
        rows = self.rows
        own = np.where(self.pushes, np.nan_to_num(rows.floats("duty_frac") * rows.floats("cycle_s")), 0.0)
        for level in reversed(rows.levels):
            fed = level[rows.parent[level] >= 0]
            np.maximum.at(own, rows.parent[fed], own[fed])
        return own

    def _sum_up(self, own: FloatArray) -> FloatArray:
        """Each circuit with all that is fed through it."""
        total = own.copy()
        for level in reversed(self.rows.levels):
            fed = level[self.rows.parent[level] >= 0]
            np.add.at(total, self.rows.parent[fed], total[fed])
        return total

    @cached_property
    def solved_rms_a(self) -> FloatArray:
        """RMS of the solved current over pushes and rests."""
        running, push = (self.solved.current_a[:, s] for s in (Scenario.RUNNING, Scenario.PUSH))
        rms: FloatArray = np.sqrt(self.push_frac * push**2 + (1.0 - self.push_frac) * running**2)
        return rms

    @cached_property
    def solved_c(self) -> FloatArray:
        """Steady temperature of each conductor at that RMS."""
        return conductor_temperature_c(self.solved_rms_a, self.ampacity_a, self.ambient_c, self.class_c)

    @cached_property
    def held_a(self) -> FloatArray:
        """What each circuit's device carries for ever: by its points, else its rating."""
        devices, holds = self.rows.devices, self.bands.holds_a
        by_points = np.where(devices.row >= 0, holds[devices.row], np.nan) if holds.size else self.rating_a
        return first_known(by_points, self.rating_a)

    @cached_property
    def push_opens_s(self) -> FloatArray:
        """How soon each circuit's device may open at the current of the push; NaN without points."""
        return self.bands.earliest_s(self.rows.devices.row, self.solved.current_a[:, Scenario.PUSH])

    # --- voltages -------------------------------------------------------------------------------------
    @cached_property
    def minimum_v(self) -> FloatArray:
        """What each circuit's component needs to keep working."""
        return self.rows.components.floats("minimum_v")

    @cached_property
    def push_v(self) -> FloatArray:
        """What arrives at each circuit's load in the push."""
        return self.solved.load_v[:, Scenario.PUSH]

    @cached_property
    def controller_v(self) -> FloatArray:
        """Per build the highest voltage a main controller on the board needs; NaN where none says so."""
        needs = self.has_role(Component.Role.CONTROLLER) & ~self.behind_regulator & ~np.isnan(self.minimum_v)
        most = np.full(self.rows.builds.table.size, -np.inf)
        np.maximum.at(most, self.rows.builds.row[needs], self.minimum_v[needs])
        return np.where(np.isfinite(most), most, np.nan)

    def has_role(self, *roles: str) -> BoolArray:
        """The circuits whose component has one of these roles."""
        return self.rows.components.is_one_of("role", frozenset(str(role) for role in roles))

    def per_build(self, circuits: BoolArray) -> IdArray:
        """How many of these circuits each build has."""
        count = np.bincount(self.rows.builds.row[circuits], minlength=self.rows.builds.table.size)
        return count.astype(np.int64)

    def build_column(self, rule: type[Rule], name: str) -> FloatArray:
        """A rule's limit for every build."""
        return np.array(limits_by_pack(self.table, rule, name), dtype=np.float64)[self.build_pack]

    # --- builds ---------------------------------------------------------------------------------------
    @cached_property
    def lacking(self) -> dict[str, BoolArray]:
        """What each build lacks of what every robot needs, in people's words."""
        rows, role = self.rows, Component.Role
        battery = rows.builds.table.ids("battery_model_id") >= 0
        device, main = rows.devices.row >= 0, rows.role(CircuitRole.MAIN)
        there = {
            "battery": battery,
            "main breaker": self.per_build(main & device) > 0,
            "distribution board": self.per_build(self.has_role(role.BOARD)) > 0,
            "main controller": self.per_build(self.has_role(role.CONTROLLER)) > 0,
            "radio": self.per_build(self.has_role(role.RADIO)) > 0,
            "status beacon": self.per_build(self.has_role(role.BEACON)) > 0,
            "motor with its controller": self.per_build(self.has_role(role.MOTOR)) > 0,
            "data bus (a circuit for signals)": self.per_build(rows.role(CircuitRole.SIGNAL)) > 0,
        }
        return {what: ~where for what, where in there.items()}

    @cached_property
    def gaps(self) -> BoolArray:
        """The circuits left out of the network for a reason that ``circuit-unknown`` does not say of them."""
        out = self.assembled.out
        said = np.any([self.missing[what] for what in ("wire type", "length", "running current")], axis=0)
        own = np.isin(out, (Out.NO_WIRE, Out.NO_LENGTH, Out.NO_CURRENT)) & ~said
        gaps: BoolArray = (np.isin(out, (Out.NO_FEED, Out.NO_OUTPUT)) | own) & self.is_power
        return gaps

    @cached_property
    def blind(self) -> BoolArray:
        """The regulators that feed others and do not say what voltage they give."""
        return self.is_regulator & self.feeds_others & np.isnan(self.rows.components.floats("output_v"))

    def build_label(self, i: int) -> str:
        """What people call a build: the robot and the revision."""
        raw = self.rows.builds.table.raw
        return f"{raw['robot__code'][i]} {raw['label'][i]}"
