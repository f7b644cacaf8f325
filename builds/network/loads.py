"""The loads of the network in each scenario: who runs, who peaks, and how each draws when the voltage sags."""

from __future__ import annotations

from dataclasses import dataclass
from enum import IntEnum
from functools import cached_property

import numpy as np

from builds.models.circuits import mechanism_of
from builds.network.currents import Currents
from inventory.models import Component
from shared.columns import BoolArray, FloatArray, IdArray
from shared.electrical.network import LoadKind, Loads


class Scenario(IntEnum):
    """The columns of every solution."""

    RUNNING = 0
    PUSH = 1
    ALL = 2


SCENARIO_WORDS: dict[Scenario, str] = {
    Scenario.RUNNING: "Everything runs steadily",
    Scenario.PUSH: "The heaviest mechanisms at their peak, the rest runs",
    Scenario.ALL: "Everything at its peak at once",
}
#: How many mechanisms push at once (common practice, no source): a drive train and one more.
PUSHING = 2

_DRAWS = {
    Component.Draw.CURRENT: LoadKind.CURRENT,
    Component.Draw.POWER: LoadKind.POWER,
    Component.Draw.RESISTANCE: LoadKind.RESISTANCE,
    Component.Draw.MOTOR: LoadKind.MOTOR,
}
#: What a component does that nobody entered it for: electronics behind converters draw more when the voltage sags.
_BY_ROLE = {
    Component.Role.MOTOR: LoadKind.MOTOR,
    Component.Role.CONTROLLER: LoadKind.POWER,
    Component.Role.RADIO: LoadKind.POWER,
    Component.Role.SENSOR: LoadKind.POWER,
    Component.Role.REGULATOR: LoadKind.POWER,
}


@dataclass(frozen=True)
class Mechanisms:
    """Which mechanism each circuit moves with: a number per circuit, and build and name of each number."""

    of_circuit: IdArray
    build_row: IdArray
    _words: tuple[str, ...]
    _word: IdArray

    @property
    def count(self) -> int:
        return self.build_row.size

    @cached_property
    def names(self) -> tuple[str, ...]:
        return tuple(self._words[k] for k in self._word.tolist())


class _Numbers(dict[tuple[str, str], int]):
    """(mechanism as entered, circuit code) -> number of the mechanism's name; each pair is taken apart once."""

    def __init__(self) -> None:
        self.names: dict[str, int] = {}

    def __missing__(self, pair: tuple[str, str]) -> int:
        number = self.names.setdefault(mechanism_of(*pair), len(self.names))
        self[pair] = number
        return number


def mechanisms(c: Currents) -> Mechanisms:
    """Group circuits by build and mechanism."""
    numbers, texts = _Numbers(), c.rows.circuits.texts
    pairs = zip(texts("mechanism"), texts("code"), strict=True)
    name_of = np.fromiter(map(numbers.__getitem__, pairs), np.int64, c.rows.size)
    names = tuple(numbers.names)
    key = c.rows.builds.row * max(len(names), 1) + name_of
    found, of_circuit = np.unique(key, return_inverse=True)
    build_row, name = np.divmod(found, max(len(names), 1))
    return Mechanisms(of_circuit.astype(np.int64), build_row, names, name)


def pushing(c: Currents, groups: Mechanisms, included: BoolArray, count: int | IdArray) -> BoolArray:
    """The circuits whose mechanism is among the ``count`` heaviest of its build, by the power of their peaks.

    ``count`` may be given per build.
    """
    weigh = included & c.is_load
    watts = np.where(weigh, np.fmin(c.peak_a, c.limit_a) * c.nominal_v, 0.0)
    weight = np.bincount(groups.of_circuit, weights=watts, minlength=groups.count)
    order = np.lexsort((-weight, groups.build_row))
    build = groups.build_row[order]
    starts = np.flatnonzero(np.diff(build, prepend=-1))
    rank = np.arange(build.size) - np.repeat(starts, np.diff(np.append(starts, build.size)))
    allowed = np.broadcast_to(np.asarray(count), (c.rows.builds.table.size,))[build]
    pushes = np.zeros(groups.count, dtype=np.bool_)
    pushes[order] = (rank < allowed) & (weight[order] > 0)
    return np.asarray(pushes[groups.of_circuit] & weigh)


def kinds(c: Currents) -> IdArray:
    """How each circuit's load draws, before it is known whether it peaks."""
    table = c.rows.components.table
    of_part = np.array(
        [
            _DRAWS.get(draw) or _BY_ROLE.get(role, LoadKind.CURRENT)
            for draw, role in zip(table.raw["draw"], table.raw["role"], strict=True)
        ],
        dtype=np.int64,
    )
    row = c.rows.components.row
    if not of_part.size:
        return np.full(row.size, LoadKind.CURRENT, dtype=np.int64)
    return np.where(row >= 0, of_part[row], LoadKind.CURRENT)


def loads_of(c: Currents, pushes: BoolArray, at: IdArray) -> Loads:
    """The loads of the circuits ``at``, a column per scenario."""
    running, peak = c.own_running_a[at], c.peak_a[at]
    peaks = np.stack(
        [np.zeros(at.size, dtype=np.bool_), pushes[at], np.ones(at.size, dtype=np.bool_)], axis=1
    )
    peaks &= (peak > running)[:, None]
    amps = np.where(peaks, peak[:, None], running[:, None])
    kind = np.broadcast_to(kinds(c)[at][:, None], amps.shape).copy()
    # A motor that turns draws what its torque asks for; one that starts or stalls is a resistance.
    kind[(kind == LoadKind.MOTOR) & ~peaks] = LoadKind.CURRENT
    kind[~(amps > 0) | ~c.is_load[at][:, None]] = LoadKind.NONE
    kind[c.regulates[at]] = LoadKind.REGULATOR
    return _figures(c, at, kind, amps)


def _figures(c: Currents, at: IdArray, kind: IdArray, amps: FloatArray) -> Loads:
    limit, nominal = c.limit_a[at][:, None], c.nominal_v[at][:, None]
    drawn = np.fmin(amps, limit)
    with np.errstate(divide="ignore", invalid="ignore"):
        ohm = nominal / amps

    def only(which: LoadKind, value: FloatArray) -> FloatArray:
        return np.where(kind == which, value, 0.0)

    parts, regulates = c.rows.components, c.regulates[at]
    most = parts.floats("output_max_a")[at]
    return Loads(
        kind=kind.astype(np.int8),
        current_a=only(LoadKind.CURRENT, drawn),
        power_w=only(LoadKind.POWER, drawn * nominal),
        load_ohm=only(LoadKind.RESISTANCE, ohm),
        motor_ohm=only(LoadKind.MOTOR, ohm),
        back_emf_v=np.zeros(at.size),
        command_frac=np.ones(at.size),
        limit_a=c.limit_a[at],
        output_v=np.where(regulates, parts.floats("output_v")[at], 0.0),
        efficiency_frac=np.where(regulates, c.efficiency_frac[at], 0.0),
        output_limit_a=np.where(regulates & ~np.isnan(most), most, np.inf),
    )
