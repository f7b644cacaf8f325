"""Duty profiles on the step grid: what each load asks for at a step, and when that changes.

Public names: `Cycles`, `cycles`, `knot_columns`.
"""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from shared.electrical.arrays import FloatArray
from shared.electrical.match.inputs import Duty
from shared.electrical.network.tree import PlaceArray

__all__ = ["Cycles", "cycles", "knot_columns"]


@dataclass(frozen=True, slots=True)
class Cycles:
    """Every profile step by step, one after the other in flat tables."""

    draw: FloatArray
    torque: FloatArray
    start: PlaceArray  # (loads,) where the load's cycle begins in the tables
    length: PlaceArray  # (loads,) steps in its cycle
    knots: tuple[tuple[int, ...], ...]  # steps of the cycle at which something changes


def cycles(duties: Sequence[Duty | None], steady_draw: FloatArray, step_s: float) -> Cycles:
    """Lay the profiles on the step grid; a phase lasts at least one step.

    Parameters:
        duties: Duty or None [-] of each load.
        steady_draw: array [fraction 0-1], draw of the loads without a profile.
        step_s: float [s].
    Returns:
        Cycles [steps].
    Errors: none.
    Validity: the ends of the phases are rounded, not their lengths, so that a long cycle does not drift.
    Source: common practice, no source.

    >>> cycles([Duty.of((0.04, 1.0, 0.0), (0.02, 0.0, 0.0))], np.ones(1), 0.02).draw.tolist()
    [1.0, 1.0, 0.0]
    """
    draws, torques, lengths, knots = [], [], [], []
    for duty, steady in zip(duties, steady_draw, strict=True):
        if duty is None:
            draw, torque = np.array([steady]), np.zeros(1)
        else:
            ends = np.round(np.cumsum(duty.seconds) / step_s).astype(np.intp)
            for place in range(len(ends)):
                ends[place] = max(ends[place], (ends[place - 1] if place else 0) + 1)
            counts = np.diff(ends, prepend=0)
            draw, torque = np.repeat(duty.draw_frac, counts), np.repeat(duty.torque_frac, counts)
        changes = (draw != np.roll(draw, 1)) | (torque != np.roll(torque, 1))
        draws.append(draw)
        torques.append(torque)
        lengths.append(len(draw))
        knots.append(tuple(np.flatnonzero(changes).tolist()))
    length = np.array(lengths, dtype=np.intp)
    start = np.cumsum(length) - length
    return Cycles(np.concatenate(draws), np.concatenate(torques), start, length, tuple(knots))


def knot_columns(table: Cycles, shift: PlaceArray, steps: int) -> list[PlaceArray]:
    """List for every step the runs in which some load changes there.

    Parameters:
        table: Cycles [steps].
        shift: int array [steps] (loads, runs), how far into its cycle a load is at the start.
        steps: int [-] of the match.
    Returns:
        For each step the places [-] of the runs, all of them at step 0.
    Errors: none.
    Validity: any.
    Source: common practice, no source.

    >>> table = cycles([Duty.of((0.04, 1.0, 0.0), (0.02, 0.0, 0.0))], np.ones(1), 0.02)
    >>> [runs.tolist() for runs in knot_columns(table, np.array([[0, 1]]), 4)]
    [[0, 1], [1], [0, 1], [0]]
    """
    runs = shift.shape[1]
    dirty = np.zeros((steps, runs), dtype=bool)
    dirty[0] = True
    seen: set[tuple[int, bytes, tuple[int, ...]]] = set()
    for row, knots in enumerate(table.knots):
        length = int(table.length[row])
        key = (length, shift[row].tobytes(), knots)
        if key in seen:
            continue
        seen.add(key)
        turns = np.arange(0, steps, length)
        for knot in knots:
            at = turns[:, np.newaxis] + (knot - shift[row]) % length
            inside = at < steps
            dirty[at[inside], np.broadcast_to(np.arange(runs), at.shape)[inside]] = True
    step_of, run_of = np.nonzero(dirty)
    return np.split(run_of, np.searchsorted(step_of, np.arange(1, steps)))
