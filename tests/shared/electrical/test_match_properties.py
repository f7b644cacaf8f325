"""What holds in any match: conservation, order of convergence, independence of runs, the steady solver's answer."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from shared.electrical.match import Duty, MatchBattery, MatchRobot, simulate
from shared.electrical.network import FeedTree, LoadKind, Loads, Sources, solve
from tests.reference_robot import reference_battery, reference_robot, shifts

EXAMPLES = 15


@st.composite
def robots(draw, heavy: float = 1.0) -> MatchRobot:
    """Trees of any shape with any loads; light enough that a battery bears them, or `heavy` times as much."""
    n = draw(st.integers(2, 9))
    rng = np.random.default_rng(draw(st.integers(0, 2**32 - 1)))
    parent = np.array([-1, *(int(rng.integers(-1 if row > 2 else 0, row)) for row in range(1, n))])
    kind = rng.integers(0, 6, n)
    kind[0] = draw(st.sampled_from([LoadKind.NONE, LoadKind.MOTOR, LoadKind.CURRENT]))
    motor = kind == LoadKind.MOTOR
    duties = tuple(
        Duty.of(*((rng.integers(1, 30) * 0.02, rng.uniform(0, 1), rng.uniform(0, 0.5)) for _ in range(3)))
        if rng.random() < 0.8
        else None
        for _ in range(n)
    )
    return MatchRobot(
        tree=FeedTree.build(
            robot=np.zeros(n, dtype=int),
            parent=parent,
            supply_ohm=rng.uniform(0.003, 0.02, n),
            return_ohm=rng.uniform(0.0, 0.02, n),
        ),
        loads=Loads(
            kind=kind,
            current_a=np.where(kind == LoadKind.CURRENT, rng.uniform(0.0, 2.0, n) * heavy, 0.0),
            power_w=np.where(kind == LoadKind.POWER, rng.uniform(0.0, 8.0, n) * heavy, 0.0),
            load_ohm=rng.uniform(4.0, 20.0, n),
            motor_ohm=rng.uniform(0.2, 2.0, n) / heavy,
            command_frac=0.5,
            limit_a=np.where(rng.random(n) < 0.5, rng.uniform(2.0, 20.0, n), np.inf),
            output_v=np.where(kind == LoadKind.REGULATOR, rng.uniform(4.0, 7.0, n), 0.0),
            efficiency_frac=rng.uniform(0.7, 1.0, n),
        ),
        duties=duties,
        group=np.minimum(np.arange(n), 2),
        board=0,
        stall_a=np.where(motor, 30.0, 0.0),
        free_a=np.where(motor, 0.5, 0.0),
        spin_up_s=rng.uniform(0.1, 0.5, n),
        wire_ohm=np.full(n, 0.003),
        wire_rated_a=np.full(n, 20.0),
        wire_limit_c=np.full(n, 105.0),
        ambient_c=np.full(n, 25.0),
        wire_tau_s=np.full(n, 30.0),
        device_a=np.full(n, 30.0),
        device_tau_s=np.full(n, 20.0),
    )


BATTERY = MatchBattery("agm_small", 18.0, 0.9, 0.012, 0.003, 30.0)


@settings(max_examples=EXAMPLES)
@given(robots())
def test_charge_and_energy_are_conserved_on_every_branch(robot):
    result = simulate(robot, [BATTERY], np.array([[0.0, 0.3], [0.1, 0.0], [0.2, 0.5]]), duration_s=1.0)
    parent, kind = robot.tree.parent, np.asarray(robot.loads.kind)
    top = parent < 0
    arrived, lost, charge = result.branch_wh, result.loss_wh, result.branch_ah
    assert charge[top].sum(axis=0) == pytest.approx(result.charge_ah, rel=1e-9, abs=1e-12)
    assert (arrived + lost)[top].sum(axis=0) == pytest.approx(result.energy_wh, rel=2e-5, abs=1e-9)
    for branch in range(len(parent)):
        fed = parent == branch
        if not fed.any():
            continue
        passed_on = (arrived + lost)[fed].sum(axis=0)
        if kind[branch] == LoadKind.REGULATOR:
            efficiency = np.broadcast_to(robot.loads.efficiency_frac, kind.shape)[branch]
            assert passed_on == pytest.approx(arrived[branch] * efficiency, rel=2e-4, abs=1e-7)
        elif kind[branch] == LoadKind.NONE:
            assert passed_on == pytest.approx(arrived[branch], rel=2e-5, abs=1e-9)
            assert charge[fed].sum(axis=0) == pytest.approx(charge[branch], rel=1e-9, abs=1e-12)
        else:
            assert (arrived[branch] >= passed_on - 1e-7).all()


@settings(max_examples=EXAMPLES)
@given(robots())
def test_the_first_moment_is_the_steady_solution(robot):
    """All motors still stand: the solver of the network, which shares no code with the stepping, knows it."""
    result = simulate(robot, [BATTERY], np.zeros((3, 1)), duration_s=0.02, traces=[(0, 0)])
    first = [duty or Duty.of((1.0, 1.0, 0.0)) for duty in robot.duties]
    draw = np.array([duty.draw_frac[0] for duty in first])
    motor = np.asarray(robot.loads.kind) == LoadKind.MOTOR
    command = np.where(motor & [duty is None for duty in robot.duties], robot.loads.command_frac, draw)
    asked = Loads(
        kind=robot.loads.kind,
        current_a=robot.loads.current_a * draw,
        power_w=robot.loads.power_w * draw,
        load_ohm=np.minimum(robot.loads.load_ohm / np.maximum(draw, 1e-12), 1e12),
        motor_ohm=robot.loads.motor_ohm,
        command_frac=command,
        limit_a=robot.loads.limit_a,
        output_v=robot.loads.output_v,
        efficiency_frac=robot.loads.efficiency_frac,
    )
    warm = robot.wire_ohm * 5.0 / 254.5
    tree = robot.tree.with_ohm(robot.tree.supply_ohm[:, 0] + warm, robot.tree.return_ohm)
    open_v = float(np.interp(0.9, *BATTERY.points))
    steady = solve(tree, Sources(open_v, BATTERY.internal_ohm), asked)
    trace = result.traces[0]
    assert trace.time_s[1] == 0.0
    assert trace.battery_v[1] == pytest.approx(steady.battery_v[0, 0], abs=2e-5)
    assert trace.board_v[1] == pytest.approx(steady.load_v[0, 0], abs=2e-5)


@settings(max_examples=EXAMPLES)
@given(robots(heavy=20.0), st.floats(0.02, 1.0))
def test_however_overloaded_every_figure_is_a_number(robot, charge_frac):
    tired = MatchBattery("agm_small", 0.5, charge_frac, 0.06, 0.02, 5.0)
    result = simulate(robot, [tired], np.array([[0.0, 0.3], [0.1, 0.0], [0.2, 0.5]]), duration_s=0.5)
    for name in ("lowest_v", "branch_lowest_v", "charge_ah", "branch_wh", "wire_max_c", "device_heat_max"):
        values = getattr(result, name)
        assert np.isfinite(values).all(), name
        assert (values >= -1e-9).all(), name
    assert (result.lowest_v <= 12.85).all()
    assert np.array_equal(result.collapsed, np.isfinite(result.collapsed_at_s))


@settings(max_examples=EXAMPLES)
@given(robots(), st.integers(0, 100))
def test_runs_do_not_know_of_each_other(robot, seed):
    offsets: np.ndarray = np.random.default_rng(seed).integers(0, 60, (3, 5)) * np.float64(0.02)
    together = simulate(robot, [BATTERY], offsets, duration_s=0.5)
    for run in range(5):
        alone = simulate(robot, [BATTERY], offsets[:, [run]], duration_s=0.5)
        for name in (
            "lowest_v",
            "branch_lowest_v",
            "charge_ah",
            "branch_ah",
            "device_heat_max",
            "wire_max_c",
        ):
            mine = getattr(together, name)[..., run]
            assert mine == pytest.approx(getattr(alone, name)[..., 0], rel=2e-5, abs=2e-5), name


def test_blocks_join_without_a_seam(monkeypatch):
    robot, offsets = reference_robot(3), shifts(7)
    whole = simulate(robot, [reference_battery()], offsets, duration_s=1.0)
    monkeypatch.setattr("shared.electrical.match.stepping.BLOCK_VALUES", 30)
    parts = simulate(robot, [reference_battery()], offsets, duration_s=1.0, traces=[(0, 5), (0, 0)])
    assert parts.lowest_v == pytest.approx(whole.lowest_v, abs=2e-5)
    assert parts.window_low_v.shape == whole.window_low_v.shape
    assert [trace.board_v.min() for trace in parts.traces] == pytest.approx(
        [whole.lowest_v[0, 5], whole.lowest_v[0, 0]], abs=2e-5
    )


def errors_by_step(
    robot: MatchRobot, steps_s: tuple[float, ...], duration_s: float, offsets: np.ndarray | float = 0.0
) -> list[float]:
    """Greatest distance of the board's voltage from that at a twentieth of the smallest step."""
    battery = reference_battery()

    def board_v(step_s: float) -> np.ndarray:
        result = simulate(
            robot,
            [battery],
            np.zeros((5, 1)) + offsets,
            duration_s=duration_s,
            step_s=step_s,
            traces=[(0, 0)],
        )
        trace = result.traces[0]
        times = np.arange(0.04, duration_s, 0.04)  # every step has these
        places = np.searchsorted(trace.time_s, times + 1e-9, side="right") - 1
        return trace.board_v[places]

    exact = board_v(steps_s[-1] / 20.0)
    return [float(np.abs(board_v(step_s) - exact).max()) for step_s in steps_s]


