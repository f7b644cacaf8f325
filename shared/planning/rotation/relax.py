"""How good a rotation could be at most: the same network, with fractions of batteries and chargers by their work alone.

A linear program. What it cannot better no plan can; and a step whose reduced cost exceeds what is left between that
bound and a plan in hand is in no better plan. Its figures are floating-point, its conclusions are drawn with a slack
far above their error and far below the whole units everything is counted in.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Any

import numpy as np

from shared.planning.rotation.network import Network
from shared.planning.rotation.terms import BoolArray, FloatArray, IntArray

__all__ = ["Aim", "Bound", "Limit"]

SLACK = 1e-5
_MOST_CUTS, _ROUNDS = 40, 3
_VIOLATED_MIN = 1e-3
# As scipy documents it.
_INFEASIBLE = 2


@dataclass(frozen=True, eq=False)
class Aim:
    """What is to be as small as can be: costs of steps, of matches without a battery, and perhaps wear."""

    name: str
    step: IntArray
    bare: IntArray
    wear: bool = False


@dataclass(frozen=True, eq=False)
class Limit:
    """An aim already reached, which later ones must keep to."""

    step: IntArray
    bare: IntArray
    most: int


@dataclass(frozen=True, eq=False)
class Bound:
    """No plan costs less than ``value``; one that takes a step costs at least ``value`` + its ``reduced`` cost."""

    value: float
    reduced: FloatArray


@dataclass
class Relaxation:
    """The linear program of the kept steps of a network; columns: steps (per kind of charger), bare matches, wear."""

    network: Network
    keep: BoolArray
    limits: list[Limit]
    may_be_bare: bool
    per_kind: bool = False
    step: IntArray = field(init=False)
    kind: IntArray = field(init=False)

    def __post_init__(self) -> None:
        network = self.network
        steps = np.flatnonzero(network.reachable(self.keep))
        if self.per_kind and network.minutes.shape[1]:
            able = network.fits[steps]
            able[~network.charged[steps], 0] = True
            rows, self.kind = np.nonzero(able)
            self.step = steps[rows]
        else:
            self.step, self.kind = steps, np.zeros(steps.size, dtype=np.int64)

    def bound(self, aim: Aim) -> Bound | None:
        """The least cost, or None where there is no plan at all."""
        from scipy import optimize, sparse  # noqa: PLC0415 - slow to import, and only a job plans exactly

        terms = self.network.terms
        matches, steps = terms.match.size, self.step.size
        wear_rows, wear_costs = self._wear(aim, sparse)
        bare = matches if self.may_be_bare else 0
        costs = np.concatenate([aim.step[self.step], aim.bare[:bare], wear_costs]).astype(np.float64)
        width = costs.size
        if width == 0:
            return None if matches else Bound(0.0, np.zeros(self.network.size))

        def wide(block: Any) -> Any:
            """A block of rows about steps and bare matches, as wide as all columns."""
            return sparse.hstack([block, sparse.csr_matrix((block.shape[0], width - block.shape[1]))])

        once = sparse.csr_matrix(
            (np.ones(steps), (self.network.match[self.step], range(steps))), (matches, steps)
        )
        equal = wide(sparse.hstack([once, sparse.eye(matches, bare)])).tocsr()
        rows, most = (
            [wide(self._flow(sparse)), wear_rows],
            [*self._flow_limits(), *[0.0] * wear_rows.shape[0]],
        )
        for limit in self.limits:
            rows.append(wide(sparse.csr_matrix(np.append(limit.step[self.step], limit.bare[:bare])[None, :])))
            most.append(float(limit.most))
        cuts = _Cuts(self) if self.per_kind else None
        for _ in range(_ROUNDS + 1):
            found = optimize.linprog(
                costs, sparse.vstack(rows).tocsr(), np.array(most), equal, np.ones(matches), method="highs",
                # What counts wear is at most one each; everything else is held by the rows.
                bounds=[(0.0, None)] * (steps + bare) + [(0.0, 1.0)] * (width - steps - bare),
            )  # fmt: skip
            if found.status == _INFEASIBLE:
                return None
            if found.x is None or cuts is None:
                break
            new, limits = cuts.violated(found.x[:steps])
            if not limits:
                break
            rows.append(wide(sparse.csr_matrix(new)))
            most += limits
        return self._told(found, steps)

    def _told(self, found: Any, steps: int) -> Bound:
        if found.status != 0:
            return Bound(-np.inf, np.zeros(self.network.size))
        reduced = np.full(self.network.size, np.inf)
        np.minimum.at(reduced, self.step, np.maximum(found.lower.marginals[:steps], 0.0))
        return Bound(float(found.fun), reduced)

    def _nodes(self) -> tuple[IntArray, IntArray]:
        """Row in which each step leaves and enters: a battery's start, or a battery at a match at a level."""
        network, shape = self.network, self.network.terms.allowed.shape
        into = np.ravel_multi_index((network.battery, network.match, network.level), shape)[self.step]
        source = np.maximum(network.source, 0), np.maximum(network.held, 0)
        out = np.ravel_multi_index((network.battery, *source), shape)[self.step]
        starts = network.source[self.step] < 0
        nodes, place = np.unique(np.append(into, out[~starts]), return_inverse=True)
        leave = network.battery[self.step].copy()
        leave[~starts] = shape[0] + place[into.size :]
        self._rows = shape[0] + nodes.size
        return leave, shape[0] + place[: into.size]

    def _flow(self, sparse: Any) -> Any:
        leave, enter = self._nodes()
        columns = np.arange(self.step.size)
        ones = np.ones(columns.size)
        return sparse.csr_matrix(
            (np.append(ones, -ones), (np.append(leave, enter), np.append(columns, columns))),
            (self._rows, columns.size),
        )

    def _flow_limits(self) -> list[float]:
        batteries = self.network.terms.problem.batteries
        return [1.0] * batteries + [0.0] * (self._rows - batteries)

    def _wear(self, aim: Aim, sparse: Any) -> tuple[Any, FloatArray]:
        """Rows that count each battery's matches in columns of rising cost."""
        terms = self.network.terms
        batteries, matches, bare = terms.problem.batteries, terms.match.size, len(aim.bare)
        bare = matches if self.may_be_bare else 0
        before = self.step.size + bare
        if not aim.wear or not batteries:
            return sparse.csr_matrix((0, before)), np.zeros(0)
        counted = sparse.csr_matrix(
            (np.ones(self.step.size), (self.network.battery[self.step], range(self.step.size))),
            (batteries, before),
        )
        each = sparse.kron(sparse.eye(batteries), -np.ones((1, matches)))
        costs = np.concatenate([np.diff(terms.wear_cost(battery)) for battery in range(batteries)])
        return sparse.hstack([counted, each]), costs.astype(np.float64)


