"""Which loads are followed as turning motors, and their figures.

A motor with a duty profile starts, turns and stalls as the profile commands it. One without has no course that could
be followed: it draws its running current and, for the share of each cycle that was entered, its peak, which falls with
the voltage that arrives, as in the network's scenarios.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np

from builds.network import Assembled
from builds.network.currents import first_known
from builds.network.loads import kinds
from shared.columns import BoolArray, FloatArray
from shared.electrical.match import Duty
from shared.electrical.network import LoadKind
from shared.electrical.sources import COMMON_PRACTICE, Figure, Source

#: Of a motor with what it drives, where nobody measured it.
SPIN_UP_S = Figure(0.3, "s", Source("Mechanical time constant of a driven mechanism", "", COMMON_PRACTICE))


@dataclass(frozen=True)
class Motors:
    """One entry per circuit of the assembled builds; ``turns``: followed as a motor, with its figures (else 0)."""

    profiled: BoolArray
    motor: BoolArray
    turns: BoolArray
    stall_a: FloatArray
    free_a: FloatArray
    spin_up_s: FloatArray


def motors_of(net: Assembled, profiles: Mapping[int, Duty]) -> Motors:
    """The motors among all circuits; the highest current known of one stands in for its stall current."""
    rows, c, parts = net.rows, net.currents, net.rows.components
    profiled = np.array([int(pk) in profiles for pk in rows.circuits.ids("profile_id")], dtype=np.bool_)
    stall = first_known(parts.floats("stall_a"), parts.floats("peak_a"), rows.floats("peak_a"))
    stall = np.fmax(stall, c.peak_a)
    motor = np.asarray((kinds(c) == LoadKind.MOTOR) & c.is_load)
    turns = motor & profiled & (stall > 0)
    free = np.minimum(np.nan_to_num(parts.floats("free_a")), 0.5 * stall)
    spin = first_known(parts.floats("spin_up_s"), np.full(rows.size, SPIN_UP_S.value))
    return Motors(profiled, motor, turns, *(np.where(turns, value, 0.0) for value in (stall, free, spin)))
