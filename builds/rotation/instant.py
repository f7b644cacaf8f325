"""The first answer: blocks of assignments; of a plan made anew as much as possible stays as it was."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from shared.planning.rotation import Plan, Problem, blocks

_ROUNDS = 4


def instant_plan(problem: Problem, before: Sequence[int] | None) -> Plan:
    """A plan at once. ``before``: battery of each match in the plan before, -1 for none; None without one.

    Kept are all batteries of before that still may go out, less those of matches that then have none, as long as no
    match more stays bare and no margin falls below the floor that did not before.
    """
    free = blocks(problem)
    if before is None or not problem.matches or not problem.batteries:
        return free
    was = np.asarray(before, dtype=np.int64)
    fit = np.asarray(problem.fit, dtype=np.bool_)
    held = (was >= 0) & fit[np.maximum(was, 0), np.arange(was.size)]
    for _ in range(_ROUNDS):
        only = fit & (~held | (np.arange(problem.batteries)[:, None] == was))
        kept = blocks(replace(problem, fit=only))
        bare = (kept.battery < 0) & held
        if not bare.any():
            break
        held &= ~bare
    few = int((kept.battery < 0).sum()) <= int((free.battery < 0).sum())
    floor = min(problem.floor_v, _worst(free))
    return kept if few and _worst(kept) >= floor - 1e-9 else free


def _worst(plan: Plan) -> float:
    return float(plan.worst_margin_v) if np.isfinite(plan.worst_margin_v) else 0.0
