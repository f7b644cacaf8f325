"""What hangs on the branches: the kinds of load and their laws, linear where they are and by tangent elsewhere.

Public names: `LoadKind`, `Loads`, `LoadLaws`, `load_laws`.

A load between its two poles draws g V - j: a conductance g and a source j. Constant current, resistance and an
unlimited motor at rest are exactly that. A motor that turns or is limited is so piece by piece; a constant power
only along the tangent at a voltage.
"""

from dataclasses import dataclass
from enum import IntEnum
from functools import cached_property
from typing import TypeAlias

import numpy as np
import numpy.typing as npt

from shared.electrical.arrays import BoolArray, FloatArray, Number
from shared.electrical.network.errors import NetworkError
from shared.electrical.network.tree import FeedTree, PlaceArray

__all__ = ["STEP", "LoadKind", "LoadLaws", "Loads", "load_laws"]

# A voltage or an efficiency below is a slip, not a figure; nothing on a robot reaches the other.
_TINY, _HUGE = 1e-12, 1e12
# Relative step of the voltage at which the tangent of a constant power misses its law by less than 1e-14.
STEP = 1e-7

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
        given = (np.asarray(value) for value in vars(self).values() if not isinstance(value, float))
        return max((array.shape[1] for array in given if array.ndim == 2), default=1)

    def only(self, rows: PlaceArray) -> "Loads":
        """Give the loads of some branches."""
        return Loads(**{name: value[rows] if np.ndim(value) else value for name, value in vars(self).items()})

    def times(self, factor: Number) -> "Loads":
        """Give the loads with constant currents and powers multiplied by (n,) or (n, s) factors."""
        changed = {name: _spread(getattr(self, name)) * factor for name in ("current_a", "power_w")}
        return Loads(**{**vars(self), **changed})


def _spread(value: Number) -> FloatArray:
    array = np.asarray(value, dtype=np.float64)
    return array[:, None] if array.ndim == 1 else array


def _at(values: FloatArray, places: _Where) -> FloatArray:
    """The figures there; for whole rows by the quicker way."""
    return values.take(places[0], axis=0) if len(places) == 1 else values[places]


@dataclass(eq=False)
class LoadLaws:
    """The loads in the order of the solver, sorted by what is done with them."""

    lines: FloatArray  # (2, n, s): conductance [S] and source [A] of the linear loads
    current_at: _Where
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

    @cached_property
    def passive(self) -> bool:
        """Whether no conductance can be negative, so that no pass can find a collapse on its way."""
        return not (len(self.power_at[0]) or len(self.regulator_at))

    @cached_property
    def linear(self) -> bool:
        """Whether one pass is exact."""
        return self.passive and not len(self.motor_at[0])

    def tangent(self, volts: FloatArray, secant: bool) -> FloatArray:
        """Conductance and source of every load near these voltages; NaN where a draw has no voltage left.

        With `secant` a motor at its limit gets the line from its cut-off, which lies below its law everywhere
        between: then no step from above passes the solution.
        """
        lines = self.lines.copy()
        g, j = lines
        if len(self.current_at[0]):
            below = _at(volts, self.current_at) < 0.0
            if below.any():
                j[self.current_at] = np.where(below, np.nan, _at(j, self.current_at))
        if len(self.power_at[0]):
            at = _at(volts, self.power_at)
            amps = self.power_w / np.where(at > 0.0, at, np.nan)
            g[self.power_at] = -amps / at
            j[self.power_at] = -2.0 * amps
        if len(self.motor_at[0]):
            at = _at(volts, self.motor_at)
            free = self.motor_s * at - self.motor_a
            turning, limited = free > 0.0, free > self.limit_a
            slope = np.where(turning & ~limited, self.motor_s, 0.0)
            if secant:
                cut_off = self.motor_a / self.motor_s
                slope = np.where(limited, self.limit_a / (at - cut_off), slope)
            g[self.motor_at] = slope
            j[self.motor_at] = slope * at - np.clip(free, 0.0, self.limit_a)
        return lines

    def unsettled(self, before: FloatArray, after: FloatArray) -> list[tuple[_Where, BoolArray]]:
        """Places, and which of them have a tangent at `before` that is not yet their law at `after`."""
        found: list[tuple[_Where, BoolArray]] = [(self.current_at, _at(after, self.current_at) < 0.0)]
        for places in (self.power_at, (self.regulator_at,)):
            # The tangent of P/V misses by the square of the relative step.
            new = _at(after, places)
            found.append((places, np.abs(new - _at(before, places)) > STEP * np.abs(new)))
        if len(self.motor_at[0]):
            old_a, new_a = (
                self.motor_s * _at(volts, self.motor_at) - self.motor_a for volts in (before, after)
            )
            line = np.where(old_a > self.limit_a, self.limit_a, np.where(old_a > 0.0, new_a, 0.0))
            missed = np.abs(line - np.clip(new_a, 0.0, self.limit_a))
            found.append((self.motor_at, missed > 1e-13 * (np.abs(new_a) + self.motor_a)))
        return found


