"""Whether a plan can be carried out and is as good as it says, worked out again without the search's arithmetic."""

from __future__ import annotations

import math
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from shared.planning.charging import charged_fraction
from shared.planning.rotation.plan import Plan, Previous
from shared.planning.rotation.problem import Problem

__all__ = ["Checked", "check"]

_SLACK = 1e-6
_FULL_HUNDREDTHS, _STEP_V = 100, 0.1


@dataclass(frozen=True)
class Checked:
    """What is wrong with a plan, in sentences (none: it can be carried out), and each aim counted anew."""

    faults: tuple[str, ...]
    uncovered_weight: int
    worst_mv: int
    sum_steps: int
    wear: int
    changes: int


def check(problem: Problem, plan: Plan, previous: Previous | None = None) -> Checked:
    """Follow every battery through a plan and count every aim anew.

    Parameters
    ----------
    problem : Problem [min, V, Ah]
    plan : Plan [min, V, 1]
    previous : Plan, or what has its ``battery``, or None: the plan that changes are counted against

    Returns
    -------
    Checked; ``faults`` is empty when the plan keeps every rule of the problem and its figures are right

    Errors
    ------
    none

    Validity: any plan for this problem, whoever made it.

    Source: the rules in ``Problem``; charging forwards by ``charged_fraction`` where the search counts backwards.

    >>> from shared.planning.rotation import Problem, blocks
    >>> day = Problem(start_min=[60, 120], weight=[1, 1], limit_v=[7, 7], used_ah=[3, 3], levels=[0.85, 1],
    ...     lowest_v=[[[8, 9]] * 2], fit=[[True] * 2], capacity_ah=[18], charge_frac=[1], free_min=[0], wear=[10],
    ...     charger_a=[6], charger_absorption_min=[60], charger_free_min=[0], now_min=0)
    >>> plan = blocks(day)
    >>> check(day, plan)
    Checked(faults=(), uncovered_weight=0, worst_mv=1000, sum_steps=30, wear=44, changes=0)
    >>> plan.charge_until_min[1] += 20
    >>> check(day, plan).faults
    ('match 1: comes off the charger at 114 min, too late to rest 5 min and go out at 105 min',)
    """
    walk = _Walk(problem, plan)
    for match in range(problem.matches):
        walk.follow(match)
    walk.chargers()
    counted = walk.counted(previous)
    walk.claims(counted)
    return Checked(
        tuple(walk.faults),
        counted["cover"],
        counted["worst"],
        counted["sum"],
        counted["wear"],
        counted.get("changes", 0),
    )


