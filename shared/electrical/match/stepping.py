"""A match, stepped: `simulate`.

Public names: `simulate`, `BLOCK_VALUES`.

The ends of the phases lie on the step grid, so nothing changes within a step and the implicit midpoint rule keeps
its order. The voltage jumps where a phase begins and is lowest just there, so it is also solved at those knots.
Those moments do not enter the steps, so they are put aside and solved some together. Runs are stepped in blocks,
side by side.
"""

from collections.abc import Callable, Sequence
from typing import Final

import numpy as np

from shared.electrical.arrays import FloatArray
from shared.electrical.match.cells import Cells
from shared.electrical.match.circuit import Circuit, Draws, Nodes, Supply
from shared.electrical.match.heat import Heat
from shared.electrical.match.inputs import MatchBattery, MatchError, MatchRobot
from shared.electrical.match.layout import lay_out
from shared.electrical.match.loads import FLOOR_V, LoadFigures, LoadLaw
from shared.electrical.match.profiles import Cycles, asked, cycles, knot_places
from shared.electrical.match.record import MatchResult, MatchTrace, Record
from shared.electrical.network.loads import LoadKind
from shared.electrical.network.tree import PlaceArray

__all__ = ["BLOCK_VALUES", "simulate"]

# Values (rows times runs) stepped together: enough to be worth the calls, few enough to stay near.
BLOCK_VALUES: Final = 32_768
# As many moments between steps are solved at once.
_MOMENTS: Final = 200
# Wires and devices are slow (time constants from 24 s): they are stepped this often.
WINDOW_S: Final = 0.2

Progress = Callable[[float], None]


class _Plan:
    """What all blocks share."""

    def __init__(
        self, robot: MatchRobot, batteries: Sequence[MatchBattery], duration_s: float, step_s: float
    ):
        kind = np.broadcast_to(np.asarray(robot.loads.kind, dtype=np.int8).reshape(-1), (len(robot.duties),))
        self.robot, self.batteries, self.step_s = robot, batteries, step_s
        self.steps = max(round(duration_s / step_s), 1)
        self.window = max(round(WINDOW_S / step_s), 1)
        regulator = kind == LoadKind.REGULATOR
        self.layout = lay_out(robot.tree, kind != LoadKind.NONE, kind == LoadKind.POWER, regulator)
        most_v = max(float(battery.points[1].max()) for battery in batteries)
        self.figures = LoadFigures.of(robot, self.layout, most_v)
        self.circuit = Circuit(self.layout, self.figures)
        command = np.broadcast_to(
            np.asarray(robot.loads.command_frac, dtype=np.float64).reshape(-1), kind.shape
        )
        steady = np.where(kind == LoadKind.MOTOR, command, 1.0)
        loads = self.layout.order[: self.layout.loads]
        self.table: Cycles = cycles([robot.duties[branch] for branch in loads], steady[loads], step_s)

    def law(self, draw: FloatArray, load_a: FloatArray, ohm: FloatArray, half_s: float) -> LoadLaw:
        """All loads as their nodes see them; `half_s` = 0 for the moment itself."""
        return LoadLaw.of(self.figures, draw, load_a, half_s).behind(ohm[: self.layout.loads])


