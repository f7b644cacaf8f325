"""The instant answer: batteries assigned to four matches at a time, charges first come, first served."""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np

from shared.planning.rotation.plan import Plan, Previous, Stage
from shared.planning.rotation.problem import Problem
from shared.planning.rotation.telling import Use, batteries_before, simple_bounds, tell, values
from shared.planning.rotation.terms import BoolArray, IntArray, Terms

__all__ = ["BLOCK", "blocks"]

BLOCK = 4


def blocks(problem: Problem, previous: Previous | None = None) -> Plan:
    """Give a good plan at once: in blocks of four matches, the assignment with the best worst margin, then sum.

    Parameters
    ----------
    problem : Problem [min, V, Ah]
    previous : Plan, or what has its ``battery``, or None; only to count what changed [matches]

    Returns
    -------
    Plan, not proven; gap_v [V] is how much better the worst weighted margin could be at most

    Errors
    ------
    none; what cannot be planned with is refused by the problem itself.

    Validity: milliseconds for tens of matches and batteries. A plan for each block at its best may leave
    a later block the poorer; ``solve`` does not.

    Source: linear assignment (scipy, after Crouse 2016), the rest is our own.

    >>> from shared.planning.rotation import Problem, blocks
    >>> day = Problem(start_min=[60, 120, 180], weight=[1, 1, 2], limit_v=[7, 7, 7], used_ah=[3, 3, 3],
    ...     levels=[0.85, 1], lowest_v=[[[8, 9]] * 3, [[8.5, 9.5]] * 3], fit=[[True] * 3] * 2,
    ...     capacity_ah=[18, 18], charge_frac=[1, 1], free_min=[0, 0], wear=[10, 20], charger_a=[6],
    ...     charger_absorption_min=[60], charger_free_min=[0], now_min=0)
    >>> plan = blocks(day)
    >>> plan.battery.tolist(), plan.charge_frac.tolist(), plan.worst_margin_v
    ([0, 1, 0], [1.0, 1.0, 0.85], 1.0)
    """
    terms = Terms(problem)
    uses = start_with(terms)
    return tell(terms, uses, previous, _stages(terms, uses, previous), 0.0)


def start_with(terms: Terms) -> list[Use | None]:
    """One use or None for every planned match.

    Charges run until full and blocks are kept whole, unless that leaves a match without a battery and less does not.
    """
    best: list[Use | None] = []
    for target in range(terms.steps.size - 1, -1, -1):
        for whole in (True, False):
            cart = _Cart.of(terms, target)
            uses: list[Use | None] = []
            while len(uses) < terms.match.size:
                uses += cart.send_out_next(len(uses), whole=whole)
            if None not in uses:
                return uses
            if not best or _worth(terms, uses) > _worth(terms, best):
                best = uses
    return best


def _worth(terms: Terms, uses: list[Use | None]) -> tuple[int, ...]:
    told = values(terms, uses, None)
    return -told["cover"], told["worst"], told["sum"]


def _stages(terms: Terms, uses: list[Use | None], previous: Previous | None) -> tuple[Stage, ...]:
    reached = values(terms, uses, batteries_before(terms.problem, previous))
    bounds = simple_bounds(terms)
    return tuple(
        Stage(name, reached[name], bounds[name], reached[name] == bounds[name])
        for name in ("cover", "worst", "sum", "wear")
    )


@dataclass
class _Slot:
    """A charge of one battery: on a charger from then on, until somebody takes it off."""

    charger: int
    begin: int
    need: IntArray
    """Minutes until each step."""


