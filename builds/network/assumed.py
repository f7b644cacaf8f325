"""What is left out of a robot's network, and what had to be assumed in it: said beside every answer."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from enum import IntEnum

import numpy as np
import numpy.typing as npt

from builds.electrical import CircuitColumns
from builds.network.currents import EFFICIENCY_FRAC, Currents
from shared.columns import BoolArray, FloatArray
from shared.electrical.sources import COMMON_PRACTICE, Source
from shared.electrical.tables.contacts import BLADE_DROP_SOURCE, JOINT_MOHM


class Out(IntEnum):
    """Why a circuit is not part of the network; the first that applies."""

    IN = 0
    NO_POWER = 1
    NO_WIRE = 2
    NO_LENGTH = 3
    NO_FEED = 4
    FEED_OUT = 5
    NO_OUTPUT = 6
    NO_CURRENT = 7


#: What people read. Signal circuits carry no power and miss nothing.
OUT_WORDS: dict[Out, str] = {
    Out.NO_POWER: "carries signals, no power",
    Out.NO_WIRE: "its wire type is not known",
    Out.NO_LENGTH: "its length is not known",
    Out.NO_FEED: "it has no way to the battery: look at what it is fed from",
    Out.FEED_OUT: "the circuit that feeds it is left out",
    Out.NO_OUTPUT: "the output voltage of the regulator that feeds it is not known",
    Out.NO_CURRENT: "its running current is not known",
}
OutArray = npt.NDArray[np.int8]


@dataclass(frozen=True, slots=True)
class LeftOut:
    """A power circuit that takes no part, with the reason."""

    circuit_id: int
    code: str
    reason: str


@dataclass(frozen=True, slots=True)
class Assumption:
    """A figure nobody entered, and what was taken for it. ``circuit_id`` is None where it is the build's own."""

    circuit_id: int | None
    code: str
    what: str
    value: float | None
    unit: str
    source: str

    def __str__(self) -> str:
        figure = "" if self.value is None else f" {self.value:g} {self.unit}".rstrip()
        return f"{self.code}: {self.what}{figure} ({self.source})"


_FROM_RATING = Source("The fuse's own figure is not known", "counted as nothing", COMMON_PRACTICE)
_CONVERTER = Source("Efficiency of a step-down converter", "", COMMON_PRACTICE)


def sort_out(c: Currents) -> OutArray:
    """Which circuits are part of the network, and why the others are not; level by level from the battery."""
    rows = c.rows
    out = np.full(rows.size, Out.NO_FEED, dtype=np.int8)
    own = _own_reason(c)
    lost = ~np.isnan(rows.floats("fed_from_id")) & (rows.parent < 0)
    other_build = np.zeros(rows.size, dtype=np.bool_)
    fed = np.flatnonzero(rows.parent >= 0)
    other_build[fed] = rows.builds.row[fed] != rows.builds.row[rows.parent[fed]]
    for depth, level in enumerate(rows.levels):
        out[level] = own[level]
        if depth:
            up = rows.parent[level]
            blind = c.is_regulator[up] & np.isnan(rows.components.floats("output_v")[up])
            out[level] = np.where(blind, Out.NO_OUTPUT, out[level])
            out[level] = np.where(out[up] != Out.IN, Out.FEED_OUT, out[level])
        out[level] = np.where((lost | other_build)[level], Out.NO_FEED, out[level])
    out[~c.is_power] = Out.NO_POWER
    return out


def _own_reason(c: Currents) -> OutArray:
    cold, length = c.ohm_per_m_20c, c.rows.floats("length_m")
    cases = [~c.is_power, np.isnan(cold), ~(length > 0), np.isnan(c.own_running_a) & c.is_load]
    codes = [np.int8(out) for out in (Out.NO_POWER, Out.NO_WIRE, Out.NO_LENGTH, Out.NO_CURRENT)]
    return np.select(cases, codes, np.int8(Out.IN)).astype(np.int8)


def left_out(rows: CircuitColumns, out: OutArray, at: BoolArray) -> list[LeftOut]:
    """The power circuits of ``at`` that take no part."""
    codes = rows.circuits.texts("code")
    wanted = np.flatnonzero(at & (out != Out.IN) & (out != Out.NO_POWER))
    return [LeftOut(int(rows.ids[i]), codes[i], OUT_WORDS[Out(int(out[i]))]) for i in wanted.tolist()]


def assumptions(c: Currents, at: BoolArray) -> list[Assumption]:
    """What was assumed of the circuits of ``at``, kind by kind."""
    return [*_joints(c, at), *_devices(c, at), *_regulators(c, at)]


def _each(c: Currents, mask: BoolArray, what: str, value: FloatArray | None, unit: str, source: object
          ) -> Iterator[Assumption]:  # fmt: skip
    codes = c.rows.circuits.texts("code")
    for i in np.flatnonzero(mask).tolist():
        figure = None if value is None else float(value[i])
        yield Assumption(int(c.rows.ids[i]), codes[i], what, figure, unit, str(source))


def _joints(c: Currents, at: BoolArray) -> Iterator[Assumption]:
    unmeasured = at & np.isnan(c.rows.floats("joints_mohm"))
    yield from _each(c, unmeasured, "joints of both poles", c.joints_ohm * 1e3, "mohm", JOINT_MOHM.source)


def _devices(c: Currents, at: BoolArray) -> Iterator[Assumption]:
    unknown = at & c.has_device & np.isnan(c.rows.devices.floats("resistance_mohm"))
    blade = unknown & c.is_blade
    yield from _each(c, blade, "resistance of the fuse", c.device_ohm * 1e3, "mohm", BLADE_DROP_SOURCE)
    yield from _each(
        c, unknown & ~c.is_blade, "resistance of the device", c.device_ohm * 1e3, "mohm", _FROM_RATING
    )


def _regulators(c: Currents, at: BoolArray) -> Iterator[Assumption]:
    unknown = at & c.regulates & np.isnan(c.rows.components.floats("efficiency_frac"))
    value = np.full(c.rows.size, EFFICIENCY_FRAC)
    yield from _each(c, unknown, "efficiency of the regulator", value, "", _CONVERTER)
