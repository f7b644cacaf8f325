"""What hangs on the branches: the kinds of load and their laws, linear where they are and by tangent elsewhere.

Public names: `LoadKind`, `Loads`, `LoadLaws`, `load_laws`.

A load between its two poles draws g V - j: a conductance g and a source j. Constant current, resistance and an
unlimited motor at rest are exactly that. A motor that turns or is limited is so piece by piece; a constant power
only along the tangent at a voltage.
"""

from dataclasses import dataclass
from enum import IntEnum
from typing import TypeAlias

import numpy as np
import numpy.typing as npt

from shared.electrical.arrays import BoolArray, FloatArray, Number
from shared.electrical.network.errors import NetworkError
from shared.electrical.network.tree import FeedTree, PlaceArray

__all__ = ["LoadKind", "LoadLaws", "Loads", "load_laws"]

# Rows of the solver, or (rows, scenarios) where the kind of a load differs between scenarios.
_Where: TypeAlias = tuple[PlaceArray, ...]


class LoadKind(IntEnum):
    """How a load draws, as stored in int8 arrays."""

    NONE = 0
    CURRENT = 1
    POWER = 2
    RESISTANCE = 3
    MOTOR = 4
    REGULATOR = 5


@dataclass(frozen=True, eq=False)
class Loads:
    """The load at the far end of each branch: arrays (n,) or (n, s), or one number for all. Unused figures are 0.

    CURRENT draws `current_a`, POWER `power_w`, RESISTANCE V / `load_ohm`. MOTOR at the commanded fraction d draws
    d (d V - back_emf_v) / motor_ohm from its supply, never below 0 nor above `limit_a`. REGULATOR holds
    `output_v` for the branches it feeds and draws their power over `efficiency_frac`; see `solve`.
    """

    kind: npt.ArrayLike
    current_a: Number = 0.0
    power_w: Number = 0.0
    load_ohm: Number = 0.0
    motor_ohm: Number = 0.0
    back_emf_v: Number = 0.0
    command_frac: Number = 1.0
    limit_a: Number = np.inf
    output_v: Number = 0.0
    efficiency_frac: Number = 1.0
    output_limit_a: Number = np.inf

    def scenarios(self) -> int:
        """Give the most scenarios any figure has."""
        shapes = [np.shape(value) for value in vars(self).values()]
        return max((shape[1] for shape in shapes if len(shape) == 2), default=1)

    def only(self, rows: PlaceArray) -> "Loads":
        """Give the loads of some branches."""
        return Loads(**{name: value[rows] if np.ndim(value) else value for name, value in vars(self).items()})

    def times(self, factor: FloatArray) -> "Loads":
        """Give the loads with constant currents and powers multiplied by (n,) or (n, s) factors."""
        changed = {name: _spread(getattr(self, name)) * factor for name in ("current_a", "power_w")}
        return Loads(**{**vars(self), **changed})


def _spread(value: Number) -> FloatArray:
    array = np.asarray(value, dtype=np.float64)
    return array[:, None] if array.ndim == 1 else array