@dataclass
class _Walk:
    """A battery's place and charge as the matches go by."""

    problem: Problem
    plan: Plan
    faults: list[str] = field(default_factory=list)
    last: dict[int, int] = field(default_factory=dict)
    """The planned match each battery served last."""
    level: dict[int, float] = field(default_factory=dict)
    margin: dict[int, float] = field(default_factory=dict)

    def say(self, match: int, holds: bool, sentence: str) -> None:
        if not holds:
            self.faults.append(f"match {match}: {sentence}")

    def out(self, match: int) -> float:
        start, now = float(self.problem.start[match]), self.problem.now_min
        return max(start - self.problem.ready_before_min, min(now, start))

    def free(self, battery: int) -> float:
        """When a battery that has served no planned match is free."""
        problem = self.problem
        since = [float(np.asarray(problem.free_min)[battery]), math.floor(problem.now_min)]
        fixed = np.flatnonzero(problem.fixed_battery == battery)
        back = (problem.start[fixed] + problem.back_after_min).tolist()
        return float(max(*since, *back))

    def steps(self) -> NDArray[np.float64]:
        levels, least = np.asarray(self.problem.levels), self.problem.least_charge_frac
        return np.array([least, *levels[levels > least + _SLACK]])

    def follow(self, match: int) -> None:
        problem, plan = self.problem, self.plan
        battery = int(plan.battery[match])
        if not problem.planned[match]:
            same = battery == problem.fixed_battery[match]
            self.say(match, bool(same), "is over or under way and has another battery")
            return
        if battery < 0:
            return
        self.say(match, bool(np.asarray(problem.fit)[battery, match]), f"battery {battery} is not fit for it")
        level = self.charged(match, battery)
        least = problem.least_charge_frac
        self.say(match, level >= least - _SLACK, f"goes out with less than {least:g} of its charge")
        self.say(match, abs(level - plan.charge_frac[match]) < _SLACK, f"goes out with {level:.3f} charge")
        lowest = self.lowest_v(battery, match, level)
        self.say(match, abs(lowest - plan.lowest_v[match]) < _SLACK, f"lowest voltage is {lowest:.3f} V")
        self.margin[match] = lowest - float(np.asarray(problem.limit_v)[match])
        right = abs(self.margin[match] - plan.margin_v[match]) < _SLACK
        self.say(match, right, f"margin is {self.margin[match]:.3f} V")
        self.last[battery], self.level[battery] = match, level

    def charged(self, match: int, battery: int) -> float:
        """State of charge with which a battery goes out, counted down to a step."""
        problem, plan, before = self.problem, self.plan, self.last.get(battery)
        capacity = float(np.asarray(problem.capacity_ah)[battery])
        if before is None:
            have, back = float(np.asarray(problem.charge_frac)[battery]), self.free(battery)
            cooled = back
        else:
            used = float(np.asarray(problem.used_ah)[before])
            have = max(self.level[battery] - used / capacity, 0.0)
            back = float(problem.start[before]) + problem.back_after_min
            cooled = back + problem.cool_min
        if plan.charger[match] < 0:
            self.say(
                match, back <= self.out(match) + _SLACK, f"battery {battery} is back at {back:g} min only"
            )
            return have if before is None else self.step(have)
        return self.step(self.on_charger(match, have, cooled, capacity))

    def on_charger(self, match: int, have: float, cooled: float, capacity_ah: float) -> float:
        problem, plan, out = self.problem, self.plan, self.out(match)
        charger = int(plan.charger[match])
        begin, until = float(plan.charge_from_min[match]), float(plan.charge_until_min[match])
        free = float(np.asarray(problem.charger_free_min)[charger])
        rest = problem.rest_min
        self.say(
            match, begin >= cooled - _SLACK, f"goes on the charger at {begin:g} min, before {cooled:g} min"
        )
        self.say(match, begin >= free - _SLACK, f"its charger is free at {free:g} min only")
        self.say(match, until >= begin, "comes off the charger before it goes on")
        late = (
            f"comes off the charger at {until:g} min, too late to rest {rest:g} min and go out at {out:g} min"
        )
        self.say(match, until + rest <= out + _SLACK, late)
        return float(
            charged_fraction(
                have,
                max(until - begin, 0.0),
                capacity_ah,
                float(np.asarray(problem.charger_a)[charger]),
                float(np.asarray(problem.charger_absorption_min)[charger]),
            )
        )

    def step(self, have: float) -> float:
        reached = self.steps()[self.steps() <= have + _SLACK]
        return float(reached[-1]) if reached.size else have

    def lowest_v(self, battery: int, match: int, level: float) -> float:
        given = np.asarray(self.problem.lowest_v)[battery, match]
        falling = [given[k:].min() for k in range(given.size)]
        return float(np.interp(level, np.asarray(self.problem.levels), falling))

    def chargers(self) -> None:
        """No charger has two batteries at once."""
        plan = self.plan
        for charger in range(self.problem.chargers):
            on = np.flatnonzero(plan.charger == charger)
            on = on[np.lexsort((plan.charge_until_min[on], plan.charge_from_min[on]))]
            for one, other in zip(on[:-1].tolist(), on[1:].tolist(), strict=True):
                apart = plan.charge_until_min[one] <= plan.charge_from_min[other] + _SLACK
                self.say(other, bool(apart), f"charger {charger} has the battery of match {one} still")

    def counted(self, previous: Previous | None) -> dict[str, int]:
        problem = self.problem
        weights = [max(round(100 * w), 1) for w in np.asarray(problem.weight).tolist()]
        weighted, steps = [], 0
        for match, margin in self.margin.items():
            weight = weights[match] / _FULL_HUNDREDTHS
            mv = math.floor(1000.0 * margin + _SLACK)
            weighted.append(math.floor(mv / weight + _SLACK if mv >= 0 else mv * weight + _SLACK))
            steps += math.floor(mv * weight / (1000.0 * _STEP_V) + _SLACK)
        cycles = [round(wear) for wear in np.asarray(problem.wear).tolist()]
        used = np.bincount([int(self.plan.battery[m]) for m in self.margin], minlength=len(cycles)).tolist()
        worst = min(weighted, default=0)
        told = {
            "cover": sum(weights[m] for m in np.flatnonzero(problem.planned) if m not in self.margin),
            "worst": worst,
            "sum": steps,
            "wear": sum((c + n) ** 2 - c**2 for c, n in zip(cycles, used, strict=True)),
        }
        if previous is not None:
            before = np.asarray(previous.battery)
            before = np.where(before < problem.batteries, before, -1)
            told["floor"] = min(worst, round(1000 * problem.floor_v))
            told["changes"] = int((self.plan.battery != before)[problem.planned].sum())
        return told

    def claims(self, counted: dict[str, int]) -> None:
        for stage in self.plan.stages:
            if counted.get(stage.name, stage.value) != stage.value:
                self.faults.append(f"{stage.name} comes to {counted[stage.name]}, not {stage.value}")
