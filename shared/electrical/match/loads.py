"""The loads' law at one moment: current as a function of the voltage that arrives.

Public names: `FLOOR_V`, `LoadFigures`, `LoadLaw`.

Over a step of h the back-EMF of a motor follows de/dt = (R/tau)(I - I_load) by the implicit midpoint rule; put
into I = (d V - e)/R that leaves a straight line in V with the e of the step's start. With a = h / (2 tau), as
drawn from the supply (d I):

    I = (d^2 V - d (e - a R I_load)) / (R (1 + a)),   at most d^2 V / R (e never negative),
    never below 0 (the controller feeds nothing back), never above the controller's limit.

a = 0 gives the current of the moment. Every other load is a special case of the same line. Behind the resistance of
a branch the law keeps its shape, seen from the node that feeds it. Constant currents and
powers become resistances below `FLOOR_V`, so that there is always an answer: a robot whose constant powers have
no other is found down there, and its voltage has collapsed.
"""

from dataclasses import dataclass
from typing import Final, Self

import numpy as np
import numpy.typing as npt

from shared.electrical.arrays import FloatArray
from shared.electrical.match.inputs import MatchRobot
from shared.electrical.match.layout import Layout
from shared.electrical.network.loads import LoadKind
from shared.electrical.network.tree import PlaceArray

__all__ = ["FLOOR_V", "LoadFigures", "LoadLaw"]

# No load of a 12 V machine works below this.
FLOOR_V: Final = 1.0


@dataclass(frozen=True, slots=True)
class LoadFigures:
    """What never changes in a match: columns (loads, 1), (powers, 1) and of the regulators (regulators, 1)."""

    motor_s: FloatArray  # 1 / R
    motor_ohm: FloatArray
    tau_s: FloatArray  # infinite where there is no motor
    resistor_s: FloatArray
    current_a: FloatArray
    limit_a: FloatArray
    stall_a: FloatArray
    free_a: FloatArray
    power_w: FloatArray
    output_v: FloatArray
    hold_v: FloatArray  # input below which the output sags
    efficiency: FloatArray
    output_limit_a: FloatArray

    @classmethod
    def of(cls, robot: MatchRobot, layout: Layout, most_v: float) -> Self:
        """Read the loads' figures in the order of the rows. No battery has more than `most_v`."""
        count = len(robot.duties)

        def spread(values: npt.ArrayLike) -> FloatArray:
            column = np.asarray(values, dtype=np.float64)
            return np.broadcast_to(column[:, 0] if column.ndim == 2 else column, (count,))

        kind = spread(robot.loads.kind)

        def by_row(values: npt.ArrayLike, only: LoadKind, other: float = 0.0) -> FloatArray:
            branch = layout.order[: layout.loads]
            found: FloatArray = np.where(kind == only, spread(values), other)[branch, np.newaxis]
            return found

        def inverse(ohm: FloatArray) -> FloatArray:
            return np.divide(1.0, ohm, where=ohm > 0.0, out=np.zeros_like(ohm))

        motor_ohm = by_row(robot.loads.motor_ohm, LoadKind.MOTOR)
        output_v = by_row(robot.loads.output_v, LoadKind.REGULATOR)[layout.regulators]
        holds_v = by_row(robot.holds_from_v, LoadKind.REGULATOR)[layout.regulators]
        # What gives more than any battery has steps up; the others pass their input on when it is too low.
        usual_v = np.where(output_v > most_v, FLOOR_V, output_v)
        return cls(
            motor_s=inverse(motor_ohm),
            motor_ohm=motor_ohm,
            tau_s=by_row(robot.spin_up_s, LoadKind.MOTOR, np.inf),
            resistor_s=inverse(by_row(robot.loads.load_ohm, LoadKind.RESISTANCE)),
            current_a=by_row(robot.loads.current_a, LoadKind.CURRENT),
            limit_a=by_row(robot.loads.limit_a, LoadKind.MOTOR, np.inf),
            stall_a=by_row(robot.stall_a, LoadKind.MOTOR),
            free_a=by_row(robot.free_a, LoadKind.MOTOR),
            power_w=by_row(robot.loads.power_w, LoadKind.POWER)[layout.powers],
            output_v=output_v,
            hold_v=np.where(np.isnan(holds_v), usual_v, np.maximum(holds_v, FLOOR_V)),
            efficiency=by_row(robot.loads.efficiency_frac, LoadKind.REGULATOR, 1.0)[layout.regulators],
            output_limit_a=by_row(robot.loads.output_limit_a, LoadKind.REGULATOR, np.inf)[layout.regulators],
        )

    def load_a(self, torque_frac: FloatArray, rows: PlaceArray | slice = slice(None)) -> FloatArray:
        """Motor current that a load torque takes, I = I_free + (I_stall - I_free) T / T_stall."""
        free, stall = self.free_a[rows], self.stall_a[rows]
        if not isinstance(rows, slice):
            free, stall = free[:, 0], stall[:, 0]
        return free + (stall - free) * torque_frac


@dataclass(frozen=True, slots=True)
class LoadLaw:
    """I(V) = clip(min(slope V + push - back e, most V), 0, limit), one value per load and run."""

    slope: FloatArray
    back: FloatArray
    push: FloatArray
    most: FloatArray

    @classmethod
    def of(
        cls,
        figures: LoadFigures,
        draw: FloatArray,
        load_a: FloatArray,
        half_step_s: float,
        rows: PlaceArray | None = None,
    ) -> Self:
        """The law at a draw and a load torque (as motor current), `half_step_s` = 0 for the moment itself.

        Draws are (loads, runs), or one-dimensional with `rows` telling whose they are.
        """

        def figure(name: str) -> FloatArray:
            column: FloatArray = getattr(figures, name)
            return column if rows is None else column[rows, 0]

        motor_s = figure("motor_s")
        a = half_step_s / figure("tau_s")
        back = draw * (motor_s / (1.0 + a))
        steady, constant = draw * figure("resistor_s"), draw * figure("current_a")
        return cls(
            slope=draw * back + steady,
            back=back,
            push=back * (a * figure("motor_ohm")) * load_a + constant,
            most=draw * draw * motor_s + steady + constant / FLOOR_V,
        )

    def behind(self, ohm: FloatArray) -> "LoadLaw":
        """The law as seen through a resistance."""
        share = 1.0 / (1.0 + ohm * self.slope)
        return LoadLaw(
            self.slope * share, self.back * share, self.push * share, self.most / (1.0 + ohm * self.most)
        )

    def put(self, places: PlaceArray, new: "LoadLaw") -> None:
        """Replace some entries, by their place in the flat arrays."""
        for name in self.__slots__:
            getattr(self, name).reshape(-1)[places] = getattr(new, name)