def test_halving_the_step_quarters_the_error():
    """Without limits and stops, where the equations are smooth between the knots; these lie on every step."""
    robot = reference_robot(5)
    rising = Duty.of((0.8, 0.4, 0.05), (1.2, 0.8, 0.08))
    changes = {
        "loads": Loads(**{**vars(robot.loads), "limit_a": np.inf}),
        "duties": tuple(rising if robot.stall_a[row] else None for row in range(len(robot.duties))),
    }
    smooth = MatchRobot(**{**vars(robot), **changes})
    coarse, middle, fine = errors_by_step(smooth, (0.04, 0.02, 0.01), 1.8)
    assert 3.0 < coarse / middle < 5.5
    assert 3.0 < middle / fine < 5.5


def test_twenty_milliseconds_are_within_a_millivolt():
    error = errors_by_step(reference_robot(20), (0.02,), 4.0, shifts(1))[0]
    assert error < 1e-3


def test_the_lowest_voltage_is_no_higher_than_any_point_of_the_trace():
    offsets = shifts(4)
    result = simulate(
        reference_robot(8), [reference_battery()], offsets, duration_s=10.0, traces=[(0, r) for r in range(4)]
    )
    for run, trace in enumerate(result.traces):
        assert result.lowest_v[0, run] <= trace.board_v.min() + 2e-5
        assert result.lowest_v[0, run] == pytest.approx(trace.board_v.min(), abs=2e-3)
        assert result.window_low_v[:, 0, run].min() == result.lowest_v[0, run]
