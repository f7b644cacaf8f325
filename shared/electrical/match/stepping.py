"""A match, stepped: `simulate`.

Public names: `simulate`, `BLOCK_RUNS`.

The ends of the phases lie on the step grid, so nothing changes within a step and the implicit midpoint rule keeps
its order. The voltage jumps where a phase begins and is lowest just there, so it is also solved at those knots.
Runs are stepped in blocks; in a step most of them keep their lines, and only those in which a load changed, or
whose lines do not fit any more, are settled anew.
"""

from collections.abc import Callable, Sequence
from typing import Final

import numpy as np

from shared.electrical.arrays import FloatArray
from shared.electrical.match.cells import Cells
from shared.electrical.match.circuit import Answer, Circuit
from shared.electrical.match.heat import Heat
from shared.electrical.match.inputs import MatchBattery, MatchError, MatchRobot
from shared.electrical.match.layout import lay_out
from shared.electrical.match.loads import FLOOR_V, LoadFigures, LoadState, Tangent
from shared.electrical.match.profiles import Cycles, cycles, knot_columns
from shared.electrical.match.record import MatchResult, MatchTrace, Record
from shared.electrical.network.loads import LoadKind
from shared.electrical.network.tree import PlaceArray

__all__ = ["BLOCK_RUNS", "simulate"]

# Runs stepped together: enough to be worth the calls, few enough to stay in the second-level cache.
BLOCK_RUNS: Final = 256
# Wires and devices are slow (time constants from 24 s): they are stepped this often.
WINDOW_S: Final = 0.2

Progress = Callable[[float], None]


class _Plan:
    """What all blocks share."""

    def __init__(
        self, robot: MatchRobot, batteries: Sequence[MatchBattery], duration_s: float, step_s: float
    ):
        kind = np.broadcast_to(np.asarray(robot.loads.kind, dtype=np.int8).reshape(-1), (len(robot.duties),))
        regulator = kind == LoadKind.REGULATOR
        self.robot, self.batteries, self.step_s = robot, batteries, step_s
        self.steps = max(round(duration_s / step_s), 1)
        self.window = max(round(WINDOW_S / step_s), 1)
        self.layout = lay_out(robot.tree, kind != LoadKind.NONE, regulator)
        most_v = max(float(battery.points[1].max()) for battery in batteries)
        self.figures = LoadFigures.of(robot, self.layout, most_v)
        self.circuit = Circuit(self.layout, self.figures)
        command = np.broadcast_to(
            np.asarray(robot.loads.command_frac, dtype=np.float64).reshape(-1), kind.shape
        )
        steady = np.where(kind == LoadKind.MOTOR, command, 1.0)
        # Rows that carry no load of their own stand still at no draw.
        carries = np.zeros(len(self.layout.order), dtype=np.bool_)
        carries[self.layout.load_row] = (kind != LoadKind.NONE) & ~regulator
        order = self.layout.order
        duties = [robot.duties[branch] if carries[row] else None for row, branch in enumerate(order)]
        self.table: Cycles = cycles(duties, np.where(carries, steady[order], 0.0), step_s)


