"""Every step a battery can take: from a match at a level to a later one at a level, charged between them or not."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from shared.planning.rotation.terms import BoolArray, IntArray, Terms

__all__ = ["Network"]


@dataclass(frozen=True, eq=False)
class Network:
    """Arrays over steps. A step with source -1 is a battery's first, straight from the cart."""

    terms: Terms
    battery: IntArray
    source: IntArray
    """The match before, -1 for none."""
    held: IntArray
    """Level with which it went out for the match before, -1 for none."""
    match: IntArray
    level: IntArray
    """Level with which it goes out."""
    charged: BoolArray
    """Whether a charge lies between."""
    since: IntArray
    """From when on it may go on a charger [min]."""
    off: IntArray
    """When it must be off the charger [min]."""
    minutes: IntArray
    """Minutes on a charger, steps x kinds of charger; 0 without a charge."""

    @property
    def size(self) -> int:
        return int(self.battery.size)

    @property
    def fits(self) -> BoolArray:
        """Whether a step's charge can be done on a kind of charger."""
        in_time = self.since[:, None] + self.minutes <= self.off[:, None]
        return np.asarray(self.charged[:, None] & in_time, dtype=np.bool_)

    @classmethod
    def of(cls, terms: Terms) -> Network:
        firsts, links = _first_steps(terms), _links(terms)
        battery, source, held, match, level, charged = np.concatenate([firsts, links]).T
        charge = charged.astype(np.bool_)
        minutes = np.zeros((battery.size, len(terms.kinds)), dtype=np.int64)
        first, later = charge & (source < 0), charge & (source >= 0)
        minutes[first] = terms.first_need[battery[first], level[first]]
        minutes[later] = terms.need[battery[later], source[later], held[later], level[later]]
        since = terms.free[battery] if source.size else np.zeros(0, dtype=np.int64)
        since = np.where(source < 0, since, terms.cooled[source])
        return cls(terms, battery, source, held, match, level, charge, since, terms.off[match], minutes)

    def reachable(self, keep: BoolArray) -> BoolArray:
        """Those of some steps that begin where another of them ends, or on the cart."""
        kept = keep.copy()
        shape = (*self.terms.allowed.shape,)
        while True:
            entered = np.zeros(shape, dtype=np.bool_)
            entered[self.battery[kept], self.match[kept], self.level[kept]] = True
            stands = (self.source < 0) | entered[self.battery, self.source, self.held]
            if not (kept & ~stands).any():
                return kept
            kept &= stands


def _first_steps(terms: Terms) -> IntArray:
    """Rows of battery, -1, -1, match, level, charged."""
    able, own = terms.allowed.copy(), terms.steps.size
    charges = np.zeros(terms.level.shape, dtype=np.bool_)
    charges[:, :own] = True
    if terms.kinds.size:
        ready = terms.free[:, None] + terms.first_need.min(axis=2)
        able[:, :, :own] &= ready[:, None, :] <= terms.off[None, :, None]
    else:
        able[:, :, :own] = False
    # A charge to a step the battery has already would only cost it.
    able[:, :, :own] &= (terms.steps > terms.level[:, -1:])[:, None, :]
    battery, match, level = np.nonzero(able)
    none = np.full(battery.size, -1)
    return np.column_stack([battery, none, none, match, level, charges[battery, level]])


def _links(terms: Terms) -> IntArray:
    """Rows of battery, match before, level then, match, level, charged."""
    own, matches = terms.steps.size, terms.match.size
    later = np.triu(np.ones((matches, matches), dtype=np.bool_), 1)
    ends = terms.allowed[:, None, None, :, :own]
    base = terms.allowed[:, :, :, None, None] & later[None, :, None, :, None] & ends
    direct = (terms.back[:, None] <= terms.out[None, :])[None, :, None, :, None]
    kept = terms.kept[:, :, :, None, None]
    rows = [(base & direct & (kept == np.arange(own)), 0)]
    if terms.kinds.size:
        window = (terms.off[None, :] - terms.cooled[:, None])[None, :, None, :, None]
        need = terms.need.min(axis=4)[:, :, :, None, :]
        rows.append((base & (need <= window) & (np.arange(own) > kept), 1))
    return np.concatenate(
        [np.column_stack([np.argwhere(able), np.full(int(able.sum()), charged)]) for able, charged in rows]
    )