@dataclass
class _Cart:
    """Where the batteries are while the matches go by."""

    terms: Terms
    free: IntArray
    """From when on each may go out as it is."""
    level: IntArray
    """With which level; -1 is too little."""
    target: int
    """The step until which a charger is booked."""
    slot: dict[int, _Slot]
    charger_free: IntArray = field(init=False)

    def __post_init__(self) -> None:
        self.charger_free = self.terms.charger_free.copy()

    @classmethod
    def of(cls, terms: Terms, target: int) -> _Cart:
        own = terms.steps.size
        cart = cls(terms, terms.free.copy(), np.where(terms.first_ready, own, -1), target, {})
        for battery in np.argsort(cart.free, kind="stable").tolist():
            if terms.first_need.size and terms.first_need[battery, target].any():
                cart._put_on(battery, int(terms.free[battery]), terms.first_need[battery])
        return cart

    def _put_on(self, battery: int, since: int, need: IntArray) -> None:
        """Book the charger that has it done first."""
        need = need[: self.target + 1]
        begin = np.maximum(self.charger_free, since)
        full = begin + need[-1][self.terms.kind]
        charger = int(full.argmin())
        self.slot[battery] = _Slot(charger, int(begin[charger]), need[:, self.terms.kind[charger]])
        self.charger_free[charger] = full[charger]

    def _at_best(self, battery: int, match: int) -> tuple[int, _Slot | None, int]:
        """Level, charge and its minutes with which a battery could go out; level -1 where it could not."""
        terms, slot = self.terms, self.slot.get(battery)
        level = int(self.level[battery]) if self.free[battery] <= terms.out[match] else -1
        if level >= 0 and not terms.allowed[battery, match, level]:
            level = -1
        if slot is None:
            return level, None, 0
        steps = np.flatnonzero((slot.begin + slot.need <= terms.off[match]) & (slot.need > 0))
        steps = steps[terms.allowed[battery, match, steps]]
        if not steps.size or (level >= 0 and terms.level[battery, steps[-1]] <= terms.level[battery, level]):
            return level, None, 0
        return int(steps[-1]), slot, int(slot.need[steps[-1]])

    def send_out_next(self, first: int, *, whole: bool) -> list[Use | None]:
        """Send out a block; a battery serves once in it, so where that leaves a match out, perhaps a shorter one."""
        for size in range(min(BLOCK, self.terms.match.size - first), 0, -1):
            matches = np.arange(first, first + size)
            uses = self._choose(matches)
            if whole or size == 1 or None not in uses:
                break
        for match, use in zip(matches.tolist(), uses, strict=True):
            if use is not None:
                self._come_back(use, match)
        return uses

    def _choose(self, matches: IntArray) -> list[Use | None]:
        terms = self.terms
        best = [[self._at_best(battery, match) for match in matches] for battery in range(terms.free.size)]
        level = np.array([[one[0] for one in row] for row in best], dtype=np.int64)
        chosen = _assign(terms, matches, level.reshape(terms.free.size, matches.size))
        uses: list[Use | None] = []
        for place, battery in enumerate(chosen.tolist()):
            if battery < 0:
                uses.append(None)
                continue
            at, slot, minutes = best[battery][place]
            begin, charger = (slot.begin, slot.charger) if slot else (0, -1)
            ready = begin + minutes + terms.rest if slot else int(self.free[battery])
            uses.append(Use(battery, at, charger, begin, begin + minutes, ready))
        return uses

    def _come_back(self, use: Use, match: int) -> None:
        terms, battery = self.terms, use.battery
        waiting = self.slot.pop(battery, None)
        if waiting is not None and self.charger_free[waiting.charger] == waiting.begin + waiting.need[-1]:
            # Nobody was booked behind it: the charger is free from when this one was taken off, or not put on.
            end = use.until if use.charger >= 0 else waiting.begin
            self.charger_free[waiting.charger] = max(end, int(terms.charger_free[waiting.charger]))
        self.free[battery] = terms.back[match]
        self.level[battery] = terms.kept[battery, match, use.level]
        if terms.kinds.size:
            self._put_on(battery, int(terms.cooled[match]), terms.need[battery, match, use.level])


def _assign(terms: Terms, matches: IntArray, level: IntArray) -> IntArray:
    """Battery of each match, -1 for none: most weight covered, then the best worst margin, then the best sum."""
    able = level >= 0
    at = np.maximum(level, 0)
    rows = np.arange(level.shape[0])[:, None]
    worth = terms.weighted_mv[rows, matches[None], at]
    total = terms.weight[matches][None] * terms.margin_mv[rows, matches[None], at] / 100.0
    best = matching(terms.weight[matches], able, total)
    if (best < 0).all():
        return best
    goal = terms.weight[matches][best >= 0].sum()
    bounds = np.unique(worth[able])
    low, high = 0, bounds.size - 1
    while low < high:
        middle = (low + high + 1) // 2
        tried = matching(terms.weight[matches], able & (worth >= bounds[middle]), total)
        if terms.weight[matches][tried >= 0].sum() >= goal:
            best, low = tried, middle
        else:
            high = middle - 1
    return best


def matching(weight: IntArray, able: BoolArray, total: np.ndarray) -> IntArray:
    """The assignment of most weight and then greatest total among the pairs that are able."""
    from scipy import optimize  # noqa: PLC0415 - slow to import, and only an assignment needs it

    # Covering one hundredth of weight more is worth more than any voltages.
    reward = np.where(able, 1e6 * weight[None] + total, 0.0)
    batteries, places = optimize.linear_sum_assignment(reward, maximize=True)
    chosen = np.full(weight.size, -1, dtype=np.int64)
    kept = able[batteries, places]
    chosen[places[kept]] = batteries[kept]
    return chosen
