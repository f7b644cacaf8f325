"""What is kept of the runs of a block while it is stepped, and what comes out in the end.

Public names: `MatchTrace`, `MatchResult`, `Record`.
"""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from shared.electrical.arrays import BoolArray, FloatArray
from shared.electrical.match.circuit import Answer
from shared.electrical.network.tree import PlaceArray

__all__ = ["MatchResult", "MatchTrace", "Record"]


@dataclass(frozen=True)
class MatchTrace:
    """One run in time: the moments between steps; where a load changes just before it and just after."""

    time_s: FloatArray
    battery_v: FloatArray
    board_v: FloatArray
    current_a: FloatArray
    watch_v: FloatArray  # (levels, points)


@dataclass(frozen=True)
class MatchResult:
    """Every run of every battery; n branches, b batteries, r runs, k brown-out levels. NaN = not judged."""

    lowest_v: FloatArray  # (b, r) at the board
    lowest_at_s: FloatArray
    lowest_current_a: FloatArray  # (n, b, r) through the branches at that moment
    branch_lowest_v: FloatArray  # (n, b, r) at the far ends
    below_s: FloatArray  # (k, b, r)
    watch_lowest_v: FloatArray  # (k, b, r)
    charge_ah: FloatArray  # (b, r)
    energy_wh: FloatArray  # (b, r) at the terminals
    charge_end_frac: FloatArray  # (b, r)
    branch_ah: FloatArray  # (n, b, r)
    branch_wh: FloatArray  # (n, b, r) that arrive at the far ends
    loss_wh: FloatArray  # (n, b, r) lost on the way there
    wire_max_c: FloatArray  # (n, b, r)
    wire_max_at_s: FloatArray
    device_heat_max: FloatArray  # (n, b, r), a device opens at 1
    collapsed: BoolArray  # (b, r) a constant power found no voltage any more
    collapsed_at_s: FloatArray
    window_s: float
    window_low_v: FloatArray  # (windows, b, r) lowest at the board
    traces: tuple[MatchTrace, ...]


class Record:
    """Running figures (rows, runs) or (runs,) of one block."""

    def __init__(
        self, board: int, watch: PlaceArray, watch_v: FloatArray, rows: int, runs: int, traced: Sequence[int]
    ) -> None:
        self.board, self.watch, self._watch_v = board, watch, watch_v[:, np.newaxis]
        self.lowest_v = np.full(runs, np.inf)
        self.lowest_at_s = np.zeros(runs)
        self.lowest_a = np.zeros((rows, runs))
        self.branch_v = np.full((rows, runs), np.inf)
        self.below_steps = np.zeros((len(watch), runs))
        self.sum_a = np.zeros((rows, runs))
        self.sum_a2 = np.zeros((rows, runs))
        self._square = np.empty((rows, runs))
        self.sum_w = np.zeros(runs)
        self.arrived_w = np.zeros((rows, runs))
        self.collapsed_at_s = np.full(runs, np.nan)
        self._window_v = np.full(runs, np.inf)
        self.windows: list[FloatArray] = []
        self.traced = np.array(traced, dtype=np.intp)
        self.points: list[list[tuple[float, ...]]] = [[] for _ in traced]

    def moments(self, time_s: FloatArray, parts: Sequence[PlaceArray], answer: Answer) -> None:
        """Note moments side by side; a run stands once in each of the parts."""
        start = 0
        for runs in parts:
            columns = np.arange(start, start + len(runs))
            volts = answer.volts[:, start : start + len(runs)]
            board_v = volts[self.board]
            start += len(runs)
            self.branch_v[:, runs] = np.minimum(self.branch_v.take(runs, axis=1), volts)
            self._window_v[runs] = np.minimum(self._window_v[runs], board_v)
            lower = np.flatnonzero(board_v < self.lowest_v[runs])
            if len(lower):
                self._lower(time_s[columns[lower]], runs[lower], columns[lower], answer)
            for points, run in zip(self.points, self.traced, strict=True):
                at = columns[runs == run].tolist()
                points += [self._point(float(time_s[one]), one, answer) for one in at]

    def step(self, time_s: float, answer: Answer) -> None:
        """Note the middle of a step in all runs."""
        volts, amps = answer.volts, answer.amps
        board_v = volts[self.board]
        np.minimum(self.branch_v, volts, out=self.branch_v)
        np.minimum(self._window_v, board_v, out=self._window_v)
        lower = np.flatnonzero(board_v < self.lowest_v)
        if len(lower):
            self._lower(time_s, lower, lower, answer)
        if len(self.watch):
            self.below_steps += volts[self.watch] < self._watch_v
        self.sum_a += amps
        np.multiply(amps, amps, out=self._square)
        self.sum_a2 += self._square
        np.multiply(volts, amps, out=self._square)
        self.arrived_w += self._square
        self.sum_w += answer.terminal_v * answer.total_a

    def _lower(
        self, time_s: float | FloatArray, runs: PlaceArray, columns: PlaceArray, answer: Answer
    ) -> None:
        self.lowest_v[runs] = answer.volts[self.board, columns]
        self.lowest_at_s[runs] = time_s
        self.lowest_a[:, runs] = answer.amps[:, columns]

    def _point(self, time_s: float, column: int, answer: Answer) -> tuple[float, ...]:
        return (
            time_s,
            answer.terminal_v[column],
            answer.volts[self.board, column],
            answer.total_a[column],
            *answer.volts[self.watch, column],
        )

    def collapse(self, time_s: float, runs: PlaceArray) -> None:
        """Note the first time at which a run's constant powers found no voltage."""
        self.collapsed_at_s[runs] = np.fmin(self.collapsed_at_s[runs], time_s)

    def close_window(self) -> None:
        """Keep the lowest board voltage since the last time."""
        self.windows.append(self._window_v.copy())
        self._window_v[:] = np.inf

    def traces(self) -> list[MatchTrace]:
        """The traced runs, as arrays."""
        found = []
        for points in self.points:
            table = np.array(points)
            table = table[np.argsort(table[:, 0], kind="stable")]
            found.append(
                MatchTrace(table[:, 0], table[:, 1], table[:, 2], table[:, 3], table[:, 4:].T.copy())
            )
        return found
