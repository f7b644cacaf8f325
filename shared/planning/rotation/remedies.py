"""Where some match has no battery: which one fails first, and what would mend it."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace
from typing import Any

import numpy as np

from shared.planning.rotation.problem import Problem
from shared.planning.rotation.search import Search

__all__ = ["Remedies", "why_short"]

_MOST_LATER_MIN = 240
# A battery and a charger like any other, where there is none to be like: 0.3C is what datasheets allow at the start.
_CAPACITY_AH, _START_CURRENT, _ABSORPTION_MIN = 18.0, 0.3, 60.0


@dataclass(frozen=True)
class Remedies:
    """What was found by planning again with one thing changed; None where there was no time to tell."""

    first_match: int | None
    """All matches before it can have a battery; with this one they cannot all."""
    one_more_battery: bool | None
    """One more, full and fit, as large as the middle one, would cover every match."""
    one_more_charger: bool | None
    """One more like the fastest would cover every match."""
    later_by_min: float | None
    """The fewest minutes by which that match and all after it would have to be later; None also for more than 240."""
    known: bool
    """Every question was settled in time."""


def why_short(problem: Problem, limit_s: float = 5.0) -> Remedies | None:
    """Say which match is the first without a battery, and whether one thing more would give every match one.

    Parameters
    ----------
    problem : Problem [min, V, Ah]
    limit_s : float [s], for each question

    Returns
    -------
    Remedies [min], or None when every match can have a battery

    Errors
    ------
    none; what cannot be planned with is refused by the problem itself.

    Validity: each remedy by itself; where none helps, more than one is needed. A later match is tried in whole minutes,
    with everything after it later by as much.

    Source: planning again with the changed problem; 0.3C from a 20 Ah AGM datasheet where there is no charger at all.

    >>> day = Problem(start_min=[30, 60, 90], weight=[1, 1, 1], limit_v=[7, 7, 7], used_ah=[3, 3, 3], levels=[0.95, 1],
    ...     lowest_v=[[[8, 9]] * 3] * 2, fit=[[True] * 3] * 2, capacity_ah=[18, 18], charge_frac=[1, 1],
    ...     free_min=[0, 0], wear=[10, 20], charger_a=[6], charger_absorption_min=[60], charger_free_min=[0], now_min=0,
    ...     least_charge_frac=0.95)
    >>> why_short(day)
    Remedies(first_match=2, one_more_battery=True, one_more_charger=False, later_by_min=24.0, known=True)
    """
    asked = _Questions(limit_s)
    if asked(problem) is not False:
        return None
    first = _first_short(problem, asked)
    later = None if first is None else _least_later(problem, first, asked)
    return Remedies(
        first, asked(_with_battery(problem)), asked(_with_charger(problem)), later, asked.all_settled
    )


@dataclass
class _Questions:
    """Whether every match of a problem can have a battery, asked time and again."""

    limit_s: float
    all_settled: bool = True

    def __call__(self, problem: Problem) -> bool | None:
        answer = Search.of(problem, None).covers_all(self.limit_s)
        self.all_settled &= answer is not None
        return answer


def _first_short(problem: Problem, asked: Callable[[Problem], bool | None]) -> int | None:
    """The shortest run of matches that cannot all have a battery ends with this one."""
    planned = np.flatnonzero(problem.planned)
    low, high = 0, planned.size - 1
    while low < high:
        middle = (low + high) // 2
        covered = asked(_of_matches(problem, int(planned[middle]) + 1))
        if covered is None:
            return None
        low, high = (middle + 1, high) if covered else (low, middle)
    return int(planned[low])


def _least_later(problem: Problem, first: int, asked: Callable[[Problem], bool | None]) -> float | None:
    if not asked(_later(problem, first, _MOST_LATER_MIN)):
        return None
    low, high = 1, _MOST_LATER_MIN
    while low < high:
        middle = (low + high) // 2
        covered = asked(_later(problem, first, middle))
        if covered is None:
            return None
        low, high = (low, middle) if covered else (middle + 1, high)
    return float(high)


def _later(problem: Problem, first: int, minutes: float) -> Problem:
    return replace(
        problem, start_min=problem.start + np.where(np.arange(problem.matches) >= first, minutes, 0.0)
    )


def _of_matches(problem: Problem, count: int) -> Problem:
    """The first matches of a problem."""
    along = ("start_min", "weight", "limit_v", "used_ah", "fixed", "robot")
    across: dict[str, Any] = {
        name: np.asarray(getattr(problem, name))[:, :count] for name in ("lowest_v", "fit")
    }
    along_them: dict[str, Any] = {name: np.asarray(getattr(problem, name))[:count] for name in along}
    return replace(problem, **along_them, **across)


def _with_battery(problem: Problem) -> Problem:
    """One more battery; how high its voltage is makes no difference to whether a match has one."""
    capacity = np.asarray(problem.capacity_ah, dtype=np.float64)
    lowest = np.asarray(problem.lowest_v, dtype=np.float64)
    new = {
        "capacity_ah": np.median(capacity) if capacity.size else _CAPACITY_AH,
        "charge_frac": 1.0,
        "free_min": problem.now_min,
        "wear": 0.0,
    }
    grown: dict[str, Any] = {name: np.append(getattr(problem, name), value) for name, value in new.items()}
    return replace(
        problem,
        **grown,
        lowest_v=np.concatenate([lowest, np.zeros((1, *lowest.shape[1:]))]),
        fit=np.concatenate([np.asarray(problem.fit), np.ones((1, problem.matches), dtype=np.bool_)]),
    )


def _with_charger(problem: Problem) -> Problem:
    currents = np.asarray(problem.charger_a, dtype=np.float64)
    if currents.size:
        fastest = int(currents.argmax())
        current = float(currents[fastest])
        absorption = float(np.asarray(problem.charger_absorption_min)[fastest])
    else:
        capacity = np.asarray(problem.capacity_ah, dtype=np.float64)
        current = _START_CURRENT * (float(np.median(capacity)) if capacity.size else _CAPACITY_AH)
        absorption = _ABSORPTION_MIN
    return replace(
        problem,
        charger_a=np.append(currents, current),
        charger_absorption_min=np.append(problem.charger_absorption_min, absorption),
        charger_free_min=np.append(problem.charger_free_min, problem.now_min),
    )
