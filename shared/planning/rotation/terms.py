"""A problem in the whole numbers its search works with: minutes, millivolts, hundredths of weight and steps of charge.

Every rounding errs on the side of too little: deadlines down, availabilities and charges up, voltages down.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from shared.planning.charging import minutes_to_fraction
from shared.planning.rotation.problem import Problem

__all__ = ["NEVER_MIN", "SUM_STEP_MV", "Terms"]

FloatArray = NDArray[np.float64]
IntArray = NDArray[np.int64]
BoolArray = NDArray[np.bool_]

# What stands for "never" among whole minutes: two years.
NEVER_MIN = 1_000_000
# Two predictions of a voltage that differ by less than this do not tell batteries apart; wear may.
SUM_STEP_MV = 100
_SLACK = 1e-6


@dataclass(frozen=True, eq=False)
class Terms:
    """Arrays over planned matches j (as numbered in ``match``), batteries b, levels k and kinds of charger s.

    The levels of a battery are the steps every battery shares and, last, its own state of charge at the start,
    with which it can go out for its first match only.
    """

    problem: Problem

    @cached_property
    def match(self) -> IntArray:
        """Numbers of the planned matches in the problem."""
        return np.flatnonzero(self.problem.planned)

    # --- time ------------------------------------------------------------------------------------

    @cached_property
    def _origin(self) -> float:
        return float(np.floor(self.problem.now_min))

    def minutes_up(self, values: FloatArray) -> IntArray:
        """Whole minutes after the minute that is running now, late rather than early."""
        return self._clip(np.ceil(values - self._origin - _SLACK))

    def minutes_down(self, values: FloatArray) -> IntArray:
        return self._clip(np.floor(values - self._origin + _SLACK))

    @staticmethod
    def _clip(values: FloatArray) -> IntArray:
        return np.clip(values, -NEVER_MIN, NEVER_MIN).astype(np.int64)

    def clock(self, minutes: int) -> float:
        """Whole minutes after now as the problem counts them."""
        return minutes + self._origin

    @cached_property
    def out(self) -> IntArray:
        """When the battery of a match goes out; where that is past already, now."""
        return self._before(rested=False)

    @cached_property
    def off(self) -> IntArray:
        """When a charge before a match must have ended."""
        return self._before(rested=True)

    def _before(self, *, rested: bool) -> IntArray:
        start = self.problem.start[self.match]
        now = self.minutes_up(np.asarray(self.problem.now_min))
        out = np.maximum(
            self.minutes_down(start - self.problem.ready_before_min),
            np.minimum(now, self.minutes_down(start)),
        )
        return np.asarray(out - (self.rest if rested else 0), dtype=np.int64)

    @property
    def rest(self) -> int:
        return int(np.ceil(self.problem.rest_min - _SLACK))

    @cached_property
    def back(self) -> IntArray:
        return self.minutes_up(self.problem.start[self.match] + self.problem.back_after_min)

    @cached_property
    def cooled(self) -> IntArray:
        since = self.problem.back_after_min + self.problem.cool_min
        return self.minutes_up(self.problem.start[self.match] + since)

    @cached_property
    def free(self) -> IntArray:
        """When each battery is free: not before it is back from what is fixed, nor before now."""
        problem = self.problem
        free = np.array(problem.free_min, dtype=np.float64)
        for match in np.flatnonzero(problem.fixed_battery >= 0):
            battery = problem.fixed_battery[match]
            free[battery] = max(free[battery], problem.start[match] + problem.back_after_min)
        return np.maximum(self.minutes_up(free), 0)

    # --- chargers --------------------------------------------------------------------------------

    @cached_property
    def kinds(self) -> FloatArray:
        """Current and absorption time of each kind of charger, fastest first."""
        both = np.column_stack([self.problem.charger_a, self.problem.charger_absorption_min])
        found = np.unique(both.reshape(-1, 2), axis=0)
        return np.asarray(found[np.lexsort((found[:, 1], -found[:, 0]))], dtype=np.float64)

    @cached_property
    def kind(self) -> IntArray:
        """Kind of each charger."""
        both = np.column_stack([self.problem.charger_a, self.problem.charger_absorption_min])
        same = (both.reshape(-1, 1, 2) == self.kinds[None]).all(axis=2)
        return np.asarray(same.argmax(axis=1) if same.size else np.zeros(0), dtype=np.int64)

    @cached_property
    def charger_free(self) -> IntArray:
        return np.maximum(self.minutes_up(np.asarray(self.problem.charger_free_min)), 0)

    # --- states of charge ------------------------------------------------------------------------

    @cached_property
    def steps(self) -> FloatArray:
        """States of charge at which a charge may end, ascending."""
        least = self.problem.least_charge_frac
        levels = np.asarray(self.problem.levels)
        return np.unique(np.append(levels[levels > least + _SLACK], least))

    @cached_property
    def level(self) -> FloatArray:
        """State of charge, batteries x (steps and its own)."""
        own = np.asarray(self.problem.charge_frac)[:, None]
        return np.hstack([np.broadcast_to(self.steps, (own.size, self.steps.size)), own])

    @cached_property
    def first_ready(self) -> BoolArray:
        """Batteries charged well enough to go out as they are."""
        return np.asarray(self.problem.charge_frac) >= self.problem.least_charge_frac - _SLACK

    @cached_property
    def left(self) -> FloatArray:
        """State of charge after a match, batteries x matches x levels."""
        used = np.asarray(self.problem.used_ah)[self.match]
        taken = used / np.asarray(self.problem.capacity_ah)[:, None]
        return np.asarray(np.maximum(self.level[:, None, :] - taken[:, :, None], 0.0), dtype=np.float64)

    @cached_property
    def kept(self) -> IntArray:
        """The step a battery still has after a match without any charge, -1 for too little; shape as ``left``."""
        return self.step_of(self.left)

    def step_of(self, fraction: FloatArray) -> IntArray:
        """The highest step that a state of charge reaches, -1 for none."""
        return np.searchsorted(self.steps, fraction + _SLACK, side="right") - 1

    @cached_property
    def need(self) -> IntArray:
        """Minutes on a charger after a match, batteries x matches x levels x steps wanted x kinds."""
        return self._need(self.left, np.asarray(self.problem.capacity_ah)[:, None, None, None, None])

    @cached_property
    def first_need(self) -> IntArray:
        """Minutes on a charger before the first match, batteries x steps wanted x kinds."""
        own = np.asarray(self.problem.charge_frac)
        return self._need(own, np.asarray(self.problem.capacity_ah)[:, None, None])

    def _need(self, before: FloatArray, capacity_ah: FloatArray) -> IntArray:
        shape = (*before.shape, self.steps.size, len(self.kinds))
        if 0 in shape:
            return np.zeros(shape, dtype=np.int64)
        wanted = self.steps[:, None]
        current, absorption = self.kinds.T
        minutes = minutes_to_fraction(before[..., None, None], wanted, capacity_ah, current, absorption)
        return np.ceil(minutes - _SLACK).astype(np.int64)

    # --- what is aimed at ------------------------------------------------------------------------

    @cached_property
    def lowest_v(self) -> FloatArray:
        """Lowest board voltage, batteries x matches x levels; level off outside the given states of charge."""
        given = np.asarray(self.problem.lowest_v)[:, self.match]
        # Less charge never counts as better.
        given = np.minimum.accumulate(given[:, :, ::-1], axis=2)[:, :, ::-1]
        levels = np.asarray(self.problem.levels)
        upper = np.clip(np.searchsorted(levels, self.level), 1, max(levels.size - 1, 1))
        upper = np.minimum(upper, levels.size - 1)
        lower = np.maximum(upper - 1, 0)
        span = np.where(upper > lower, levels[upper] - levels[lower], 1.0)
        share = np.clip((self.level - levels[lower]) / span, 0.0, 1.0)[:, None, :]
        low, high = (np.take_along_axis(given, at[:, None, :], axis=2) for at in (lower, upper))
        return np.asarray(low + share * (high - low), dtype=np.float64)

    @cached_property
    def margin_v(self) -> FloatArray:
        limit = np.asarray(self.problem.limit_v, dtype=np.float64)[self.match]
        return np.asarray(self.lowest_v - limit[:, None], dtype=np.float64)

    @cached_property
    def allowed(self) -> BoolArray:
        """Whether a battery may ever go out for a match at a level."""
        fit = np.asarray(self.problem.fit)[:, self.match]
        allowed = np.repeat(fit[:, :, None], self.level.shape[1], axis=2)
        allowed[:, :, -1] &= self.first_ready[:, None] & (self.free[:, None] <= self.out)
        return allowed

    @cached_property
    def weight(self) -> IntArray:
        """Weight of a match in hundredths, at least one."""
        weight = np.rint(100.0 * np.asarray(self.problem.weight)[self.match])
        return np.maximum(weight, 1).astype(np.int64)

    @cached_property
    def margin_mv(self) -> IntArray:
        margin = np.where(self.allowed, self.margin_v, 0.0)
        return np.floor(1000.0 * margin + _SLACK).astype(np.int64)

    @cached_property
    def weighted_mv(self) -> IntArray:
        """Margin per weight; below nothing, margin times weight: either way an important match asks for more."""
        weight = self.weight[None, :, None]
        margin = self.margin_mv
        return np.where(margin >= 0, 100 * margin // weight, weight * margin // 100)

    @cached_property
    def sum_steps(self) -> IntArray:
        """Weight times margin, in whole steps that tell batteries apart."""
        return self.weight[None, :, None] * self.margin_mv // (100 * SUM_STEP_MV)

    def wear_cost(self, battery: int) -> IntArray:
        """What 0, 1, 2 ... more matches of a battery add to the squares of its cycles."""
        wear = round(float(np.asarray(self.problem.wear)[battery]))
        uses = np.arange(self.match.size + 1)
        return uses * (2 * wear + uses)