class _Cuts:
    """What each kind of charger can do in a stretch of time, against the least the charges must have of it.

    A charge of p minutes between r and d takes at least min(p, r + p - t1, t2 - (d - p), t2 - t1) of t1 to t2.
    """

    def __init__(self, relaxation: Relaxation) -> None:
        network, step = relaxation.network, relaxation.step
        terms, self.kind = network.terms, relaxation.kind
        begin = np.unique(np.append(network.since[step], terms.free))
        end = np.unique(network.off[step])
        pairs = np.array([(one, other) for one in begin for other in end if other > one], dtype=np.int64)
        self.begin, self.end = pairs.reshape(-1, 2).T
        minutes = network.minutes[step, self.kind] * network.charged[step]
        early, late = network.since[step] + minutes, network.off[step] - minutes
        inside = np.minimum(early - self.begin[:, None], self.end[:, None] - late)
        inside = np.minimum(inside, np.minimum(minutes, (self.end - self.begin)[:, None]))
        self.work = np.maximum(inside, 0)
        kinds = range(len(terms.kinds))
        free = [terms.charger_free[terms.kind == kind] for kind in kinds]
        self.room = np.array(
            [sum(np.maximum(self.end - np.maximum(self.begin, one), 0) for one in each) for each in free]
        )
        self.used: set[tuple[int, int]] = set()

    def violated(self, taken: FloatArray) -> tuple[FloatArray, list[float]]:
        """The rows a fractional plan offends most, and their limits."""
        over = []
        for kind, room in enumerate(self.room):
            on = self.kind == kind
            excess = self.work[:, on] @ taken[on] - room
            over += [
                (excess[pair] / (1.0 + room[pair]), kind, int(pair))
                for pair in np.flatnonzero(excess > _VIOLATED_MIN)
                if (kind, int(pair)) not in self.used
            ]
        worst = sorted(over, reverse=True)[:_MOST_CUTS]
        self.used |= {(kind, pair) for _, kind, pair in worst}
        rows = [self.work[pair] * (self.kind == kind) for _, kind, pair in worst]
        return np.array(rows), [float(self.room[kind, pair]) for _, kind, pair in worst]
