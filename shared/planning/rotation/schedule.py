"""Charges on single chargers: each as soon as its battery and a charger are free, then as far as there is room."""

from __future__ import annotations

import numpy as np

from shared.planning.rotation.model import Solution
from shared.planning.rotation.network import Network
from shared.planning.rotation.telling import Use
from shared.planning.rotation.terms import IntArray, Terms

__all__ = ()


def uses_of(network: Network, solution: Solution) -> list[Use | None]:
    """One use or None for every planned match, from the steps that are taken."""
    terms = network.terms
    charger, begin = _first_free(network, solution)
    following = _next_on_charger(charger, begin)
    uses: list[Use | None] = [None] * terms.match.size
    for place in np.argsort(network.match[solution.steps], kind="stable").tolist():
        at = int(solution.steps[place])
        battery, match = int(network.battery[at]), int(network.match[at])
        source = int(network.source[at])
        before = uses[source] if source >= 0 else None
        if network.charged[at]:
            kind, since = int(solution.kind[place]), int(begin[place])
            need = _need(terms, battery, source, before)[:, kind]
            # Charged on while nobody else wants the charger.
            room = min(int(terms.off[match]), following[place]) - since
            level = int(np.flatnonzero(need <= room)[-1])
            until = since + int(need[level])
            uses[match] = Use(battery, level, int(charger[place]), since, until, until + terms.rest)
        elif before is not None:
            level = int(terms.kept[battery, source, before.level])
            uses[match] = Use(battery, level, -1, 0, 0, int(terms.back[source]))
        else:
            uses[match] = Use(battery, int(network.level[at]), -1, 0, 0, int(terms.free[battery]))
    return uses


def _need(terms: Terms, battery: int, source: int, before: Use | None) -> IntArray:
    """Minutes to each step on each kind of charger, from what the battery has left."""
    need = terms.first_need[battery] if before is None else terms.need[battery, source, before.level]
    return np.asarray(need, dtype=np.int64)


def _first_free(network: Network, solution: Solution) -> tuple[IntArray, IntArray]:
    """Charger and beginning of each charge, taken in the order they were found in: none begins later than there."""
    terms = network.terms
    free = terms.charger_free.copy()
    charger, begin = np.full((2, solution.steps.size), -1, dtype=np.int64)
    charges = np.flatnonzero(network.charged[solution.steps])
    for place in charges[np.argsort(solution.begin[charges], kind="stable")].tolist():
        at, kind = int(solution.steps[place]), int(solution.kind[place])
        ours = np.flatnonzero(terms.kind == kind)
        one = int(ours[free[ours].argmin()])
        charger[place] = one
        begin[place] = max(int(network.since[at]), int(free[one]))
        free[one] = begin[place] + int(network.minutes[at, kind])
    return charger, begin


def _next_on_charger(charger: IntArray, begin: IntArray) -> list[int]:
    """When the next charge begins on each charge's charger."""
    never = np.iinfo(np.int64).max
    return [
        int(begin[(charger == one) & (begin > since)].min(initial=never))
        for one, since in zip(charger, begin, strict=True)
    ]
