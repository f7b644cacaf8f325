"""Robots to play matches with in tests and in the benchmark, invented but in the usual proportions."""

from __future__ import annotations

import numpy as np

from shared.electrical.match import Duty, MatchBattery, MatchRobot
from shared.electrical.network import FeedTree, LoadKind, Loads
from shared.electrical.thermal import time_constant_s

NONE, CURRENT, POWER, RESISTANCE, MOTOR, REGULATOR = LoadKind

# (seconds, commanded fraction, load torque over stall torque); all of them whole steps of 20 ms.
DRIVE = Duty.of((0.8, 0.9, 0.06), (1.4, 0.6, 0.03), (0.6, 0.8, 0.10), (0.8, 0.0, 0.02), (2.4, 0.3, 0.02))
ARM = Duty.of((1.1, 0.6, 0.08), (3.3, 0.0, 0.10), (0.7, 0.3, 0.04))
LIFT = Duty.of((1.5, 0.7, 0.12), (4.1, 0.1, 0.05), (3.0, 0.0, 0.02))
INTAKE = Duty.of((2.4, 0.6, 0.05), (4.6, 0.0, 0.0))
SPINNER = Duty.of((4.0, 0.8, 0.02), (0.4, 0.8, 0.08), (6.6, 0.0, 0.0))
BLINK = Duty.of((0.5, 1.0, 0.0), (0.5, 0.2, 0.0))
# Profile, stall A, free A, spin-up s, controller limit A.
MECHANISMS = (
    (DRIVE, 110.0, 2.5, 0.30, 40.0),
    (ARM, 80.0, 2.0, 0.25, 30.0),
    (LIFT, 90.0, 2.2, 0.20, 60.0),
    (INTAKE, 50.0, 1.5, 0.12, np.inf),
    (SPINNER, 70.0, 1.8, 0.60, 35.0),
)
# Mechanism of each motor: six drive, then the others in turn.
PLACES = (0, 0, 0, 0, 0, 0, 1, 1, 2, 2, 3, 3, 4, 4, 1, 2, 3, 4, 1, 2)


def reference_robot(motors: int = 20, *, warm: bool = True) -> MatchRobot:
    """A main branch to the board, motors, a controller, a lamp, a valve bank, and a radio behind a regulator."""
    places = PLACES[:motors] if motors > 8 else (0, 0, 1, 2, 3, 4, 1, 2)[:motors]
    extra = 5  # controller, lamp, valves, regulator, radio
    n = 1 + motors + extra
    kind = np.array([NONE, *[MOTOR] * motors, POWER, RESISTANCE, CURRENT, REGULATOR, POWER])
    parent = np.array([-1, *[0] * (motors + extra - 1), n - 2])
    rows = np.arange(1, motors + 1)
    figure = np.array([MECHANISMS[place][1:] for place in places])
    duties = (None, *(MECHANISMS[place][0] for place in places), None, BLINK, None, None, BLINK)
    wire_ohm = np.array([0.0012, *(0.012 + 0.001 * (rows % 4)), 0.05, 0.07, 0.06, 0.05, 0.08])
    fixed_ohm = np.array([0.003, *[0.004] * motors, 0.008, 0.01, 0.01, 0.008, 0.004])
    area_mm2 = np.array([13.3, *[3.309] * motors, 0.823, 0.823, 0.823, 0.823, 0.5176])
    rated_a = np.array([120.0, *[45.0] * motors, 20.0, 20.0, 20.0, 20.0, 15.0])
    device_a = np.array([120.0, *[44.0] * motors, 11.0, 5.5, 5.5, 11.0, np.nan])

    def motor_figures(column: int, other: float = 0.0) -> np.ndarray:
        values = np.full(n, other)
        values[rows] = figure[:, column]
        return values

    motor_ohm = np.zeros(n)
    motor_ohm[rows] = 12.0 / figure[:, 0]
    behind = {"power_w": 5.0, "load_ohm": 8.0, "current_a": 1.5}
    return MatchRobot(
        tree=FeedTree.build(
            robot=np.zeros(n, dtype=int),
            parent=parent,
            supply_ohm=wire_ohm / 2 + fixed_ohm,
            return_ohm=wire_ohm / 2,
        ),
        loads=Loads(
            kind=kind,
            current_a=np.where(kind == CURRENT, behind["current_a"], 0.0),
            power_w=np.where(kind == POWER, np.where(np.arange(n) == n - 1, behind["power_w"], 12.0), 0.0),
            load_ohm=np.where(kind == RESISTANCE, behind["load_ohm"], 0.0),
            motor_ohm=motor_ohm,
            limit_a=motor_figures(3, np.inf),
            output_v=np.where(kind == REGULATOR, 5.0, 0.0),
            efficiency_frac=np.where(kind == REGULATOR, 0.85, 1.0),
            output_limit_a=np.where(kind == REGULATOR, 4.0, np.inf),
        ),
        duties=duties,
        group=np.array([0, *places, 0, 0, 0, 0, 0]),
        board=0,
        stall_a=motor_figures(0),
        free_a=motor_figures(1),
        spin_up_s=motor_figures(2),
        wire_ohm=wire_ohm if warm else np.zeros(n),
        wire_rated_a=rated_a,
        wire_limit_c=np.full(n, 105.0),
        ambient_c=np.full(n, 30.0 if warm else 20.0),
        wire_tau_s=time_constant_s(area_mm2),
        device_a=device_a,
        device_tau_s=np.where(np.isnan(device_a), np.nan, 30.0),
        watch_branch=np.array([motors + 1, n - 2]),
        watch_v=np.array([6.8, 7.5]),
    )


def reference_battery(charge_frac: float = 0.9, internal_ohm: float = 0.016) -> MatchBattery:
    """A small AGM battery in good order."""
    return MatchBattery("agm_small", 18.0, charge_frac, internal_ohm, internal_ohm / 4.2, 100.0)


def shifts(runs: int, seed: int = 1) -> np.ndarray:
    """Phases of the five mechanisms on the grid of 20 ms."""
    return np.random.default_rng(seed).integers(0, 400, (len(MECHANISMS), runs)) * 0.02