@dataclass(eq=False)
class _Kind:
    """The rows of one kind of load, and the reading of their figures."""

    loads: Loads
    at: _Where  # in the order of the solver
    rows: PlaceArray  # the same in the caller's
    shape: tuple[int, ...]  # of their figures
    branches: int

    def figure(self, name: str, low: float, high: float, remedy: str) -> FloatArray:
        """One figure of these loads, or the one for all; refused where it is not from `low` to `high`."""
        value = np.asarray(getattr(self.loads, name), dtype=np.float64)
        if value.ndim and len(value) != self.branches:
            raise NetworkError(name, f"has {len(value)} rows where {self.branches} are expected")
        if value.ndim == 0:
            if not low <= float(value) <= high:
                raise NetworkError(name, remedy, np.unique(self.rows))
            return value
        if len(self.at) == 1:
            taken = value.take(self.rows, axis=0)
            taken = taken[:, None] if value.ndim == 1 else taken
        else:
            columns = self.at[1] if value.ndim == 2 and value.shape[1] > 1 else np.zeros_like(self.rows)
            taken = value.reshape(self.branches, -1)[self.rows, columns]
        # A NaN is neither; reading the ends is quicker than comparing every figure.
        if taken.size and not (taken.min() >= low and taken.max() <= high):
            wrong = np.nonzero(np.broadcast_to(~((taken >= low) & (taken <= high)), self.shape))[0]
            raise NetworkError(name, remedy, np.unique(self.rows[wrong]))
        return taken


_NOWHERE: _Where = (np.zeros(0, dtype=np.intp),)
_NOTHING = np.zeros((0, 1))


def _sorted_kinds(tree: FeedTree, loads: Loads, scenarios: int) -> dict[int, _Kind]:
    """The kinds of load that occur."""
    kind = np.asarray(loads.kind, dtype=np.int8)
    branches = len(tree.parent)
    if kind.ndim == 2 and kind.shape[1] == 1:
        kind = kind[:, 0]
    if kind.shape[:1] != (branches,):
        raise NetworkError(
            "kind", f"has {kind.shape[0] if kind.ndim else 1} rows where {branches} are expected"
        )
    known = kind.view(np.uint8)  # negative numbers as large ones
    counts = np.bincount(known.ravel(), minlength=1)
    if len(counts) > len(LoadKind):
        wrong = np.nonzero(known >= len(LoadKind))[0]
        raise NetworkError("kind", "there is no such kind of load", np.unique(wrong))
    ordered = tree.sort(kind)
    found: dict[int, _Kind] = {}
    for code, count in enumerate(counts.tolist()):
        if not (code and count):
            continue
        here = ordered == code  # the number, as comparing with the enumeration is slow
        at = (_always(tree, here) if code == LoadKind.REGULATOR and kind.ndim == 2 else here).nonzero()
        rows = at[0] if tree.in_order else tree.order[at[0]]
        shape = (len(rows), scenarios) if len(at) == 1 else (len(rows),)
        found[code] = _Kind(loads, at, rows, shape, branches)
    return found


def _always(tree: FeedTree, here: BoolArray) -> BoolArray:
    """Rows that are regulators in every scenario: what hangs on one cannot hang on a plain branch in another."""
    always = np.logical_and.reduce(here, axis=1)
    mixed = np.logical_or.reduce(here, axis=1) & ~always
    if mixed.any():
        raise NetworkError("kind", "a regulator is one in every scenario", tree.order[mixed])
    return np.asarray(always, dtype=np.bool_)


