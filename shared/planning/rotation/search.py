"""The best plan with a proof: aim after aim, each bounded by a linear program and settled by a constraint search.

Between the bound and the best plan in hand only few steps remain that a better plan could take (reduced-cost fixing),
so that the constraint search, which alone knows about single chargers, works on a small model. It begins with the most
promising steps and widens until what it found, or did not find, is proven.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from shared.planning.rotation.blocks import start_with
from shared.planning.rotation.model import Answer, Model, Solution
from shared.planning.rotation.network import Network
from shared.planning.rotation.plan import Plan, Previous, Stage
from shared.planning.rotation.problem import Problem
from shared.planning.rotation.relax import SLACK, Aim, Bound, Limit, Relaxation
from shared.planning.rotation.schedule import uses_of
from shared.planning.rotation.telling import Use, batteries_before, tell, values
from shared.planning.rotation.terms import BoolArray, IntArray, Terms

__all__ = ["Search", "solve"]

# Steps in the first constraint model of an aim, how many times more in each further one.
_FEW, _WIDEN = 250, 4
# Makes an aim count more than all margins together; more than any plan costs.
_FIRST, _ANY = 10_000, 2**40


def solve(problem: Problem, previous: Previous | None = None, limit_s: float = 5.0) -> Plan:
    """Give the best plan there is, with a proof or with what is left to prove.

    Parameters
    ----------
    problem : Problem [min, V, Ah]
    previous : Plan, or what has its ``battery``, or None: the plan that is to be changed as little as it must be
    limit_s : float [s], for the constraint search; linear programs take some tenths on top

    Returns
    -------
    Plan; ``stages`` says for each aim [hundredths of weight, mV, 0.1 V, squared cycles] what was reached and the best
    that could be. In order: the least weight of matches without a battery; with a plan before, the worst weighted
    margin as far as ``floor_v`` and then the fewest matches that get another battery; the worst weighted margin; the
    sum of weighted margins; even wear.

    Errors
    ------
    none; what cannot be planned with is refused by the problem itself.

    Validity: proven under the rules the problem states: levels in steps, whole minutes, one charge at most between two
    matches, predicted voltages as given. The same problem gets the same plan unless the time ran out.

    Source: max-min then sum, lexicographic (common practice); multi-commodity flow over time with reduced-cost fixing,
    after textbooks on integer programming, from memory; CP-SAT (ortools) for chargers; Baptiste, Le Pape and Nuijten's
    energetic bound for charges of one kind of charger, from memory.

    >>> from shared.planning.rotation import Problem, solve
    >>> day = Problem(start_min=[60, 120, 180], weight=[1, 1, 2], limit_v=[7, 7, 7], used_ah=[3, 3, 3],
    ...     levels=[0.85, 1], lowest_v=[[[8, 9]] * 3, [[8.5, 9.5]] * 3], fit=[[True] * 3] * 2,
    ...     capacity_ah=[18, 18], charge_frac=[1, 1], free_min=[0, 0], wear=[10, 20], charger_a=[6],
    ...     charger_absorption_min=[60], charger_free_min=[0], now_min=0)
    >>> plan = solve(day)
    >>> plan.battery.tolist(), plan.charge_frac.tolist(), plan.proven
    ([0, 0, 1], [1.0, 0.85, 1.0], True)
    """
    search = Search.of(problem, previous)
    proofs = search.run(limit_s)
    reached = values(search.terms, search.uses, search.before)
    stages = tuple(
        Stage(name, reached[name], reached[name] if proven else bound, proven)
        for name, (bound, proven) in proofs.items()
    )
    return tell(search.terms, search.uses, previous, stages, search.seconds)


@dataclass
class Search:
    """What is known so far: steps still worth taking, aims to keep to, the best plan in hand."""

    network: Network
    before: IntArray | None
    keep: BoolArray
    limits: list[Limit]
    may_be_bare: bool
    best: Solution
    uses: list[Use | None]
    left_s: float = 0.0
    seconds: float = 0.0

    @classmethod
    def of(cls, problem: Problem, previous: Previous | None) -> Search:
        terms = Terms(problem)
        network = Network.of(terms)
        uses = start_with(terms)
        return cls(
            network,
            batteries_before(problem, previous),
            np.ones(network.size, dtype=np.bool_),
            [],
            None in uses,
            _steps_of(network, uses),
            uses,
        )

    @property
    def terms(self) -> Terms:
        return self.network.terms

    def run(self, limit_s: float) -> dict[str, tuple[int, bool]]:
        """Pursue every aim in turn; its bound and whether it is proven to be reached."""
        self.left_s = limit_s
        proofs = {"cover": self.settle(self._cover())}
        self.may_be_bare = self.may_be_bare and self._cost(self._cover()) > 0
        if self.before is not None:
            proofs["floor"] = self.raise_worst(round(1000.0 * self.terms.problem.floor_v))
            proofs["changes"] = self.settle(self._changes(self.before))
        proofs["worst"] = self.raise_worst(None)
        bound, proven = self.settle(self._sum())
        proofs["sum"] = -bound, proven
        proofs["wear"] = self.settle(self._wear())
        return proofs

    def covers_all(self, limit_s: float) -> bool | None:
        """Whether every match can have a battery; None when there was no time to tell."""
        if None not in self.uses:
            return True
        self.left_s, self.may_be_bare = limit_s, False
        complete, reached = self._reach(np.zeros(self.network.size, dtype=np.int64), 0, None)
        return reached if complete else None

    # --- aims ------------------------------------------------------------------------------------

    @property
    def _nothing(self) -> tuple[IntArray, IntArray]:
        return np.zeros(self.network.size, dtype=np.int64), np.zeros(self.terms.match.size, dtype=np.int64)

    def _cover(self) -> Aim:
        return Aim("cover", self._nothing[0], self.terms.weight)

    def _changes(self, before: IntArray) -> Aim:
        was = before[self.terms.match]
        other = self.network.battery != was[self.network.match]
        return Aim("changes", other.astype(np.int64), (was >= 0).astype(np.int64))

    def _sum(self) -> Aim:
        return Aim("sum", -self._of_steps(self.terms.sum_steps), self._nothing[1])

    def _wear(self) -> Aim:
        return Aim("wear", *self._nothing, wear=True)

    def _of_steps(self, table: IntArray) -> IntArray:
        network = self.network
        return table[network.battery, network.match, network.level]

    def _cost(self, aim: Aim) -> int:
        steps = self.best.steps
        bare = np.setdiff1d(np.arange(self.terms.match.size), self.network.match[steps])
        cost = int(aim.step[steps].sum() + aim.bare[bare].sum())
        if aim.wear:
            uses = np.bincount(self.network.battery[steps], minlength=self.terms.problem.batteries)
            cost += sum(int(self.terms.wear_cost(b)[n]) for b, n in enumerate(uses))
        return cost

    # --- pursuing one ----------------------------------------------------------------------------

    def settle(self, aim: Aim) -> tuple[int, bool]:
        """Bring an aim to its least cost and keep it there; the bound, and whether it is reached."""
        cost = self._cost(aim)
        counts_up = not aim.wear and bool((aim.step >= 0).all() and (aim.bare >= 0).all())
        found = None if counts_up and cost == 0 else self._bound(aim, self.keep)
        bound = cost if found is None else _up(found.value, cost)
        if found is not None and counts_up and bound < cost:
            cost = self._guess(aim, cost)
        if found is not None and bound < cost:
            proven, _ = self._widen(aim, found, self.keep, cost - 1)
            cost = self._cost(aim)
            bound = min(cost, max(bound, proven))
        for per_kind in (False, True):
            # A plan as good as this, for the next aim to choose among, takes none of the other steps.
            if found is not None and np.isfinite(found.value):
                self.keep &= found.reduced <= cost - found.value + SLACK
                gap = cost > _up(found.value, cost) and not per_kind and not aim.wear
                found = self._bound(aim, self.keep, per_kind=True) if gap else None
        if counts_up:
            self.keep &= aim.step <= cost
        if not aim.wear:
            self.limits.append(Limit(aim.step, aim.bare, cost))
        return bound, bound == cost

    def _widen(
        self, aim: Aim, found: Bound, among: BoolArray, most: int, *, per_kind: bool = False
    ) -> tuple[int, bool]:
        """Look for the least plan no dearer than ``most`` in ever more steps; below which cost there is none but
        what was found, and whether there was time to tell.
        """
        size, bound = _FEW, _up(found.value, most + 1)
        while bound <= (goal := min(most, self._cost(aim) - 1)):
            near, reach = _near(found, among, goal, size)
            complete, closer = True, None
            if size == _FEW or per_kind:
                complete = self._search(near, aim, below=self._cost(aim)).complete
            else:
                # Chargers kind by kind bound better, but take long: not at first.
                closer = self._bound(aim, near, per_kind=True)
            if closer is not None:
                _, complete = self._widen(aim, closer, near, reach, per_kind=True)
            if not complete:
                return bound, False
            # A plan as good as that would have been among the steps looked at.
            bound = max(bound, reach + 1)
            size *= _WIDEN
        return bound, True

    def _guess(self, aim: Aim, cost: int) -> int:
        """Among many plans that the bound does not tell apart, try those of the best margins; proves nothing."""
        margins = self._sum()
        both = Aim(aim.name, _FIRST * aim.step + margins.step, _FIRST * aim.bare)
        found = self._bound(both, self.keep)
        if found is not None:
            self._search(_near(found, self.keep, _ANY, _FEW)[0], aim, below=cost)
        return self._cost(aim)

    def raise_worst(self, most: int | None) -> tuple[int, bool]:
        """Bring the worst weighted margin as high as it goes, or as ``most``, and keep it there."""
        margin = self._of_steps(self.terms.weighted_mv)
        if most is not None:
            margin = np.minimum(margin, most)
        low = int(margin[self.best.steps].min()) if self.best.steps.size else 0
        goals = np.unique(margin[self.keep])
        goals = goals[(goals > low) & (goals <= self._highest(margin))] if self.best.steps.size else goals[:0]
        # goals[:least] are reached, goals[top:] are out of reach.
        least, top, bounds = 0, goals.size, {}
        while least < top:
            middle = top - 1 if top == goals.size else (least + top) // 2
            bounds[middle] = self._bound(self._sum(), self.keep & (margin >= goals[middle]))
            if bounds[middle] is None:
                top = middle
            else:
                least = middle + 1
        least, middle, complete = 0, top - 1, True
        while least < top and complete:
            complete, reached = self._reach(margin, int(goals[middle]), bounds.get(middle))
            if reached:
                least = middle + 1
            elif complete:
                top = middle
            middle = (least + top) // 2
        worst = int(goals[least - 1]) if least else low
        self.keep &= margin >= worst
        return (worst if complete else int(goals[top - 1])), complete

    def _highest(self, margin: IntArray) -> int:
        """No plan's worst margin is higher than each match's best, unless matches may be left out."""
        best = np.full(self.terms.match.size, np.iinfo(np.int64).min)
        np.maximum.at(best, self.network.match[self.keep], margin[self.keep])
        return int(best.max() if self.may_be_bare else best.min())

    def _reach(self, margin: IntArray, goal: int, bound: Bound | None) -> tuple[bool, bool]:
        """Whether the question was settled, and whether a plan with such a worst margin was found."""
        able = self.keep & (margin >= goal)
        found = bound or self._bound(self._sum(), able)
        if found is None:
            return True, False
        answer = self._search(_near(found, able, _ANY, _FEW)[0], self._sum())
        size = _FEW
        while answer.complete and answer.solution is None and size < self.network.size:
            size *= _WIDEN
            near = _near(found, able, _ANY, size)[0]
            closer = self._bound(self._sum(), near, per_kind=True)
            for few in (_FEW, _FEW * _WIDEN, self.network.size):
                if closer is None:
                    break
                answer = self._search(_near(closer, near, _ANY, few)[0], None)
                if answer.solution is not None or not answer.complete:
                    break
        return answer.complete or answer.solution is not None, answer.solution is not None

    def _bound(self, aim: Aim, keep: BoolArray, *, per_kind: bool = False) -> Bound | None:
        return Relaxation(self.network, keep, self.limits, self.may_be_bare, per_kind).bound(aim)

    def _search(self, keep: BoolArray, aim: Aim | None, below: int | None = None) -> Answer:
        if self.left_s <= 0.0:
            return Answer(None, complete=False, seconds=0.0)
        model = Model(self.network, keep, self.limits, self.may_be_bare)
        model.hint(self.best)
        answer = model.least(aim, self.left_s, below)
        self.left_s -= answer.seconds
        self.seconds += answer.seconds
        if answer.solution is not None:
            self.best = answer.solution
            self.uses = uses_of(self.network, answer.solution)
        return answer


def _near(found: Bound, among: BoolArray, goal: int, size: int) -> tuple[BoolArray, int]:
    """Steps a plan no dearer than a goal could take, or the most promising; and up to which cost these are all."""
    able = among & (found.reduced <= goal - found.value + SLACK)
    if able.sum() <= 2 * size:
        return able, goal
    reach = float(np.partition(found.reduced[able], size)[size])
    return able & (found.reduced <= reach + SLACK), min(goal, int(np.floor(found.value + reach + SLACK)))


def _up(value: float, cost: int) -> int:
    """The least whole cost that a bound allows; no more than a plan in hand costs."""
    return cost if value > cost else int(np.ceil(value - SLACK)) if np.isfinite(value) else -(2**40)


def _steps_of(network: Network, uses: Sequence[Use | None]) -> Solution:
    """The steps of the instant plan, by which the search begins."""
    columns = (network.battery, network.source, network.held, network.match, network.level, network.charged)
    number = {key: at for at, key in enumerate(zip(*(column.tolist() for column in columns), strict=True))}
    last: dict[int, tuple[int, int]] = {}
    steps, kind, begin = [], [], []
    for match, use in enumerate(uses):
        if use is None:
            continue
        source, held = last.get(use.battery, (-1, -1))
        charged = use.charger >= 0
        steps.append(number[use.battery, source, held, match, use.level, charged])
        kind.append(int(network.terms.kind[use.charger]) if charged else -1)
        begin.append(use.begin if charged else -1)
        last[use.battery] = match, use.level
    return Solution(*(np.array(one, dtype=np.int64) for one in (steps, kind, begin)))