class _Moments:
    """Moments between steps, put aside to be solved some together."""

    def __init__(self) -> None:
        self._kept: list[tuple[FloatArray, ...]] = []
        self._runs: list[PlaceArray] = []

    def before(self, block: "_Block", time_s: float, runs: PlaceArray) -> None:
        """Put aside some runs as they stand."""
        emf, open_v = block.emf.take(runs, axis=1), block.cells.open_v_now(runs)
        self._keep(block, emf, open_v, np.full(len(runs), time_s), runs)

    def after(self, block: "_Block") -> None:
        """The same once more with what the loads ask for since; the step's voltages are near."""
        emf, open_v, time_s = self._kept[-1][:3]
        self._keep(block, emf, open_v, time_s, self._runs[-1])

    def _keep(
        self, block: "_Block", emf: FloatArray, open_v: FloatArray, time_s: FloatArray, runs: PlaceArray
    ) -> None:
        nodes = block.nodes
        whole = (block.draw, block.load_a, nodes.volts, nodes.slope, nodes.input_v, nodes.asked_a)
        self._kept.append((emf, open_v, time_s, *(values.take(runs, axis=1) for values in whole)))
        self._runs.append(runs)

    def solve(self, block: "_Block", least: int = 1) -> None:
        """Solve what was put aside and note it, if there are so many."""
        if sum(map(len, self._runs)) < least:
            return
        plan, which = block.plan, self._runs
        runs = np.concatenate(which)
        parts = (np.concatenate(part, axis=-1) for part in zip(*self._kept, strict=True))
        emf, open_v, time_s, draw, load_a, *nodes = parts
        self._kept, self._runs = [], []
        ohm = block.ohm.take(runs, axis=1)
        law = plan.law(draw, load_a, ohm, 0.0)
        watts = draw[plan.layout.powers] * plan.figures.power_w
        draws = Draws(law.slope, law.push - law.back * emf, law.most, watts, ohm)
        supply = Supply(open_v, block.cells.internal_ohm[runs])
        empty = np.empty_like(ohm), np.empty_like(ohm)
        answer, _ = plan.circuit.solve(draws, supply, Nodes(*nodes), *empty)
        block.record.moments(time_s, which, answer)