def load_laws(tree: FeedTree, loads: Loads, scenarios: int) -> LoadLaws:
    """Check the loads and sort them by their law, in the order of the solver.

    Parameters:
        tree: FeedTree, with n branches.
        loads: Loads, figures in [A], [V], [W], [ohm].
        scenarios: int [-], columns of the result.
    Returns:
        LoadLaws, lines in [S] and [A].
    Errors: NetworkError with the field where a load's figure is missing, negative or impossible.
    Validity: as `Loads`.
    Source: Ohm's law; DC motor I = (V - e) / R with e = k w, seen from the supply of an ideal chopper.

    >>> tree = FeedTree.build(robot=[0], parent=[-1], supply_ohm=[0.01], return_ohm=[0.01])
    >>> load_laws(tree, Loads(kind=[LoadKind.RESISTANCE], load_ohm=np.array([2.0])), 1).lines.tolist()
    [[[0.5]], [[0.0]]]
    """
    kinds = _sorted_kinds(tree, loads, scenarios)
    lines = np.zeros((2, len(tree.parent), scenarios))
    g, j = lines
    current_at = power_at = _NOWHERE
    power_w = _NOTHING
    if kind := kinds.get(LoadKind.CURRENT):
        current_at = kind.at
        j[current_at] = -kind.figure("current_a", 0.0, _HUGE, "enter the current the load draws, 0 A or more")
    if kind := kinds.get(LoadKind.RESISTANCE):
        g[kind.at] = 1.0 / kind.figure("load_ohm", _TINY, np.inf, "enter a resistance above 0 ohm")
    if kind := kinds.get(LoadKind.POWER):
        power_at = kind.at
        watts = kind.figure("power_w", 0.0, _HUGE, "enter the power the load draws, 0 W or more")
        power_w = np.broadcast_to(watts, kind.shape)
    motors = _motors(kinds.get(LoadKind.MOTOR), g)
    return LoadLaws(
        lines, current_at, power_at, power_w, *motors, *_regulators(kinds.get(LoadKind.REGULATOR))
    )


def _motors(kind: _Kind | None, g: FloatArray) -> tuple[_Where, FloatArray, FloatArray, FloatArray]:
    """Write the linear motors into `g`; give the others with their conductance, source and limit."""
    if kind is None:
        return _NOWHERE, _NOTHING, _NOTHING, _NOTHING
    ohms = kind.figure(
        "motor_ohm", _TINY, _HUGE, "enter the motor's resistance: nominal voltage over stall current"
    )
    back = kind.figure("back_emf_v", 0.0, _HUGE, "enter the back-EMF, 0 V or more")
    command = kind.figure("command_frac", 0.0, 1.0, "enter a commanded fraction from 0 to 1")
    limit = kind.figure("limit_a", 0.0, np.inf, "enter a current limit of 0 A or more, or leave it out")
    slope = command / ohms * command
    if not (back.max() > 0.0 or limit.min() < np.inf):
        g[kind.at] = slope
        return _NOWHERE, _NOTHING, _NOTHING, _NOTHING
    source = command / ohms * back
    slope, source, limit = (np.broadcast_to(figure, kind.shape) for figure in (slope, source, limit))
    bent = (slope > 0.0) & ((source > 0.0) | (limit < np.inf))
    if len(kind.at) == 1:  # whole rows, so that they stay columns of scenarios
        bent = np.logical_or.reduce(bent, axis=1)
    g[tuple(index[~bent] for index in kind.at)] = slope[~bent]
    return tuple(index[bent] for index in kind.at), slope[bent], source[bent], limit[bent]


def _regulators(kind: _Kind | None) -> tuple[PlaceArray, FloatArray, FloatArray, FloatArray]:
    if kind is None:
        return _NOWHERE[0], _NOTHING, _NOTHING, _NOTHING
    output_v = kind.figure("output_v", _TINY, _HUGE, "enter the regulator's output voltage, above 0 V")
    share = kind.figure("efficiency_frac", _TINY, 1.0, "enter an efficiency above 0, at most 1")
    most = kind.figure("output_limit_a", 0.0, np.inf, "enter the greatest output current, or leave it out")
    output_v, share, most = (np.broadcast_to(figure, kind.shape) for figure in (output_v, share, most))
    return kind.at[0], output_v, output_v / share, most
