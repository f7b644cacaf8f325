"""Duty profiles on the step grid: what each load asks for at a step, and when that changes.

Public names: `Cycles`, `cycles`, `knot_places`, `asked`.
"""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from shared.electrical.arrays import FloatArray
from shared.electrical.match.inputs import Duty
from shared.electrical.network.tree import PlaceArray

__all__ = ["Cycles", "asked", "cycles", "knot_places"]


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


def knot_places(table: Cycles, shift: PlaceArray, steps: int) -> list[PlaceArray]:
    """List for every step the loads that change there, in which runs.

    Parameters:
        table: Cycles [steps].
        shift: int array [steps] (loads, runs), how far into its cycle a load is at the start.
        steps: int [-] of the match.
    Returns:
        For each step the places [-] in a flat (loads, runs) array, rising; at step 0 all of them.
    Errors: none.
    Validity: any.
    Source: common practice, no source.

    >>> table = cycles([Duty.of((0.04, 1.0, 0.0), (0.02, 0.0, 0.0))], np.ones(1), 0.02)
    >>> [places.tolist() for places in knot_places(table, np.array([[0, 1]]), 4)]
    [[0, 1], [1], [0, 1], [0]]
    """
    loads, runs = shift.shape
    step_of, place_of = [np.zeros(loads * runs, dtype=np.intp)], [np.arange(loads * runs)]
    for load, knots in enumerate(table.knots):
        length = int(table.length[load])
        turns = np.arange(0, steps, length)[:, np.newaxis]
        for knot in knots:
            at = turns + (knot - shift[load]) % length
            turn, run = np.nonzero((at > 0) & (at < steps))
            step_of.append(at[turn, run])
            place_of.append(load * runs + run)
    steps_of, places = np.concatenate(step_of), np.concatenate(place_of)
    order = np.lexsort((places, steps_of))
    return np.split(places[order], np.searchsorted(steps_of[order], np.arange(1, steps)))


def asked(table: Cycles, shift: PlaceArray, places: PlaceArray, step: int) -> tuple[FloatArray, FloatArray]:
    """Look up what loads ask for from a step on.

    Parameters:
        table: Cycles [steps].
        shift: int array [steps] (loads, runs).
        places: int array [-] in a flat (loads, runs) array.
        step: int [-].
    Returns:
        Draw and torque [fraction 0-1] of each place.
    Errors: none.
    Validity: any.
    Source: common practice, no source.

    >>> table = cycles([Duty.of((0.04, 1.0, 0.3), (0.02, 0.0, 0.0))], np.ones(1), 0.02)
    >>> [part.tolist() for part in asked(table, np.array([[0, 1]]), np.array([0, 1]), 1)]
    [[1.0, 0.0], [0.3, 0.0]]
    """
    load = places // shift.shape[1]
    at = table.start[load] + (step + shift.reshape(-1)[places]) % table.length[load]
    return table.draw[at], table.torque[at]
