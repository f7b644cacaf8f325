"""The loads' law at one moment: current as a function of the voltage that arrives, and its tangent.

Public names: `FLOOR_V`, `LoadFigures`, `LoadState`, `Tangent`.

Over a step of h the back-EMF of a motor follows de/dt = (R/tau)(I - I_load) by the implicit midpoint rule; put
into I = (d V - e)/R that leaves a straight line in V with the e of the step's start. With a = h / (2 tau), as
drawn from the supply (d I):

    I = (d^2 V - d (e - a R I_load)) / (R (1 + a)),   at most d^2 V / R (e never negative),
    never below 0 (the controller feeds nothing back), never above the controller's limit.

a = 0 gives the current of the moment. Every other load is a special case of the same line. Constant currents and
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

__all__ = ["FLOOR_V", "LoadFigures", "LoadState", "Tangent"]

# No load of a 12 V machine works below this.
FLOOR_V: Final = 1.0


@dataclass(frozen=True, slots=True)
class LoadFigures:
    """What never changes in a match, per row (rows, 1), and which rows carry powers and regulators."""

    motor_s: FloatArray  # 1 / R
    motor_ohm: FloatArray
    tau_s: FloatArray  # infinite where there is no motor
    resistor_s: FloatArray
    current_a: FloatArray
    limit_a: FloatArray
    stall_a: FloatArray
    free_a: FloatArray
    power_rows: PlaceArray
    power_w: FloatArray
    output_v: FloatArray  # regulators
    input_share: FloatArray
    hold_v: FloatArray  # input below which the output sags
    output_limit_a: FloatArray

    @classmethod
    def of(cls, robot: MatchRobot, layout: Layout, most_v: float) -> Self:
        """Read the loads' figures in the order of the rows. No battery has more than `most_v`."""
        count = len(robot.duties)
        rows = len(layout.order)

        def spread(values: npt.ArrayLike) -> FloatArray:
            column = np.asarray(values, dtype=np.float64)
            return np.broadcast_to(column[:, 0] if column.ndim == 2 else column, (count,))

        kind = spread(robot.loads.kind)

        def by_row(values: npt.ArrayLike, only: LoadKind, other: float = 0.0) -> FloatArray:
            found = np.full((rows, 1), other)
            found[layout.load_row, 0] = np.where(kind == only, spread(values), other)
            return found

        motor_ohm = by_row(robot.loads.motor_ohm, LoadKind.MOTOR)
        load_ohm = by_row(robot.loads.load_ohm, LoadKind.RESISTANCE)
        power = by_row(robot.loads.power_w, LoadKind.POWER)
        power_rows = np.sort(layout.load_row[kind == LoadKind.POWER])
        output_v = by_row(robot.loads.output_v, LoadKind.REGULATOR)[layout.regulators]
        efficiency = by_row(robot.loads.efficiency_frac, LoadKind.REGULATOR, 1.0)[layout.regulators]
        return cls(
            motor_s=np.divide(1.0, motor_ohm, where=motor_ohm > 0.0, out=np.zeros_like(motor_ohm)),
            motor_ohm=motor_ohm,
            tau_s=by_row(robot.spin_up_s, LoadKind.MOTOR, np.inf),
            resistor_s=np.divide(1.0, load_ohm, where=load_ohm > 0.0, out=np.zeros_like(load_ohm)),
            current_a=by_row(robot.loads.current_a, LoadKind.CURRENT),
            limit_a=by_row(robot.loads.limit_a, LoadKind.MOTOR, np.inf),
            stall_a=by_row(robot.stall_a, LoadKind.MOTOR),
            free_a=by_row(robot.free_a, LoadKind.MOTOR),
            power_rows=power_rows,
            power_w=power[power_rows],
            output_v=output_v,
            # What gives more than any battery has steps up; the others pass their input on when it is too low.
            hold_v=np.where(output_v > most_v, FLOOR_V, output_v),
            input_share=output_v / efficiency,
            output_limit_a=by_row(robot.loads.output_limit_a, LoadKind.REGULATOR, np.inf)[layout.regulators],
        )


@dataclass(frozen=True, slots=True)
class LoadState:
    """The law I(V) = clip(min(slope V - (back e - push), most V), 0, limit) of every load (rows, runs)."""

    slope: FloatArray
    back: FloatArray
    push: FloatArray
    most: FloatArray
    power: FloatArray  # (power rows, runs) [W]

    @classmethod
    def of(
        cls, figures: LoadFigures, draw: FloatArray, torque_a: FloatArray, half_step_s: float
    ) -> "LoadState":
        """The law at a draw and a load torque (as motor current), `half_step_s` = 0 for the moment itself."""
        a = half_step_s / figures.tau_s
        back = draw * (figures.motor_s / (1.0 + a))
        steady = draw * figures.resistor_s
        constant = draw * figures.current_a
        return cls(
            slope=draw * back + steady,
            back=back,
            push=back * (a * figures.motor_ohm) * torque_a + constant,
            most=draw * draw * figures.motor_s + steady + constant / FLOOR_V,
            power=draw[figures.power_rows] * figures.power_w,
        )

    def columns(self, runs: PlaceArray) -> "LoadState":
        """The law of some runs."""
        return LoadState(*(getattr(self, name)[:, runs] for name in self.__slots__))

    def put(self, runs: PlaceArray, new: "LoadState") -> None:
        """Replace the law of some runs."""
        for name in self.__slots__:
            getattr(self, name)[:, runs] = getattr(new, name)


@dataclass(frozen=True, slots=True)
class Tangent:
    """Straight lines I = g V - (c e - k) that stand for the loads near a voltage."""

    g: FloatArray
    c: FloatArray
    k: FloatArray

    @classmethod
    def at(cls, figures: LoadFigures, state: LoadState, volts: FloatArray, emf: FloatArray) -> "Tangent":
        """The lines at these voltages; rows of regulators are left at zero for the network to fill."""
        turning = state.slope * volts - (state.back * emf - state.push)
        standing = state.most * volts
        stands = standing < turning
        amps = np.where(stands, standing, turning)
        limited = amps > figures.limit_a
        held = limited | (amps < 0.0)
        straight = ~(held | stands)
        g = np.where(held, 0.0, np.where(stands, state.most, state.slope))
        k = np.where(straight, state.push, np.where(limited, figures.limit_a, 0.0))
        if len(figures.power_rows):
            at = volts[figures.power_rows]
            works = at >= FLOOR_V
            safe = np.where(works, at, FLOOR_V)
            g[figures.power_rows] = state.power / safe**2 * np.where(works, -1.0, 1.0)
            k[figures.power_rows] = np.where(works, 2.0 * state.power / safe, 0.0)
        return cls(g, np.where(straight, state.back, 0.0), k)