@dataclass(frozen=True, eq=False)
class LoadLaws:
    """The loads in the order of the solver, sorted by what is done with them."""

    conductance_s: FloatArray  # (n, s) of the linear loads
    source_a: FloatArray
    current_at: _Where
    current_a: FloatArray
    power_at: _Where
    power_w: FloatArray
    # Motors that turn or have a limit; the others are linear.
    motor_at: _Where
    motor_s: FloatArray
    motor_a: FloatArray
    limit_a: FloatArray
    regulator_at: PlaceArray
    output_v: FloatArray
    input_share: FloatArray  # input power over output current [V]: output voltage over efficiency
    output_limit_a: FloatArray

    @property
    def passive(self) -> bool:
        """Whether no conductance can be negative, so that no pass can find a collapse on its way."""
        return not (len(self.power_at[0]) or len(self.regulator_at))

    def tangent(self, volts: FloatArray, secant: bool) -> tuple[FloatArray, FloatArray]:
        """Conductance and source of every load near these voltages; NaN where a draw has no voltage left.

        With `secant` a motor at its limit gets the line from its cut-off, which lies below its law everywhere
        between: then no step from above passes the solution.
        """
        g, j = self.conductance_s.copy(), self.source_a.copy()
        below = volts[self.current_at] < 0.0
        if below.any():
            j[self.current_at] = np.where(below, np.nan, -self.current_a)
        if len(self.power_at[0]):
            at = volts[self.power_at]
            amps = self.power_w / np.where(at > 0.0, at, np.nan)
            g[self.power_at] = -amps / at
            j[self.power_at] = -2.0 * amps
        if len(self.motor_at[0]):
            at = volts[self.motor_at]
            free = self.motor_s * at - self.motor_a
            turning, limited = free > 0.0, free > self.limit_a
            slope = np.where(turning & ~limited, self.motor_s, 0.0)
            if secant:
                cut_off = self.motor_a / self.motor_s
                slope = np.where(limited, self.limit_a / (at - cut_off), slope)
            g[self.motor_at] = slope
            j[self.motor_at] = slope * at - np.clip(free, 0.0, self.limit_a)
        return g, j

    def unsettled(self, before: FloatArray, after: FloatArray) -> BoolArray:
        """Rows whose tangent at `before` is not yet their law at `after`."""
        found = np.zeros(after.shape, dtype=np.bool_)
        if len(self.current_at[0]):
            found[self.current_at] = after[self.current_at] < 0.0
        for at in (self.power_at, (self.regulator_at,)):
            if len(at[0]):
                # The tangent of P/V misses by the square of the relative step.
                found[at] = np.abs(after[at] - before[at]) > 1e-7 * np.abs(after[at])
        if len(self.motor_at[0]):
            pair = [self.motor_s * volts[self.motor_at] - self.motor_a for volts in (before, after)]
            old, new = ((free > 0.0).astype(np.int8) + (free > self.limit_a) for free in pair)
            law, scale = np.clip(pair[1], 0.0, self.limit_a), np.abs(pair[1]) + self.motor_a
            line = np.select([old == 0, old == 1], [0.0, pair[1]], self.limit_a)
            found[self.motor_at] |= (old != new) & (np.abs(line - law) > 1e-13 * scale)
        return found


class _Reader:
    """Takes the figures of one kind of load out of the columns, in the order of the solver."""

    def __init__(self, tree: FeedTree, loads: Loads, scenarios: int) -> None:
        self.tree, self.loads = tree, loads
        self.shape = (len(tree.parent), scenarios)
        kind = np.asarray(loads.kind, dtype=np.int8)
        wrong = (kind < min(LoadKind)) | (kind > max(LoadKind))
        if wrong.any() or kind.shape[:1] != self.shape[:1]:
            raise NetworkError(
                "kind", "give each branch one of the kinds of load", np.nonzero(wrong)[0].tolist()
            )
        self.kind = kind[:, 0] if kind.ndim == 2 and kind.shape[1] == 1 else kind
        self.sorted_kind = self.kind[tree.order]

    def at(self, kind: LoadKind) -> _Where:
        return np.nonzero(self.sorted_kind == kind)

    def figure(self, name: str, at: _Where, low: float, high: float, remedy: str) -> FloatArray:
        """One figure where `at` says; refused where it is not above `low` (at 0: not below) nor below `high`."""
        value = np.asarray(getattr(self.loads, name), dtype=np.float64)
        if value.ndim == 1:
            value = value[:, None]
        if value.ndim == 2 and value.shape[0] != self.shape[0]:
            raise NetworkError(name, f"has {value.shape[0]} rows where {self.shape[0]} are expected")
        rows = self.tree.order[at[0]]
        taken: FloatArray = np.broadcast_to(value, self.shape)[(rows, *at[1:])]
        wrong = ~((taken >= low) & (taken <= high))
        if wrong.any():
            raise NetworkError(name, remedy, np.unique(rows[np.nonzero(wrong)[0]]).tolist())
        return taken


_TINY, _HUGE = 1e-12, 1e12