class _Block:
    """Some runs, side by side."""

    def __init__(self, plan: _Plan, which: PlaceArray, shift: PlaceArray, traced: Sequence[int]) -> None:
        robot, layout = plan.robot, plan.layout
        rows, runs = len(layout.order), len(which)
        self.plan, self.circuit, self.figures, self.shift = plan, plan.circuit, plan.figures, shift
        self.cells = Cells(plan.batteries, which, plan.step_s)
        self.heat = Heat(robot, layout.order, runs, plan.window * plan.step_s)
        self.record = Record(
            int(layout.place[robot.board]),
            layout.place[robot.watch_branch],
            robot.watch_v,
            rows,
            runs,
            traced,
        )
        self.knots = knot_columns(plan.table, shift, plan.steps)
        self.emf = np.zeros((rows, runs))
        self.speed_up = np.zeros((rows, runs))
        self.slow_down = np.zeros((rows, runs))
        self.ohm = self.heat.ohm(layout.ohm[:, np.newaxis])
        none = np.zeros((rows, runs))
        self.state = LoadState.of(self.figures, none, none, 0.5 * plan.step_s)
        everyone = np.arange(runs)
        start = none + self.cells.as_they_stand(everyone).open_v
        self.folded, self.answer, _ = self.circuit.settle(
            self.state, self.ohm, self.emf, self.cells.as_they_stand(everyone), start
        )
        self._last_sum_a2 = none

    def run(self, progress: Progress) -> None:
        """Step through the match."""
        plan = self.plan
        for step in range(plan.steps):
            if step % plan.window == 0 and step:
                self._window(step)
                progress(step / plan.steps)
            changed = self.knots[step]
            if len(changed):
                self._knot(step, changed)
            self._step(step)
        self._warm(plan.steps)

    def _knot(self, step: int, runs: PlaceArray) -> None:
        """Take over what the loads ask for from here on, and solve the moment."""
        table, figures, half_s = self.plan.table, self.figures, 0.5 * self.plan.step_s
        at = table.start[:, np.newaxis] + (step + self.shift[:, runs]) % table.length[:, np.newaxis]
        draw = table.draw[at]
        torque_a = figures.free_a + (figures.stall_a - figures.free_a) * table.torque[at]
        emf, ohm, guess = self.emf[:, runs], self.ohm[:, runs], self.answer.volts[:, runs]
        moment = LoadState.of(figures, draw, torque_a, 0.0)
        _, answer, _ = self.circuit.settle(moment, ohm, emf, self.cells.as_they_stand(runs), guess)
        self.record.knot(step * self.plan.step_s, runs, answer)
        state = LoadState.of(figures, draw, torque_a, half_s)
        self.state.put(runs, state)
        twice_a = 2.0 * half_s / figures.tau_s * figures.motor_ohm
        self.speed_up[:, runs] = np.divide(twice_a, draw, where=draw > 0.0, out=np.zeros_like(draw))
        self.slow_down[:, runs] = twice_a * torque_a
        lines = Tangent.at(figures, state, answer.volts, emf)
        self.folded.put(runs, self.circuit.fold(lines, ohm, emf, answer.volts))

    def _step(self, step: int) -> None:
        supply = self.cells.over_step()
        answer = self.circuit.unfold(self.folded, self.ohm, self.emf, supply)
        bad = self.circuit.misfit(self.state, self.emf, answer)
        middle_s = (step + 0.5) * self.plan.step_s
        if bad.any():
            self._settle(np.flatnonzero(bad), answer, middle_s)
        self.answer = answer
        self._advance(answer)
        self.record.step(middle_s, answer)
        if len(self.figures.power_rows):
            below = (answer.volts[self.figures.power_rows] < FLOOR_V) & (self.state.power > 0.0)
            low = np.logical_or.reduce(below, axis=0)
            if low.any():
                self.record.collapse(middle_s, low)

    def _settle(self, runs: PlaceArray, answer: Answer, time_s: float) -> None:
        supply = self.cells.over_step()
        supply = type(supply)(supply.open_v[runs], supply.ohm[runs])
        folded, found, lost = self.circuit.settle(
            self.state.columns(runs), self.ohm[:, runs], self.emf[:, runs], supply, answer.volts[:, runs]
        )
        self.folded.put(runs, folded)
        answer.put(runs, found)
        if lost.any():
            everyone = np.zeros(answer.total_a.shape, dtype=np.bool_)
            everyone[runs[lost]] = True
            self.record.collapse(time_s, everyone)

    def _advance(self, answer: Answer) -> None:
        """Motors by what they drew, the battery by the sum."""
        gain = self.speed_up * answer.amps
        gain -= self.slow_down
        self.emf += gain
        np.maximum(self.emf, 0.0, out=self.emf)
        self.cells.advance(answer.total_a)

    def _window(self, step: int) -> None:
        """Let the wires warm, and fold again with their new resistance."""
        self._warm(step)
        self.ohm = self.heat.ohm(self.plan.layout.ohm[:, np.newaxis])
        self.cells.look_up()
        lines = Tangent.at(self.figures, self.state, self.answer.volts, self.emf)
        self.folded = self.circuit.fold(lines, self.ohm, self.emf, self.answer.volts)

    def _warm(self, step: int) -> None:
        passed = step % self.plan.window or self.plan.window
        self.record.close_window()
        self.heat.warm((self.record.sum_a2 - self._last_sum_a2) / passed, step * self.plan.step_s)
        self._last_sum_a2 = self.record.sum_a2.copy()


