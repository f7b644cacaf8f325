"""How each load is used during a match: by its duty profile, else by its running and peak current.

A circuit without a profile runs steadily and peaks for the share of each cycle that was entered for it.
"""

from __future__ import annotations

from collections.abc import Iterable
from typing import Final

import numpy as np

from builds.models import DutyPhase
from shared.electrical.match import Duty
from shared.electrical.sources import COMMON_PRACTICE, Figure, Source

__all__ = ["CYCLE_S", "PEAK_FRAC", "default_duty", "profiles"]

_USUAL: Final = Source("Duty of a motor that peaks and whose cycle nobody entered", "", COMMON_PRACTICE)
CYCLE_S: Final = Figure(10.0, "s", _USUAL)
PEAK_FRAC: Final = Figure(0.2, "-", _USUAL)


def profiles(profile_ids: Iterable[int]) -> dict[int, Duty]:
    """The duty profiles by id, in one query; one without phases is left out."""
    found: dict[int, list[tuple[float, float, float]]] = {}
    phases = DutyPhase.objects.filter(profile_id__in=list(profile_ids)).order_by("profile_id", "place", "pk")
    for profile, *phase in phases.values_list("profile_id", "lasts_s", "draw_frac", "torque_frac"):
        found.setdefault(profile, []).append((phase[0], phase[1], phase[2]))
    return {pk: Duty(*np.array(rows, dtype=np.float64).T) for pk, rows in found.items()}


def default_duty(
    *, running_a: float, peak_a: float, peak_frac: float, cycle_s: float, motor: bool = False
) -> Duty | None:
    """The duty that running and peak current describe; None for a load that draws its peak all along.

    NaN for a share or a cycle that nobody entered: without a share a motor peaks as is usual, and of any other load
    the peak is taken as if it lasted, as the load checks do.

    >>> duty = default_duty(running_a=10, peak_a=40, peak_frac=0.25, cycle_s=8)
    >>> duty.seconds.tolist(), duty.draw_frac.tolist()
    ([6.0, 2.0], [0.25, 1.0])
    """
    unknown = np.isnan(peak_frac)
    if not peak_a > running_a or (unknown and not motor):
        return None
    share = PEAK_FRAC.value if unknown else peak_frac
    cycle = CYCLE_S.value if np.isnan(cycle_s) else cycle_s
    draws, seconds = np.array([running_a / peak_a, 1.0]), np.array([1.0 - share, share]) * cycle
    lasting = seconds > 0.0
    if draws[lasting].min() >= 1.0:
        return None
    return Duty(seconds[lasting], draws[lasting], np.zeros(int(lasting.sum())))