class _Block:
    """Some runs, side by side."""

    def __init__(self, plan: _Plan, which: PlaceArray, shift: PlaceArray, traced: Sequence[int]) -> None:
        robot, layout, runs = plan.robot, plan.layout, len(which)
        shape, whole = (layout.loads, runs), (len(layout.order), runs)
        self.plan, self.shift = plan, shift
        self.cells = Cells(plan.batteries, which, plan.step_s)
        self.heat = Heat(robot, layout, runs, plan.window * plan.step_s)
        board, watch = int(layout.place[robot.board]), layout.place[robot.watch_branch]
        self.record = Record(board, watch, robot.watch_v, *whole, traced)
        self.knots = knot_places(plan.table, shift, plan.steps)
        self.moments = _Moments()
        self.emf, self.draw, self.load_a = np.zeros(shape), np.zeros(shape), np.zeros(shape)
        self.speed_up, self.slow_down, self._gain = np.zeros(shape), np.zeros(shape), np.empty(shape)
        self.ohm = self.heat.ohm()
        self.nodes = plan.circuit.idle(self.cells.open_v_now(np.arange(runs)))
        self._drift = np.zeros_like(self.nodes.volts)
        self._amps, self._volts, self._base = np.zeros(whole), np.zeros(whole), np.zeros(shape)
        self._watts = np.zeros((len(layout.powers), runs))
        self._serve = True
        self._last_sum_a2 = np.zeros(whole)
        self.lost_w = np.zeros(whole)
        self._see()

    def _see(self) -> None:
        """The loads as their nodes see them, with the resistances of the moment."""
        self.law = self.plan.law(self.draw, self.load_a, self.ohm, 0.5 * self.plan.step_s)
        self.draws = Draws(self.law.slope, self._base, self.law.most, self._watts, self.ohm)
        self._serve = True

    def run(self, progress: Progress) -> None:
        """Step through the match."""
        plan = self.plan
        for step in range(plan.steps):
            if step % plan.window == 0 and step:
                self._window(step)
                progress(step / plan.steps)
            changed = self._knot(step, self.knots[step])
            self._step((step + 0.5) * plan.step_s, changed)
            if len(changed):
                self.moments.after(self)
                self.moments.solve(self, least=_MOMENTS)
        self.moments.before(self, plan.steps * plan.step_s, np.arange(self.shift.shape[1]))
        self._warm(plan.steps)

    def _knot(self, step: int, places: PlaceArray) -> PlaceArray:
        """Take over what some loads ask for from here on; gives the runs."""
        plan, half_s, time_s = self.plan, 0.5 * self.plan.step_s, step * self.plan.step_s
        row, run = np.divmod(places, self.shift.shape[1])
        changed = np.zeros(self.shift.shape[1], dtype=np.bool_)
        changed[run] = True
        runs = np.flatnonzero(changed)
        if len(self.record.traced):
            self.moments.before(self, time_s, np.setdiff1d(self.record.traced, runs))
        if not len(runs):
            return runs
        self.moments.before(self, time_s, runs)
        draw, torque = asked(plan.table, self.shift, places, step)
        load_a = plan.figures.load_a(torque, row)
        self.draw.reshape(-1)[places], self.load_a.reshape(-1)[places] = draw, load_a
        law = LoadLaw.of(plan.figures, draw, load_a, half_s, row)
        self.law.put(places, law.behind(self.ohm.reshape(-1)[places]))
        np.multiply(self.draw[plan.layout.powers], plan.figures.power_w, out=self._watts)
        self._serve = True
        twice_a_ohm = (2.0 * half_s / plan.figures.tau_s * plan.figures.motor_ohm)[row, 0]
        self.speed_up.reshape(-1)[places] = twice_a_ohm / np.where(draw > 0.0, draw, np.inf)
        self.slow_down.reshape(-1)[places] = twice_a_ohm * load_a
        return runs

    def _step(self, middle_s: float, changed: PlaceArray) -> None:
        """Motors go by what they draw, the battery by the sum."""
        nodes, drift = self.nodes, self._drift
        np.multiply(self.law.back, self.emf, out=self._base)
        np.subtract(self.law.push, self._base, out=self._base)
        before_v = nodes.volts.copy()
        drift[:, changed] = 0.0
        np.maximum(nodes.volts + drift, 0.0, out=nodes.volts)
        answer, lost = self.plan.circuit.solve(
            self.draws, self.cells.over_step(), nodes, self._amps, self._volts, serve=self._serve
        )
        self._serve = self.plan.circuit.restless
        np.subtract(nodes.volts, before_v, out=drift)
        drift[:, changed] = 0.0
        np.multiply(self.speed_up, answer.amps[: len(self.emf)], out=self._gain)
        self._gain -= self.slow_down
        self.emf += self._gain
        np.maximum(self.emf, 0.0, out=self.emf)
        self.cells.advance(answer.total_a)
        self.record.step(middle_s, answer)
        low = (answer.volts[self.plan.layout.powers] < FLOOR_V) & (self._watts > 0.0)
        if len(lost) or low.any():
            self.record.collapse(middle_s, np.union1d(lost, np.nonzero(low)[1]))

    def _window(self, step: int) -> None:
        """Let the wires warm, and look at the loads through their new resistance."""
        self._warm(step)
        self.cells.look_up()
        self.ohm = self.heat.ohm()
        self._see()

    def _warm(self, step: int) -> None:
        passed = step % self.plan.window or self.plan.window
        self.moments.solve(self)
        self.record.close_window()
        sum_a2 = self.record.sum_a2 - self._last_sum_a2
        self.lost_w += sum_a2 * self.ohm
        self.heat.warm(sum_a2 / passed, step * self.plan.step_s)
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
    shift = np.round(shifts / step_s).astype(np.intp)[robot.group[plan.layout.order[: plan.layout.loads]]]
    total = len(batteries) * runs
    wanted = [battery * runs + run for battery, run in traces]
    blocks: list[_Block] = []
    found: dict[int, MatchTrace] = {}
    count = -(-total * len(plan.layout.order) // BLOCK_VALUES)
    for column in np.array_split(np.arange(total), min(count, total)):
        start = int(column[0])
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
        branch_wh=branches([record.arrived_w * hours for record in records]),
        loss_wh=branches([block.lost_w * hours for block in blocks]),
        wire_max_c=branches([block.heat.most_c for block in blocks]),
        wire_max_at_s=branches([block.heat.most_at_s for block in blocks]),
        device_heat_max=branches([block.heat.device_most for block in blocks]),
        collapsed=~np.isnan(collapsed_at),
        collapsed_at_s=collapsed_at,
        window_s=plan.window * plan.step_s,
        window_low_v=join([np.array(record.windows) for record in records]),
        traces=traces,
    )
