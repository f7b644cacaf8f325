"""The rotation as a constraint model over the steps of a network: exact in batteries, levels and chargers."""

from __future__ import annotations

from collections import defaultdict
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, NamedTuple

import numpy as np

from shared.planning.rotation.network import Network
from shared.planning.rotation.relax import Aim, Limit
from shared.planning.rotation.terms import BoolArray, IntArray

if TYPE_CHECKING:
    from ortools.sat.python import cp_model

__all__ = ["Answer", "Model", "Solution"]


class Solution(NamedTuple):
    """Steps that are taken, and for each one with a charge the kind of charger and when it begins."""

    steps: IntArray
    kind: IntArray
    begin: IntArray


class Answer(NamedTuple):
    """What a search came to: a solution or none, whether the search was complete, and the seconds it took."""

    solution: Solution | None
    complete: bool
    seconds: float


@dataclass
class _Charge:
    """Of the steps that leave one match, or one battery's place on the cart, at most one is taken."""

    begin: cp_model.IntVar
    kind: list[cp_model.IntVar]
    interval: list[cp_model.IntervalVar]


@dataclass
class Model:
    """A model of the kept steps; limits of earlier aims are part of it."""

    network: Network
    keep: BoolArray
    limits: list[Limit]
    may_be_bare: bool
    step: dict[int, cp_model.IntVar] = field(init=False)
    bare: list[cp_model.IntVar] = field(init=False, default_factory=list)
    charges: dict[tuple[int, int], _Charge] = field(init=False, default_factory=dict)

    def __post_init__(self) -> None:
        from ortools.sat.python import cp_model  # noqa: PLC0415 - large, and only a job plans exactly

        self._cp = cp_model
        self.model = cp_model.CpModel()
        kept = np.flatnonzero(self.network.reachable(self.keep)).tolist()
        self.step = {at: self.model.new_bool_var(f"step {at}") for at in kept}
        if self.may_be_bare:
            self.bare = [self.model.new_bool_var(f"bare {j}") for j in range(self.network.terms.match.size)]
        self._paths()
        self._charges()
        self._chargers()
        for limit in self.limits:
            self.model.add(self._cost(limit) <= limit.most)

    def _cost(self, of: Aim | Limit) -> cp_model.LinearExprT:
        taken = [*self.step.values(), *self.bare]
        each = [*of.step[list(self.step)].tolist(), *of.bare[: len(self.bare)].tolist()]
        return self._cp.LinearExpr.weighted_sum(taken, each)

    def _paths(self) -> None:
        """Each match has one battery; a battery starts once, and goes on from where it is."""
        network, model = self.network, self.model
        into, out = defaultdict(list), defaultdict(list)
        starts, matches = defaultdict(list), defaultdict(list)
        for at, taken in self.step.items():
            battery, match = int(network.battery[at]), int(network.match[at])
            into[battery, match, int(network.level[at])].append(taken)
            matches[match].append(taken)
            if network.source[at] < 0:
                starts[battery].append(taken)
            else:
                out[battery, int(network.source[at]), int(network.held[at])].append(taken)
        for match in range(network.terms.match.size):
            model.add_exactly_one([*matches[match], *self.bare[match : match + 1]])
        for begun in starts.values():
            model.add_at_most_one(begun)
        for node, gone in out.items():
            model.add(sum(gone) <= sum(into[node]))

    def _charges(self) -> None:
        network = self.network
        places = defaultdict(list)
        for at in self.step:
            if network.charged[at]:
                source = int(network.source[at])
                places[source, int(network.battery[at]) if source < 0 else -1].append(at)
        for place, steps in places.items():
            self.charges[place] = self._charge(steps)

    def _charge(self, steps: list[int]) -> _Charge:
        """The one charge that any of some steps may need: as long as the step that is taken says."""
        network, model = self.network, self.model
        # Of one match, or one battery, all charges may begin at the same time.
        since, last = int(network.since[steps[0]]), int(network.off[steps].max())
        begin = model.new_int_var(since, last, "begin")
        minutes = model.new_int_var(0, last - since, "minutes")
        until = model.new_int_var(since, last, "until")
        there = model.new_bool_var("charge")
        model.add_exactly_one([*(self.step[at] for at in steps), there.negated()])
        model.add(until <= last - sum((last - int(network.off[at])) * self.step[at] for at in steps))
        kinds = [model.new_bool_var("kind") for _ in range(network.minutes.shape[1])]
        model.add_exactly_one([*kinds, there.negated()])
        fits = network.fits
        for s, kind in enumerate(kinds):
            length = sum(int(network.minutes[at, s]) * self.step[at] for at in steps)
            model.add(minutes >= length).only_enforce_if(kind)
            for at in steps:
                if not fits[at, s]:
                    model.add_at_most_one([kind, self.step[at]])
        model.add(minutes >= sum(int(network.minutes[at].min()) * self.step[at] for at in steps))
        intervals = [
            model.new_optional_interval_var(begin, minutes, until, kind, "interval") for kind in kinds
        ]
        return _Charge(begin, kinds, intervals)

    def _chargers(self) -> None:
        """No more charges at once on a kind of charger than there are of it."""
        terms = self.network.terms
        for s in range(len(terms.kinds)):
            free = terms.charger_free[terms.kind == s]
            intervals = [charge.interval[s] for charge in self.charges.values()]
            for minute in free[free > 0].tolist():
                intervals.append(self.model.new_fixed_size_interval_var(0, minute, "taken"))
            if len(intervals) <= free.size:
                continue
            if free.size == 1:
                self.model.add_no_overlap(intervals)
            else:
                self.model.add_cumulative(intervals, [1] * len(intervals), int(free.size))

    # --- searching -------------------------------------------------------------------------------

    def hint(self, solution: Solution) -> None:
        taken = set(solution.steps.tolist())
        for at, step in self.step.items():
            self.model.add_hint(step, at in taken)

    def least(self, aim: Aim | None, limit_s: float, below: int | None = None) -> Answer:
        """Search for the plan of least cost, or any plan; only for one that costs less than ``below``."""
        if aim is not None:
            cost = self._wear() if aim.wear else self._cost(aim)
            self.model.minimize(cost)
            if below is not None:
                self.model.add(cost <= below - 1)
        solver = self._cp.CpSolver()
        # One worker and a fixed seed: the same problem gets the same plan every time.
        solver.parameters.num_workers = 1
        solver.parameters.random_seed = 1
        solver.parameters.linearization_level = 2
        solver.parameters.max_time_in_seconds = max(limit_s, 0.01)
        status = solver.solve(self.model)
        complete = status in (self._cp.OPTIMAL, self._cp.INFEASIBLE)
        if status not in (self._cp.OPTIMAL, self._cp.FEASIBLE):
            return Answer(None, complete, solver.wall_time)
        return Answer(self._solution(solver), complete, solver.wall_time)

    def _wear(self) -> cp_model.LinearExprT:
        terms = self.network.terms
        counts: list[cp_model.IntVar] = []
        rises: list[int] = []
        by_battery = defaultdict(list)
        for at, taken in self.step.items():
            by_battery[int(self.network.battery[at])].append(taken)
        for battery, served in by_battery.items():
            # The n-th match of a battery costs more than the one before: the least cost fills them in order.
            each = np.diff(terms.wear_cost(battery))[: len(served)].tolist()
            new = [self.model.new_bool_var("counts") for _ in each]
            self.model.add(sum(new) == sum(served))
            counts, rises = counts + new, rises + each
        return self._cp.LinearExpr.weighted_sum(counts, rises)

    def _solution(self, solver: cp_model.CpSolver) -> Solution:
        network = self.network
        steps = [at for at, taken in self.step.items() if solver.boolean_value(taken)]
        steps.sort(key=lambda at: int(network.match[at]))
        kind, begin = np.full((2, len(steps)), -1, dtype=np.int64)
        for place, at in enumerate(steps):
            if network.charged[at]:
                source = int(network.source[at])
                charge = self.charges[source, int(network.battery[at]) if source < 0 else -1]
                kind[place] = next(s for s, on in enumerate(charge.kind) if solver.boolean_value(on))
                begin[place] = solver.value(charge.begin)
        return Solution(np.array(steps, dtype=np.int64), kind, begin)
