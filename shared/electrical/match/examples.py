"""A robot small enough for the examples in this package's texts.

Public names: `one_motor`.
"""

import numpy as np

from shared.electrical.match.inputs import Duty, MatchBattery, MatchRobot
from shared.electrical.network.loads import LoadKind, Loads
from shared.electrical.network.tree import FeedTree

__all__ = ["one_motor"]


def one_motor() -> tuple[MatchRobot, MatchBattery]:
    """Give a robot with one motor that starts and stops, behind a board, and a battery for it.

    Parameters: none.
    Returns:
        MatchRobot and MatchBattery [ohm], [A], [V], [s], [C].
    Errors: none.
    Validity: an example.
    Source: invented.

    >>> len(one_motor()[0].duties)
    2
    """
    nan = np.nan
    robot = MatchRobot(
        tree=FeedTree.build(robot=[0, 0], parent=[-1, 0], supply_ohm=[0.003, 0.01], return_ohm=[0.002, 0.01]),
        loads=Loads(kind=[LoadKind.NONE, LoadKind.MOTOR], motor_ohm=np.array([0.0, 0.12])),
        duties=(None, Duty.of((1.0, 1.0, 0.2), (1.0, 0.0, 0.1))),
        group=np.array([0, 0]),
        board=0,
        stall_a=np.array([0.0, 100.0]),
        free_a=np.array([0.0, 3.0]),
        spin_up_s=np.array([0.0, 0.2]),
        wire_ohm=np.array([0.0, 0.015]),
        wire_rated_a=np.array([nan, 45.0]),
        wire_limit_c=np.array([nan, 105.0]),
        ambient_c=np.array([25.0, 25.0]),
        wire_tau_s=np.array([nan, 74.0]),
        device_a=np.array([120.0, nan]),
        device_tau_s=np.array([35.0, nan]),
        watch_branch=np.array([0]),
        watch_v=np.array([11.0]),
    )
    return robot, MatchBattery("agm_small", 18.0, 1.0, 0.015, 0.0036, 100.0)
