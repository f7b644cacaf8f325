"""What the studies of a build share: the batteries it is tried with, the voltages its parts need, one solved robot."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from builds.network import Assembled, Scenario, full_rest_v
from builds.network.assemble import FULL_REST_V
from builds.network.currents import first_known
from inventory.models import Component
from shared.columns import BoolArray, FloatArray, IdArray
from shared.electrical.network import FeedTree, Loads, Solution, Sources, solve

#: Without these a robot stands still on the field; anything else that drops out costs it a function.
VITAL = frozenset({Component.Role.CONTROLLER, Component.Role.RADIO, Component.Role.REGULATOR})
#: Place of the battery's posts among branches.
POSTS = -1
NO_CIRCUITS = "No circuit of this build can be part of the network: see what is left out."
NO_SOURCE = (
    "Nothing tells the resistance of this battery. Enter it for the battery model, measure the build up to its board, "
    "or take a battery that was measured."
)
NO_CHARGE = (
    "Nothing tells the voltage of this battery at that state of charge. Enter for the battery model of the build or "
    "battery the rest voltages against the state of charge, from full down to the charge asked for."
)
NO_LEVELS = (
    "No component of this build says the lowest voltage it works at. "
    "Enter it for the main controller and the radio."
)


@dataclass(frozen=True, slots=True)
class BatteryCase:
    """A battery to try a build with; no id: a new one of the build's model. None among its figures: not known."""

    battery_id: int | None
    label: str
    open_v: float | None
    internal_mohm: float | None
    words: str
    charge_frac: float = 1.0

    @property
    def internal_ohm(self) -> float:
        return math.nan if self.internal_mohm is None else self.internal_mohm / 1e3

    @property
    def name(self) -> str:
        """What a sentence calls it: with its state of charge unless that is full."""
        return self.label if self.charge_frac >= 1.0 else f"{self.label} at {self.charge_frac * 100:.0f} %"


@dataclass(frozen=True, slots=True)
class LevelMargin:
    """What arrives at something that needs a least voltage. ``circuit_id`` None: the battery's posts as the board."""

    circuit_id: int | None
    code: str
    name: str
    minimum_v: float
    load_v: float | None
    margin_v: float | None

    @property
    def place(self) -> str:
        return place_words(self.code, self.name)


def place_words(code: str, name: str) -> str:
    """What people call a place: its circuit, and in brackets what is there."""
    return f"{code} ({name})" if code and name else code or name


@dataclass(frozen=True)
class Levels:
    """The places that need a least voltage: branches (or ``POSTS``), with what people call them.

    ``regulated``: behind a regulator, which holds the voltage there as long as it can. Such a place has little to
    spare whatever the battery does, so it counts only where it fails, or where there is no other.
    """

    branch: IdArray
    minimum_v: FloatArray
    regulated: BoolArray
    names: tuple[tuple[int | None, str, str], ...]

    def volts(self, done: Solution) -> FloatArray:
        """What arrives at each, (levels, scenarios)."""
        return volts_at(done, self.branch)

    def margins(self, done: Solution) -> FloatArray:
        """What each has to spare, (levels, scenarios); NaN where the robot has no solution."""
        return self.volts(done) - self.minimum_v[:, None]

    def worst(self, done: Solution) -> FloatArray:
        """The least to spare in each scenario; minus infinity where the voltage collapses, NaN without any level."""
        if not self.branch.size:
            return np.full(done.battery_v.shape[1], np.nan)
        spare = self.margins(done)
        least: FloatArray = np.where(np.isnan(spare), -np.inf, spare).min(axis=0)
        if not self.regulated.all():
            least = np.where(least < 0.0, least, spare[~self.regulated].min(axis=0))
        return least

    def told(self, done: Solution, column: int) -> tuple[LevelMargin, ...]:
        """Every level in one scenario, the worst first."""
        volts, spare = self.volts(done)[:, column], self.margins(done)[:, column]
        rows = []
        for k in self.order(done, column).tolist():
            circuit_id, code, name = self.names[k]
            least = float(self.minimum_v[k])
            rows.append(LevelMargin(circuit_id, code, name, least, number(volts[k]), number(spare[k])))
        return tuple(rows)

    def order(self, done: Solution, column: int) -> IdArray:
        """The levels in one scenario, the worst first; a robot without a solution has them as they come."""
        spare = self.margins(done)[:, column]
        return np.lexsort((spare, self.regulated & (spare >= 0.0))).astype(np.int64)


