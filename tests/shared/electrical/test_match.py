"""A match against what can be worked out by hand: one load at a time, and the refusals."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import numpy as np
import pytest

from shared.electrical.battery import rest_voltage_v
from shared.electrical.conductors import conductor_temperature_c
from shared.electrical.match import (
    Duty,
    MatchBattery,
    MatchError,
    MatchResult,
    MatchRobot,
    device_heat_tau_s,
    simulate,
)
from shared.electrical.network import FeedTree, LoadKind, Loads, Sources, solve
from shared.electrical.sources import Source
from shared.electrical.tables.protection import CURVES, CurvePoint, TimeCurrentCurve
from tests.reference_robot import reference_battery, reference_robot, shifts

NONE, CURRENT, POWER, RESISTANCE, MOTOR, REGULATOR = LoadKind
# No polarisation, and so much charge that its voltage stays.
STIFF = MatchBattery("agm_small", 1e9, 1.0, 0.015, 0.0, 1.0)


def small_robot(kind: list[LoadKind], parent: list[int], duties: list[Duty | None], **changes) -> MatchRobot:
    """Branches of 20 mohm; whatever is not given is not judged."""
    n = len(kind)
    loads = {name: changes.pop(name) for name in list(changes) if name in Loads.__dataclass_fields__}
    nan = np.full(n, np.nan)
    figures: dict[str, Any] = {
        "group": np.zeros(n, dtype=int),
        "board": 0,
        "stall_a": np.zeros(n),
        "free_a": np.zeros(n),
        "spin_up_s": np.full(n, 0.2),
        "wire_ohm": np.zeros(n),
        "wire_rated_a": nan,
        "wire_limit_c": nan,
        "ambient_c": np.full(n, 20.0),
        "wire_tau_s": nan,
        "device_a": nan,
        "device_tau_s": nan,
    }
    tree = FeedTree.build(robot=[0] * n, parent=parent, supply_ohm=[0.012] * n, return_ohm=[0.008] * n)
    return MatchRobot(tree, Loads(kind=kind, **loads), tuple(duties), **(figures | changes))


def play(robot: MatchRobot, battery: MatchBattery = STIFF, **options) -> MatchResult:
    """One run, traced, with no shift."""
    groups = int(robot.group.max()) + 1
    return simulate(robot, [battery], np.zeros((groups, 1)), traces=[(0, 0)], **options)


# --- one load at a time ---------------------------------------------------------------------------


def test_a_resistance_is_ohms_law():
    result = play(
        small_robot([NONE, RESISTANCE], [-1, 0], [None, None], load_ohm=np.array([0.0, 1.0])), duration_s=1.0
    )
    amps = 12.85 / (0.015 + 0.02 + 0.02 + 1.0)
    assert result.lowest_current_a[:, 0, 0] == pytest.approx([amps, amps], rel=1e-6)
    assert result.lowest_v[0, 0] == pytest.approx(12.85 - 0.035 * amps, rel=1e-6)
    assert result.branch_lowest_v[:, 0, 0] == pytest.approx([12.85 - 0.035 * amps, amps], rel=1e-6)
    assert result.charge_ah[0, 0] == pytest.approx(amps / 3600.0, rel=1e-6)
    assert result.energy_wh[0, 0] == pytest.approx((12.85 - 0.015 * amps) * amps / 3600.0, rel=1e-6)
    assert result.branch_wh[1, 0, 0] == pytest.approx(amps * amps / 3600.0, rel=1e-6)
    assert result.loss_wh[:, 0, 0] == pytest.approx([0.02 * amps * amps / 3600.0] * 2, rel=1e-6)


def test_a_load_on_the_board_itself():
    robot = small_robot([CURRENT, CURRENT], [-1, 0], [None, None], current_a=np.array([10.0, 5.0]))
    result = play(robot, duration_s=0.1)
    assert result.lowest_v[0, 0] == pytest.approx(12.85 - 0.035 * 15.0, rel=1e-6)
    assert result.branch_lowest_v[1, 0, 0] == pytest.approx(12.85 - 0.035 * 15.0 - 0.02 * 5.0, rel=1e-6)


def test_a_constant_power_takes_the_higher_of_its_two_voltages():
    robot = small_robot([POWER], [-1], [None], power_w=np.array([300.0]))
    result = play(robot, duration_s=0.1)
    # V = (E + sqrt(E^2 - 4 P R)) / 2: Rint model, 12.7 V, 15 mohm and 1500 W being the published check value.
    assert result.lowest_v[0, 0] == pytest.approx((12.85 + np.sqrt(12.85**2 - 4 * 300 * 0.035)) / 2, rel=1e-6)
    known = MatchBattery(((0.0, 12.0), (1.0, 12.70)), 1e9, 1.0, 0.015, 0.0, 1.0)
    bare = replace(
        robot,
        tree=FeedTree.build(robot=[0], parent=[-1], supply_ohm=[1e-9], return_ohm=[0.0]),
        loads=Loads(kind=[POWER], power_w=np.array([1500.0])),
    )
    assert play(bare, known, duration_s=0.1).lowest_v[0, 0] == pytest.approx(10.57167, abs=2e-5)


def test_a_motor_runs_up_as_an_exponential():
    # Back-EMF e' = (R / tau)(I - I_load) with I = (V0 - e) / (R + Rs): first order, tau (R + Rs) / R.
    robot = small_robot(
        [NONE, MOTOR], [-1, 0], [None, Duty.of((10.0, 1.0, 0.1))],
        motor_ohm=np.array([0.0, 0.12]), stall_a=np.array([0.0, 100.0]), free_a=np.array([0.0, 2.0]),
    )  # fmt: skip
    result = play(robot, duration_s=1.0)
    trace = result.traces[0]
    load_a, total = 2.0 + 98.0 * 0.1, 0.12 + 0.055
    tau = 0.2 * total / 0.12
    expected = load_a + (12.85 / total - load_a) * np.exp(-trace.time_s[1:] / tau)
    assert trace.current_a[0] == 0.0
    assert trace.current_a[1:] == pytest.approx(expected, rel=1e-3)
    assert result.lowest_at_s[0, 0] == 0.0
    assert result.lowest_v[0, 0] == pytest.approx(12.85 - 0.035 * 12.85 / total, rel=1e-6)


def test_a_current_limit_holds_the_supply_current_until_the_motor_turns():
    robot = small_robot(
        [NONE, MOTOR], [-1, 0], [None, Duty.of((10.0, 1.0, 0.1))],
        motor_ohm=np.array([0.0, 0.12]), stall_a=np.array([0.0, 100.0]), limit_a=np.array([np.inf, 40.0]),
    )  # fmt: skip
    trace = play(robot, duration_s=2.0).traces[0]
    limited = trace.time_s[1:] < 0.15
    assert trace.current_a[1:][limited] == pytest.approx(40.0, rel=1e-5)
    assert trace.current_a.max() == pytest.approx(40.0, rel=1e-5)
    assert trace.current_a[-1] == pytest.approx(10.0, rel=1e-2)


def test_a_stalled_motor_stands_and_draws_its_start_current():
    robot = small_robot(
        [NONE, MOTOR], [-1, 0], [None, Duty.of((1.0, 0.5, 0.9))],
        motor_ohm=np.array([0.0, 0.12]), stall_a=np.array([0.0, 100.0]),
    )  # fmt: skip
    trace = play(robot, duration_s=1.0).traces[0]
    # d^2 V / R from its supply.
    amps = 12.85 / (0.055 + 0.12 / 0.25)
    assert trace.current_a[1:] == pytest.approx(amps, rel=1e-6)


def test_a_motor_that_is_let_go_feeds_nothing_back():
    robot = small_robot(
        [NONE, MOTOR], [-1, 0], [None, Duty.of((1.0, 1.0, 0.1), (3.0, 0.3, 0.1))],
        motor_ohm=np.array([0.0, 0.12]), stall_a=np.array([0.0, 100.0]),
    )  # fmt: skip
    result = play(robot, duration_s=4.0)
    trace = result.traces[0]
    assert trace.current_a.min() == 0.0
    assert trace.board_v.max() <= 12.85 + 1e-9
    # Braked by its load alone it slows at R I_load / tau until the lower command takes over again.
    assert (trace.current_a[trace.time_s > 3.0] > 0.5).all()


def test_a_regulator_draws_the_power_of_what_it_feeds():
    robot = small_robot(
        [NONE, REGULATOR, POWER], [-1, 0, 1], [None, None, None],
        power_w=np.array([0.0, 0.0, 5.0]), output_v=np.array([0.0, 5.0, 0.0]),
        efficiency_frac=np.array([1.0, 0.8, 1.0]),
    )  # fmt: skip
    result = play(robot, duration_s=0.1)
    steady = solve(robot.tree, Sources(12.85, 0.015), robot.loads)
    assert result.lowest_current_a[:, 0, 0] == pytest.approx(steady.current_a[:, 0], rel=1e-6)
    assert result.branch_lowest_v[:, 0, 0] == pytest.approx(steady.load_v[:, 0], rel=1e-6)


@pytest.mark.parametrize(("limit_a", "arrives"), [(2.0, True), (0.5, False)])
def test_a_regulator_asked_for_too_much_switches_off_what_it_feeds(limit_a, arrives):
    robot = small_robot(
        [NONE, REGULATOR, CURRENT], [-1, 0, 1], [None, None, None],
        current_a=np.array([0.0, 0.0, 1.0]), output_v=np.array([0.0, 5.0, 0.0]),
        output_limit_a=np.array([np.inf, limit_a, np.inf]),
    )  # fmt: skip
    result = play(robot, duration_s=0.1)
    assert result.branch_lowest_v[2, 0, 0] == pytest.approx(5.0 - 0.02 if arrives else 0.0, abs=1e-6)
    # At the limit it draws what the limit allows.
    volts = result.branch_lowest_v[1, 0, 0]
    assert result.lowest_current_a[1, 0, 0] * volts == pytest.approx(5.0 * min(1.0, limit_a), rel=1e-4)


def test_the_output_of_a_regulator_sags_with_an_input_that_is_too_low():
    robot = small_robot(
        [NONE, REGULATOR, RESISTANCE, CURRENT], [-1, 0, 1, 0], [None] * 4,
        load_ohm=np.array([0.0, 0.0, 10.0, 0.0]), output_v=np.array([0.0, 9.0, 0.0, 0.0]),
        current_a=np.array([0.0, 0.0, 0.0, 150.0]),
    )  # fmt: skip
    result = play(robot, duration_s=0.1)
    into = result.branch_lowest_v[1, 0, 0]
    assert 7.0 < into < 8.0
    assert result.branch_lowest_v[2, 0, 0] == pytest.approx(into * 10.0 / 10.02, rel=1e-4)


# --- battery ---------------------------------------------------------------------------------------


def test_polarisation_builds_up_with_its_time_constant():
    battery = MatchBattery("agm_small", 1e9, 1.0, 0.015, 0.004, 20.0)
    robot = small_robot([CURRENT], [-1], [None], current_a=np.array([50.0]))
    trace = play(robot, battery, duration_s=60.0, step_s=0.1).traces[0]
    expected = 12.85 - 50.0 * 0.015 - 50.0 * 0.004 * -np.expm1(-trace.time_s[1:] / 20.0)
    assert trace.battery_v[1:] == pytest.approx(expected, abs=2e-6)


def test_the_open_voltage_follows_the_curve_as_charge_is_drawn():
    battery = MatchBattery("agm_small", 18.0, 0.8, 0.015, 0.0, 1.0)
    robot = small_robot([CURRENT], [-1], [None], current_a=np.array([100.0]))
    result = play(robot, battery, duration_s=150.0, step_s=0.1)
    assert result.charge_ah[0, 0] == pytest.approx(100.0 * 150.0 / 3600.0, rel=1e-5)
    left = 0.8 - 100.0 * 150.0 / 3600.0 / 18.0
    assert result.charge_end_frac[0, 0] == pytest.approx(left, rel=1e-5)
    assert result.traces[0].battery_v[-1] == pytest.approx(float(rest_voltage_v(left)) - 1.5, abs=1e-4)


def test_every_battery_gets_every_run():
    robot, two = reference_robot(4), [reference_battery(), reference_battery(0.6, 0.024)]
    both = simulate(robot, two, shifts(3), duration_s=4.0)
    second = simulate(robot, two[1:], shifts(3), duration_s=4.0)
    assert both.lowest_v.shape == (2, 3)
    assert (both.lowest_v[1] < both.lowest_v[0]).all()
    assert both.lowest_v[1] == pytest.approx(second.lowest_v[0], abs=2e-5)


# --- profiles, levels, heat ------------------------------------------------------------------------


def test_phases_follow_each_other_and_the_shift():
    duty = Duty.of((0.10, 1.0, 0.0), (0.06, 0.25, 0.0))
    robot = small_robot([CURRENT], [-1], [duty], current_a=np.array([40.0]))
    result = simulate(robot, [STIFF], np.array([[0.0, 0.12]]), duration_s=0.4, traces=[(0, 0), (0, 1)])
    for trace, start in zip(result.traces, (0.0, 0.12), strict=True):
        # Just after each moment, where a load changes the second of the two.
        last = np.flatnonzero(np.diff(trace.time_s, append=np.inf) > 0)[:-1]
        asked = np.where((trace.time_s[last] + start + 1e-9) % 0.16 < 0.1, 40.0, 10.0)
        assert trace.current_a[last] == pytest.approx(asked, rel=1e-6)


def test_time_below_a_level_and_windows():
    duty = Duty.of((0.6, 1.0, 0.0), (0.4, 0.0, 0.0))
    robot = small_robot(
        [CURRENT], [-1], [duty], current_a=np.array([40.0]),
        watch_branch=np.array([0, 0]), watch_v=np.array([12.0, 11.0]),
    )  # fmt: skip
    result = play(robot, duration_s=2.0)
    assert result.below_s[:, 0, 0] == pytest.approx([1.2, 0.0])
    assert result.watch_lowest_v[:, 0, 0] == pytest.approx([12.85 - 1.4] * 2, rel=1e-6)
    assert result.window_low_v.shape == (10, 1, 1)
    # The fourth window begins with the end of the first phase, and still touches it.
    assert (result.window_low_v[:, 0, 0] < 12.0).tolist() == [True, True, True, True, False] * 2


def test_a_wire_warms_to_the_square_law_with_its_time_constant():
    robot = small_robot(
        [CURRENT], [-1], [None], current_a=np.array([45.0]), wire_rated_a=np.array([45.0]),
        wire_limit_c=np.array([105.0]), ambient_c=np.array([30.0]), wire_tau_s=np.array([10.0]),
    )  # fmt: skip
    result = play(robot, duration_s=150.0, step_s=0.1)
    assert result.wire_max_c[0, 0, 0] == pytest.approx(float(conductor_temperature_c(45.0, 45.0)), abs=0.01)
    # At its rating the rise with R(T) is exponential in tau (Z + Tr) / (Z + Ta): here the first time constant.
    slow = 10.0 * (234.5 + 105.0) / (234.5 + 30.0)
    short = play(robot, duration_s=round(slow / 0.2) * 0.2, step_s=0.1)
    assert short.wire_max_c[0, 0, 0] == pytest.approx(105.0 - 75.0 * np.exp(-1.0), abs=0.3)


def test_the_resistance_of_a_wire_rises_with_its_temperature():
    figures = {
        "current_a": np.array([45.0]), "wire_rated_a": np.array([45.0]), "wire_limit_c": np.array([105.0]),
        "ambient_c": np.array([20.0]), "wire_tau_s": np.array([5.0]),
    }  # fmt: skip
    robot = small_robot([CURRENT], [-1], [None], wire_ohm=np.array([0.02]), **figures)
    trace = play(robot, duration_s=120.0, step_s=0.1).traces[0]
    assert trace.board_v[1] == pytest.approx(12.85 - 45.0 * 0.035, abs=2e-3)
    assert trace.board_v[-1] == pytest.approx(12.85 - 45.0 * (0.015 + 0.02 * 339.5 / 254.5), abs=1e-3)


def test_a_device_opens_when_its_own_points_say():
    curve = CURVES["thermal_main_120"]
    tau = device_heat_tau_s(curve)
    robot = small_robot(
        [CURRENT], [-1], [None], current_a=np.array([240.0]),
        device_a=np.array([120.0]), device_tau_s=np.array([tau]),
    )  # fmt: skip
    # At twice the rating the soonest is 10 s, and that point gave the constant.
    assert play(robot, duration_s=9.8).device_heat_max[0, 0, 0] < 1.0
    assert play(robot, duration_s=10.2).device_heat_max[0, 0, 0] > 1.0


def test_without_slow_points_a_device_is_not_judged():
    magnetic = TimeCurrentCurve("m", "M", Source("S", "", "memory"), 1.0, (CurvePoint(8.0, 0.01, 0.1),))
    assert np.isnan(device_heat_tau_s(magnetic))
    robot = small_robot([CURRENT], [-1], [None], current_a=np.array([5.0]))
    result = play(robot, duration_s=0.2)
    assert np.isnan(result.device_heat_max).all()
    assert np.isnan(result.wire_max_c).all()


# --- collapse --------------------------------------------------------------------------------------


def test_a_collapse_is_an_answer():
    duty = Duty.of((1.0, 0.1, 0.0), (1.0, 1.0, 0.0))
    robot = small_robot(
        [NONE, POWER, CURRENT], [-1, 0, 0], [None, duty, None],
        power_w=np.array([0.0, 1500.0, 0.0]), current_a=np.array([0.0, 0.0, 3.0]),
    )  # fmt: skip
    result = play(robot, duration_s=3.0)
    assert result.collapsed.tolist() == [[True]]
    assert result.collapsed_at_s[0, 0] == pytest.approx(1.01)
    # The load's far end is down; the board holds what the branch's resistance leaves it.
    assert 0.0 <= result.branch_lowest_v[1, 0, 0] < 1.0
    assert 4.0 < result.lowest_v[0, 0] < 5.0
    for name, values in vars(result).items():
        if name not in ("traces", "collapsed_at_s", "wire_max_c", "wire_max_at_s", "device_heat_max"):
            assert np.isfinite(values).all(), name
    # The load at a tenth comes back to its voltage.
    assert result.traces[0].board_v[-1] > 11.0
    fine = play(replace(robot, duties=(None, Duty.of((1.0, 0.1, 0.0)), None)), duration_s=3.0)
    assert not fine.collapsed.any()
    assert np.isnan(fine.collapsed_at_s).all()


# --- progress and refusals -------------------------------------------------------------------------


def test_progress_rises_to_one():
    seen: list[float] = []
    simulate(reference_robot(2), [reference_battery()], shifts(2), duration_s=1.0, progress=seen.append)
    assert seen == sorted(seen)
    assert seen[-1] == 1.0
    assert len(seen) == 5


@pytest.mark.parametrize(
    ("field", "act"),
    [
        ("seconds", lambda: Duty.of((0.0, 1.0, 0.0))),
        ("draw_frac", lambda: Duty.of((1.0, 1.5, 0.0))),
        ("torque_frac", lambda: Duty.of((1.0, 1.0, -0.1))),
        ("internal_ohm", lambda: MatchBattery("agm_small", 18.0, 1.0, 0.0, 0.0, 1.0)),
        ("charge_frac", lambda: MatchBattery("agm_small", 18.0, 1.2, 0.015, 0.0, 1.0)),
        ("capacity_ah", lambda: MatchBattery("agm_small", float("nan"), 1.0, 0.015, 0.0, 1.0)),
        ("board", lambda: replace(reference_robot(2), board=99)),
        ("spin_up_s", lambda: replace(reference_robot(2), spin_up_s=np.array(-1.0))),
        (
            "spin_up_s",
            lambda: simulate(replace(reference_robot(2), spin_up_s=np.array(0.0)), [STIFF], shifts(1)),
        ),
        ("batteries", lambda: simulate(reference_robot(2), [], shifts(1))),
        ("shifts_s", lambda: simulate(reference_robot(2), [STIFF], np.zeros((0, 1)))),
        ("duration_s", lambda: simulate(reference_robot(2), [STIFF], shifts(1), duration_s=0.0)),
    ],
)
def test_what_cannot_be_played_is_refused_with_its_field(field, act):
    with pytest.raises(MatchError) as refusal:
        act()
    assert refusal.value.field == field
