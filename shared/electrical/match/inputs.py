"""What a match is played with: duty profiles, the robot's branches and loads, the battery.

Public names: `Duty`, `MatchRobot`, `MatchBattery`, `MatchError`.
"""

from dataclasses import dataclass, field
from typing import Final, Self

import numpy as np
import numpy.typing as npt

from shared.electrical.arrays import FloatArray
from shared.electrical.battery import RestCurve, rest_voltage_v
from shared.electrical.network.loads import LoadKind, Loads
from shared.electrical.network.tree import FeedTree, PlaceArray

__all__ = ["Duty", "MatchBattery", "MatchError", "MatchRobot"]


class MatchError(ValueError):
    """An input that no match can be played with; `field` names it."""

    def __init__(self, field: str, value: object, remedy: str) -> None:
        super().__init__(f"{field} is {value}: {remedy}")
        self.field = field


@dataclass(frozen=True)
class Duty:
    """Phases [s], one after the other and round again.

    `draw_frac`: of a motor the commanded fraction, of another load the share of its full draw. `torque_frac`:
    load torque of a motor as a share of its stall torque.
    """

    seconds: FloatArray
    draw_frac: FloatArray
    torque_frac: FloatArray

    @classmethod
    def of(cls, *phases: tuple[float, float, float]) -> Self:
        """Phases as (seconds, draw, torque)."""
        seconds, draw, torque = np.array(phases, dtype=np.float64).reshape(-1, 3).T.copy()
        return cls(seconds, draw, torque)

    def __post_init__(self) -> None:
        if not len(self.seconds) == len(self.draw_frac) == len(self.torque_frac) > 0:
            raise MatchError("seconds", len(self.seconds), "give every phase a length, a draw and a torque.")
        if not (self.seconds > 0.0).all():
            raise MatchError("seconds", float(self.seconds.min()), "a phase lasts longer than nothing.")
        for name, most in (("draw_frac", 1.0), ("torque_frac", np.inf)):
            values = getattr(self, name)
            if not ((values >= 0.0) & (values <= most)).all():
                raise MatchError(name, values.tolist(), "use fractions from 0 to 1.")


_PER_BRANCH: Final = (
    "stall_a", "free_a", "spin_up_s", "wire_ohm", "wire_rated_a", "wire_limit_c", "ambient_c", "wire_tau_s",
    "device_a", "device_tau_s", "holds_from_v",
)  # fmt: skip


@dataclass(frozen=True)
class MatchRobot:
    """One robot; arrays hold one value per branch in the order of the tree.

    The tree's resistances hold with copper at 20 C; `wire_ohm` is the part of them that is copper (both
    poles). Temperatures and devices with NaN are not judged.
    """

    tree: FeedTree
    loads: Loads
    duties: tuple[Duty | None, ...]
    group: PlaceArray  # branches of one mechanism share their phase
    board: int  # the far end of this branch is the board
    stall_a: FloatArray  # [A] at nominal voltage, motors
    free_a: FloatArray  # [A] running without load
    spin_up_s: FloatArray  # [s] mechanical time constant
    wire_ohm: FloatArray  # [ohm at 20 C]
    wire_rated_a: FloatArray  # [A] ampacity at `ambient_c` for `wire_limit_c`
    wire_limit_c: FloatArray
    ambient_c: FloatArray
    wire_tau_s: FloatArray
    device_a: FloatArray  # [A] that the device carries for ever
    device_tau_s: FloatArray
    # Least input at which a regulator holds its output; NaN: as much as it gives out, and always where it steps up.
    holds_from_v: FloatArray | float = np.nan
    watch_branch: PlaceArray = field(default_factory=lambda: np.zeros(0, dtype=np.intp))
    watch_v: FloatArray = field(default_factory=lambda: np.zeros(0))

    def __post_init__(self) -> None:
        count = len(self.duties)
        for name in _PER_BRANCH:
            values = np.broadcast_to(np.asarray(getattr(self, name), dtype=np.float64), (count,))
            object.__setattr__(self, name, values)
            if (values < 0.0).any() and name != "ambient_c":
                raise MatchError(name, float(values.min()), "a negative figure makes no sense here.")
        for name in ("group", "watch_branch"):
            object.__setattr__(self, name, np.asarray(getattr(self, name), dtype=np.intp))
        object.__setattr__(self, "watch_v", np.asarray(self.watch_v, dtype=np.float64))
        if len(self.tree.parent) != count or len(self.group) != count:
            raise MatchError("duties", count, "give one entry per branch of the tree.")
        kind = np.broadcast_to(np.asarray(self.loads.kind, dtype=np.int8).reshape(-1), (count,))
        if (self.spin_up_s[kind == LoadKind.MOTOR] <= 0.0).any():
            raise MatchError("spin_up_s", 0.0, "enter the motor's spin-up time, more than 0 s.")
        if not 0 <= self.board < count:
            raise MatchError("board", self.board, "name the branch whose far end is the board.")


@dataclass(frozen=True)
class MatchBattery:
    """Open-circuit voltage by charge, internal resistance, and one RC pair for polarisation."""

    curve: RestCurve
    capacity_ah: float
    charge_frac: float
    internal_ohm: float
    polarisation_ohm: float
    polarisation_s: float
    points: npt.NDArray[np.float64] = field(init=False, repr=False)  # (2, k) charge, volts

    def __post_init__(self) -> None:
        for name in ("capacity_ah", "internal_ohm", "polarisation_s"):
            if not 0.0 < getattr(self, name) < np.inf:
                raise MatchError(name, getattr(self, name), "enter a figure above zero.")
        if not 0.0 <= self.polarisation_ohm < np.inf:
            raise MatchError("polarisation_ohm", self.polarisation_ohm, "enter zero or more.")
        if not 0.0 <= self.charge_frac <= 1.0:
            raise MatchError("charge_frac", self.charge_frac, "use a state of charge from 0 to 1.")
        charge = np.linspace(0.0, 1.0, 101)
        points = np.array([charge, rest_voltage_v(charge, self.curve)])
        object.__setattr__(self, "points", points[:, ~np.isnan(points[1])])