def simulate(
    robot: MatchRobot,
    batteries: Sequence[MatchBattery],
    shifts_s: FloatArray,
    *,
    duration_s: float = 150.0,
    step_s: float = 0.02,
    traces: Sequence[tuple[int, int]] = (),
    progress: Progress | None = None,
) -> MatchResult:
    """Play a match: voltages, charge and heat of one robot in many runs, with each of some batteries.

    Parameters:
        robot: MatchRobot [ohm], [A], [V], [s], [C].
        batteries: MatchBattery each [V], [Ah], [ohm], [s].
        shifts_s: array (groups, runs) [s], how far into its cycle each mechanism is at the start of each run.
        duration_s: float [s].
        step_s: float [s]; the ends of phases and the shifts are rounded to it.
        traces: pairs (battery, run) [-] whose course is kept.
        progress: called with the share done [fraction 0-1], or None.
    Returns:
        MatchResult [V], [A], [s], [Ah], [Wh], [C]. A collapse of the voltage is an answer: `collapsed`, with the
        time; the run goes on with its electronics as resistances below 1 V, so every figure stays a number.
    Errors: MatchError where the shifts do not fit the robot's mechanisms, there is no battery, or no time.
    Validity: 12 V, motors behind ideal choppers that feed nothing back; inductance left out (milliseconds). At
        20 ms within 1 mV of the converged solution of this model for spin-up times of 0.1 s and more.
    Source: implicit midpoint rule; DC motor and battery equations as in `loads` and `cells` of this package.

    >>> from shared.electrical.match.examples import one_motor
    >>> robot, battery = one_motor()
    >>> result = simulate(robot, [battery], np.zeros((1, 1)), duration_s=2.0)
    >>> round(float(result.lowest_v[0, 0]), 2), float(result.lowest_at_s[0, 0])
    (11.25, 0.0)
    """
    shifts = np.atleast_2d(np.asarray(shifts_s, dtype=np.float64))
    if not batteries:
        raise MatchError("batteries", 0, "choose a battery.")
    if not (np.isfinite(duration_s) and duration_s > 0.0 and 0.0 < step_s <= duration_s):
        raise MatchError("duration_s", duration_s, "enter a duration of at least one step.")
    if len(shifts) <= robot.group.max() or shifts.shape[1] == 0 or not np.isfinite(shifts).all():
        raise MatchError("shifts_s", shifts.shape, "give one row per mechanism and one column per run.")
    plan = _Plan(robot, batteries, duration_s, step_s)
    runs = shifts.shape[1]
    shift = np.round(shifts / step_s).astype(np.intp)[robot.group[plan.layout.order]]
    total = len(batteries) * runs
    wanted = [battery * runs + run for battery, run in traces]
    blocks: list[_Block] = []
    found: dict[int, MatchTrace] = {}
    for start in range(0, total, BLOCK_RUNS):
        column = np.arange(start, min(start + BLOCK_RUNS, total))
        mine = sorted({one for one in wanted if start <= one < start + len(column)})
        block = _Block(plan, column // runs, shift[:, column % runs], [one - start for one in mine])

        def report(share: float, start: int = start, here: int = len(column)) -> None:
            if progress is not None:
                progress((start + share * here) / total)

        block.run(report)
        found |= dict(zip(mine, block.record.traces(), strict=True))
        blocks.append(block)
    if progress is not None:
        progress(1.0)
    return _result(plan, blocks, runs, tuple(found[one] for one in wanted))


def _result(plan: _Plan, blocks: Sequence[_Block], runs: int, traces: tuple[MatchTrace, ...]) -> MatchResult:
    """Put the blocks together, in the caller's order of branches."""
    shape = (len(plan.batteries), runs)
    place = plan.layout.place
    records = [block.record for block in blocks]

    def join(parts: Sequence[FloatArray]) -> FloatArray:
        whole = np.concatenate(parts, axis=-1)
        return whole.reshape(*whole.shape[:-1], *shape)

    def branches(parts: Sequence[FloatArray]) -> FloatArray:
        return join([part[place] for part in parts])

    hours = plan.step_s / 3600.0
    collapsed_at = join([record.collapsed_at_s for record in records])
    branch_v = branches([record.branch_v for record in records])
    return MatchResult(
        lowest_v=join([record.lowest_v for record in records]),
        lowest_at_s=join([record.lowest_at_s for record in records]),
        lowest_current_a=branches([record.lowest_a for record in records]),
        branch_lowest_v=branch_v,
        below_s=join([record.below_steps * plan.step_s for record in records]),
        watch_lowest_v=branch_v[plan.robot.watch_branch],
        charge_ah=join([block.cells.drawn_ah for block in blocks]),
        energy_wh=join([record.sum_w * hours for record in records]),
        charge_end_frac=join([block.cells.charge_frac() for block in blocks]),
        branch_ah=branches([record.sum_a * hours for record in records]),
        wire_max_c=branches([block.heat.most_c for block in blocks]),
        wire_max_at_s=branches([block.heat.most_at_s for block in blocks]),
        device_heat_max=branches([block.heat.device_most for block in blocks]),
        collapsed=~np.isnan(collapsed_at),
        collapsed_at_s=collapsed_at,
        window_s=plan.window * plan.step_s,
        window_low_v=join([np.array(record.windows) for record in records]),
        traces=traces,
    )