def load_laws(tree: FeedTree, loads: Loads, scenarios: int) -> LoadLaws:
    """Check the loads and sort them by their law, in the order of the solver.

    Parameters:
        tree: FeedTree, with n branches.
        loads: Loads, figures in [A], [V], [W], [ohm].
        scenarios: int [-], columns of the result.
    Returns:
        LoadLaws; conductances in [S], sources in [A].
    Errors: NetworkError with the field where a load's figure is missing, negative or impossible.
    Validity: as `Loads`.
    Source: Ohm's law; DC motor I = (V - e) / R with e = k w, seen from the supply of an ideal chopper.

    >>> tree = FeedTree.build(robot=[0], parent=[-1], supply_ohm=[0.01], return_ohm=[0.01])
    >>> load_laws(tree, Loads(kind=[LoadKind.RESISTANCE], load_ohm=np.array([2.0])), 1).conductance_s.tolist()
    [[0.5]]
    """
    read = _Reader(tree, loads, scenarios)
    g, j = np.zeros(read.shape), np.zeros(read.shape)
    current_at, power_at, ohm_at = (
        read.at(kind) for kind in (LoadKind.CURRENT, LoadKind.POWER, LoadKind.RESISTANCE)
    )
    amps = read.figure("current_a", current_at, 0.0, _HUGE, "enter the current the load draws, 0 A or more")
    j[current_at] = -amps
    watts = read.figure("power_w", power_at, 0.0, _HUGE, "enter the power the load draws, 0 W or more")
    g[ohm_at] = 1.0 / read.figure("load_ohm", ohm_at, _TINY, np.inf, "enter a resistance above 0 ohm")
    motor_at, motor_s, motor_a, limit_a = _motors(read, g)
    regulator_at = _regulators(read)
    at = (regulator_at,)
    output_v = read.figure("output_v", at, _TINY, _HUGE, "enter the regulator's output voltage, above 0 V")
    share = read.figure("efficiency_frac", at, _TINY, 1.0, "enter an efficiency above 0, at most 1")
    most = read.figure(
        "output_limit_a", at, 0.0, np.inf, "enter the regulator's greatest output current, or leave it out"
    )
    return LoadLaws(
        g, j, current_at, amps, power_at, watts, motor_at, motor_s, motor_a, limit_a,
        regulator_at, output_v, output_v / share, most,
    )  # fmt: skip


def _motors(read: _Reader, g: FloatArray) -> tuple[_Where, FloatArray, FloatArray, FloatArray]:
    """Write the linear motors into `g`; give the others with their conductance, source and limit."""
    at = read.at(LoadKind.MOTOR)
    ohms = read.figure(
        "motor_ohm", at, _TINY, _HUGE, "enter the motor's resistance: nominal voltage over stall current"
    )
    back = read.figure("back_emf_v", at, 0.0, _HUGE, "enter the back-EMF, 0 V or more")
    command = read.figure("command_frac", at, 0.0, 1.0, "enter a commanded fraction from 0 to 1")
    limit = read.figure("limit_a", at, 0.0, np.inf, "enter a current limit of 0 A or more, or leave it out")
    slope, source = command * command / ohms, command * back / ohms
    bent = (slope > 0.0) & ((source > 0.0) | np.isfinite(limit))
    g[at] = np.where(bent, 0.0, slope)
    if slope.ndim == 2:  # whole rows, so that they stay columns of scenarios
        bent = bent.any(axis=1)
        g[at[0][bent]] = 0.0
    chosen = tuple(index[bent] for index in at)
    return chosen, slope[bent], source[bent], limit[bent]


def _regulators(read: _Reader) -> PlaceArray:
    here = read.sorted_kind == LoadKind.REGULATOR
    if here.ndim == 2:
        mixed = here.any(axis=1) & ~here.all(axis=1)
        if mixed.any():
            rows = read.tree.order[np.flatnonzero(mixed)].tolist()
            raise NetworkError("kind", "a regulator is one in every scenario", rows)
        here = here.all(axis=1)
    return np.flatnonzero(here)
