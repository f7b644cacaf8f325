"""The best rotation of a small day by trying every one: which battery, which charger, how far, in which order.

Nothing of the search is used: minutes to a level are found by watching the charge rise minute by minute.
"""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass, field
from functools import cached_property
from itertools import permutations
from typing import NamedTuple

import numpy as np

from shared.planning.charging import charged_fraction
from shared.planning.rotation import Problem

LONGEST_MIN = 400


class Charge(NamedTuple):
    since: float
    minutes: float
    off: float


class Way(NamedTuple):
    """How a battery may go out for a match."""

    level: float
    charger: int
    charge: Charge | None


@dataclass
class Everything:
    """The best value of every aim, in order; smaller is better."""

    problem: Problem
    before: list[int] | None = None
    best: tuple[int, ...] | None = None
    chosen: list[int] = field(default_factory=list)
    _charges: list[tuple[int, Charge]] = field(default_factory=list)

    def find(self) -> tuple[int, ...]:
        self.planned = np.flatnonzero(self.problem.planned).tolist()
        self._try(0, {}, [], [])
        assert self.best is not None
        return self.best

    # --- one match after the other ---------------------------------------------------------------

    def _try(
        self, place: int, last: dict[int, tuple[int, float]], margins: list[float], chosen: list[int]
    ) -> None:
        if place == len(self.planned):
            value = self._value(margins, chosen)
            if (self.best is None or value < self.best) and self._chargers_do():
                self.best, self.chosen = value, chosen
            return
        match = self.planned[place]
        self._try(place + 1, last, [*margins, math.nan], [*chosen, -1])
        for battery in range(self.problem.batteries):
            if not np.asarray(self.problem.fit)[battery, match]:
                continue
            for way in self._ways(battery, match, last.get(battery)):
                added = [(way.charger, way.charge)] if way.charge else []
                self._charges += added
                margin = self._margin(battery, match, way.level)
                self._try(
                    place + 1, last | {battery: (match, way.level)}, [*margins, margin], [*chosen, battery]
                )
                del self._charges[len(self._charges) - len(added) :]

    def _ways(self, battery: int, match: int, last: tuple[int, float] | None) -> Iterator[Way]:
        problem = self.problem
        start = problem.start[match]
        out = max(start - problem.ready_before_min, min(problem.now_min, start))
        if last is None:
            have = float(np.asarray(problem.charge_frac)[battery])
            back = cooled = max(float(np.asarray(problem.free_min)[battery]), problem.now_min)
            if have >= problem.least_charge_frac and back <= out:
                yield Way(have, -1, None)
        else:
            before, level = last
            taken = np.asarray(problem.used_ah)[before] / np.asarray(problem.capacity_ah)[battery]
            have = max(level - taken, 0.0)
            back = problem.start[before] + problem.back_after_min
            cooled = back + problem.cool_min
            kept = [step for step in self.steps if step <= have + 1e-9]
            if kept and back <= out:
                yield Way(kept[-1], -1, None)
        for charger in range(problem.chargers):
            for step in self.steps:
                minutes = self._minutes(battery, charger, have, step)
                if step > have and cooled + minutes <= out - problem.rest_min:
                    yield Way(step, charger, Charge(cooled, minutes, out - problem.rest_min))

    @cached_property
    def steps(self) -> list[float]:
        levels, least = np.asarray(self.problem.levels).tolist(), self.problem.least_charge_frac
        return sorted({least, *(level for level in levels if level > least)})

    def _minutes(self, battery: int, charger: int, have: float, wanted: float) -> int:
        problem = self.problem
        course = charged_fraction(
            have,
            np.arange(LONGEST_MIN),
            float(np.asarray(problem.capacity_ah)[battery]),
            float(np.asarray(problem.charger_a)[charger]),
            float(np.asarray(problem.charger_absorption_min)[charger]),
        )
        reached = np.flatnonzero(course >= wanted - 1e-9)
        return int(reached[0]) if reached.size else LONGEST_MIN * 10

    def _chargers_do(self) -> bool:
        """Whether the charges on each charger can follow each other in some order."""
        for charger in range(self.problem.chargers):
            charges = [charge for one, charge in self._charges if one == charger]
            free = max(float(np.asarray(self.problem.charger_free_min)[charger]), self.problem.now_min)
            if not any(self._in_time(order, free) for order in permutations(charges)):
                return False
        return True

    @staticmethod
    def _in_time(order: tuple[Charge, ...], free: float) -> bool:
        for charge in order:
            free = max(free, charge.since) + charge.minutes
            if free > charge.off:
                return False
        return True

    # --- what it is worth ------------------------------------------------------------------------

    def _margin(self, battery: int, match: int, level: float) -> float:
        given = np.asarray(self.problem.lowest_v)[battery, match]
        lowest = float(np.interp(level, np.asarray(self.problem.levels), given))
        return lowest - float(np.asarray(self.problem.limit_v)[match])

    def _value(self, margins: list[float], chosen: list[int]) -> tuple[int, ...]:
        problem = self.problem
        weights = [float(np.asarray(problem.weight)[match]) for match in self.planned]
        cover = sum(round(100 * weight) for weight, one in zip(weights, chosen, strict=True) if one < 0)
        worst, total = [], 0
        for weight, margin in zip(weights, margins, strict=True):
            if not math.isnan(margin):
                mv = math.floor(1000 * margin + 1e-6)
                worst.append(math.floor(mv / weight + 1e-9) if mv >= 0 else math.floor(mv * weight + 1e-9))
                total += math.floor(mv * weight / 100 + 1e-9)
        least = min(worst, default=0)
        cycles = np.asarray(problem.wear).tolist()
        wear = sum(round((c + chosen.count(b)) ** 2 - c**2) for b, c in enumerate(cycles))
        if self.before is None:
            return cover, -least, -total, wear
        floor = min(least, round(1000 * problem.floor_v))
        changes = sum(now != self.before[match] for now, match in zip(chosen, self.planned, strict=True))
        return cover, -floor, changes, -least, -total, wear