def levels_of(net: Assembled, least_board_v: float | None = None, *, vital: bool = False) -> Levels:
    """Components that say what they need, and the board where a least voltage is asked of it.

    A regulator that says nothing needs at least what it gives out, unless it steps up. ``vital``: only what the robot
    is dead without (controller, radio, regulators); where nothing of that kind says what it needs, all that do.
    """
    parts = net.rows.components
    need = first_known(net.minimum_v, net.currents.holds_from_v[net.circuit])
    at = np.flatnonzero(~np.isnan(need))
    if vital:
        alive = at[parts.is_one_of("role", VITAL)[net.circuit[at]]]
        at = alive if alive.size else at
    rows = net.circuit[at]
    codes = net.rows.circuits.texts("code")
    names: list[tuple[int | None, str, str]] = [
        (int(net.rows.ids[i]), codes[i], parts.text("name", i)) for i in rows.tolist()
    ]
    branch, least, behind = at.astype(np.int64), need[at], _behind_regulator(net)[at]
    if least_board_v is not None and net.robots:
        branch, least = np.append(branch, net.board[0]), np.append(least, least_board_v)
        behind = np.append(behind, False)
        names.append(board_name(net))
    return Levels(branch, least, behind, tuple(names))


def _behind_regulator(net: Assembled) -> BoolArray:
    """Whether a regulator lies between each branch of one robot and its battery."""
    behind = np.zeros(net.branches, dtype=np.bool_)
    for level in net.rows.levels[1:]:
        here = net.branch[level]
        here = here[here >= 0]
        up = net.parent[here]
        behind[here] = behind[up] | net.currents.regulates[net.circuit[up]]
    return behind


def board_name(net: Assembled) -> tuple[int | None, str, str]:
    """Id and code of the circuit at whose far end the board sits, and what it is called."""
    place = int(net.board[0])
    if place == POSTS:
        return None, "", "battery posts"
    row = int(net.circuit[place])
    return int(net.rows.ids[row]), net.rows.circuits.texts("code")[row], "distribution board"


def volts_at(done: Solution, branch: IdArray | int) -> FloatArray:
    """Voltage at the far end of branches of one robot; ``POSTS`` is the battery."""
    place = np.asarray(branch)
    volts: FloatArray = np.where((place == POSTS)[..., None], done.battery_v[0], done.load_v[place])
    return volts


def only(loads: Loads, scenario: Scenario) -> Loads:
    """The loads of one scenario, as one column."""
    taken = {
        name: np.asarray(value)[:, [int(scenario)]] if np.ndim(value) == 2 else value
        for name, value in vars(loads).items()
    }
    return Loads(**taken)


def with_source(net: Assembled, cases: Sequence[BatteryCase]) -> Sources:
    """One robot with each of these batteries, a column each; undrawn leads come on top of measured ones."""
    leads = float(net.as_new.leads_ohm[0])
    ohm = [c.internal_ohm + (leads if c.battery_id is not None else 0.0) for c in cases]
    return Sources(np.array([[c.open_v for c in cases]], dtype=np.float64), np.array([ohm]))


def solve_with(
    net: Assembled, cases: Sequence[BatteryCase], loads: Loads, tree: FeedTree | None = None
) -> Solution:
    """One robot; columns are the batteries, or those of the loads or the tree."""
    return solve(tree or net.tree, with_source(net, cases), loads)


def as_new_case(net: Assembled, label: str) -> BatteryCase:
    """A new battery of the build's model."""
    ohm = number(net.as_new.internal_ohm[0]) if net.robots else None
    return BatteryCase(
        battery_id=None,
        label=label,
        open_v=float(full_rest_v(net.rows)[0]),
        internal_mohm=None if ohm is None else ohm * 1e3,
        words=_as_new_words(net) if ohm is not None else "not known",
    )


def _as_new_words(net: Assembled) -> str:
    """Where a new battery's figures come from; of the only build of ``net``."""
    table = net.rows.builds.table
    if not math.isnan(table.floats("battery_model__resistance_new_mohm")[0]):
        return "as new, by the figures of its model"
    told = table.raw["battery_model__full_rest_v"][0] is not None
    rest = (
        ""
        if told
        else f"; {FULL_REST_V:g} V at rest (a full 12 V lead-acid battery; common practice, no source)"
    )
    return f"by what was measured up to the board, less the main feed{rest}"


def cannot(net: Assembled, case: BatteryCase | None) -> str:
    """Why a build cannot be answered for; empty when it can."""
    if not net.robots:
        return NO_CIRCUITS
    if case is None:
        return ""
    if case.internal_mohm is None:
        return NO_SOURCE
    return NO_CHARGE if case.open_v is None else ""


def number(value: float) -> float | None:
    """A figure as people and JSON take it: none instead of NaN."""
    return float(value) if math.isfinite(value) else None


def limited_to(loads: Loads, at: IdArray, limit_a: FloatArray) -> Loads:
    """The loads with a current limit on these branches, (branches, columns); a limit set already stays if lower."""
    before = np.asarray(loads.limit_a, dtype=np.float64)
    limits = np.repeat(before[:, None] if before.ndim == 1 else before, limit_a.shape[1], axis=1)
    limits[at] = np.fmin(limits[at], limit_a)
    return replace(loads, limit_a=limits)
