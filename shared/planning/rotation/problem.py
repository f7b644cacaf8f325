"""What a rotation is planned from: matches, batteries, chargers and how long each step in the pit takes."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

__all__ = ["Problem", "ProblemError"]

FloatArray = NDArray[np.float64]
IntArray = NDArray[np.int64]
BoolArray = NDArray[np.bool_]

_SLACK = 1e-9
_TIMES = ("ready_before_min", "back_after_min", "cool_min", "rest_min")
_NUMBERS = (*_TIMES, "now_min", "least_charge_frac", "floor_v")


class ProblemError(ValueError):
    """A field of a problem that cannot be planned with; ``field`` names it."""

    def __init__(self, field: str, message: str) -> None:
        super().__init__(f"{field} {message}")
        self.field = field


@dataclass(frozen=True, eq=False)
class Problem:
    """Matches m in order of time, batteries b on one cart, chargers c; minutes from any one origin.

    A battery goes out ``ready_before_min`` before its match and is back ``back_after_min`` after the match began. It
    may go out again, or cool for ``cool_min``, charge, rest for ``rest_min`` and then go out. At most one charge lies
    between two matches; it is whole minutes long and ends at one of ``levels`` (or at ``least_charge_frac``). States
    of charge are followed in these steps: what lies between two counts as the lower one.

    What happened or is happening is ``fixed``; ``free_min`` and ``charge_frac`` say how each battery comes out of
    it. A match that has begun and is not fixed is left out.
    """

    start_min: ArrayLike
    """When each match begins [min], ascending; two robots' matches may overlap."""
    weight: ArrayLike
    """How much each match counts, greater than 0: importance times strength."""
    limit_v: ArrayLike
    """The highest brown-out level of the robot in each match [V]."""
    used_ah: ArrayLike
    """What each match takes out of a battery [Ah]."""
    levels: ArrayLike
    """States of charge [1], ascending, for which the voltages are given; the lowest is no higher than
    ``least_charge_frac``."""
    lowest_v: ArrayLike
    """Lowest board voltage expected [V], batteries x matches x levels; not read where a battery is not fit."""
    fit: ArrayLike
    """Whether a battery may go out for a match, batteries x matches."""
    capacity_ah: ArrayLike
    """[Ah] of each battery."""
    charge_frac: ArrayLike
    """State of charge [1] of each battery when it is free."""
    free_min: ArrayLike
    """From when on each battery may go out or go on a charger [min]."""
    wear: ArrayLike
    """Cycles of each battery so far, fixed matches included."""
    charger_a: ArrayLike
    """Current of each charger in bulk charge [A]."""
    charger_absorption_min: ArrayLike
    """Absorption time of each charger after a match [min]."""
    charger_free_min: ArrayLike
    """From when on each charger is free [min]."""
    now_min: float
    """Nothing is planned before [min]."""
    fixed: ArrayLike | None = None
    """Battery of each match that happened or is happening, -1 elsewhere."""
    robot: ArrayLike | None = None
    """Which robot plays each match, any numbers; it changes nothing but how a plan reads."""
    ready_before_min: float = 15.0
    back_after_min: float = 10.0
    cool_min: float = 20.0
    rest_min: float = 5.0
    least_charge_frac: float = 0.85
    floor_v: float = 0.0
    """A plan made anew is changed as little as it can be while no margin falls below this [V]."""

    def __post_init__(self) -> None:
        m, b, c, k = (np.size(a) for a in (self.start_min, self.capacity_ah, self.charger_a, self.levels))
        shapes = {
            **dict.fromkeys(("start_min", "weight", "limit_v", "used_ah"), (m,)),
            **dict.fromkeys(("capacity_ah", "charge_frac", "free_min", "wear"), (b,)),
            **dict.fromkeys(("charger_a", "charger_absorption_min", "charger_free_min"), (c,)),
            "levels": (k,),
            "lowest_v": (b, m, k),
        }
        for name, shape in shapes.items():
            object.__setattr__(self, name, _array(name, getattr(self, name), shape, np.float64))
        object.__setattr__(self, "fit", _array("fit", self.fit, (b, m), np.bool_))
        for name, default in (("fixed", -1), ("robot", 0)):
            given = getattr(self, name)
            given = np.full(m, default) if given is None else given
            object.__setattr__(self, name, _array(name, given, (m,), np.int64))
        for name in _NUMBERS:
            object.__setattr__(self, name, float(getattr(self, name)))
        _check(self)

    @property
    def matches(self) -> int:
        return int(np.size(self.start_min))

    @property
    def batteries(self) -> int:
        return int(np.size(self.capacity_ah))

    @property
    def chargers(self) -> int:
        return int(np.size(self.charger_a))

    @property
    def planned(self) -> BoolArray:
        """Which matches a plan speaks of: neither fixed nor begun."""
        return np.asarray((self.fixed_battery < 0) & (self.start >= self.now_min), dtype=np.bool_)

    @property
    def start(self) -> FloatArray:
        return np.asarray(self.start_min, dtype=np.float64)

    @property
    def fixed_battery(self) -> IntArray:
        return np.asarray(self.fixed, dtype=np.int64)


def _array(name: str, given: ArrayLike, shape: tuple[int, ...], kind: type) -> NDArray[np.generic]:
    try:
        array: NDArray[np.generic] = np.array(given, dtype=kind)
    except (TypeError, ValueError) as error:
        raise ProblemError(name, "must be numbers, all known") from error
    if array.size == 0 and 0 in shape:
        array = array.reshape(shape)
    if array.shape != shape:
        raise ProblemError(name, f"must have the shape {shape}, not {array.shape}")
    array.setflags(write=False)
    return array


def _check(problem: Problem) -> None:
    """Raise a ProblemError for the first field that cannot be planned with."""
    for name in (
        "start_min",
        "limit_v",
        "used_ah",
        "charge_frac",
        "wear",
        "charger_absorption_min",
        "levels",
    ):
        _ask(name, np.isfinite(getattr(problem, name)), "must be finite numbers")
    for name in ("weight", "capacity_ah", "charger_a"):
        values = np.asarray(getattr(problem, name))
        _ask(name, np.isfinite(values) & (values > 0), "must be greater than 0")
    for name in ("used_ah", "wear", "charger_absorption_min"):
        _ask(name, np.asarray(getattr(problem, name)) >= 0, "must be 0 or more")
    for name in ("free_min", "charger_free_min"):
        _ask(name, ~np.isnan(getattr(problem, name)), "must be known; infinite for never")
    _ask("charge_frac", _inside(problem.charge_frac), "must be between 0 and 1")
    _ask("start_min", np.diff(problem.start) >= 0, "must be in order of time")
    _check_levels(problem)
    for name in _TIMES:
        value = getattr(problem, name)
        _ask(name, np.isfinite(value) and value >= 0, "must be 0 or more minutes")
    for name in ("now_min", "floor_v"):
        _ask(name, np.isfinite(getattr(problem, name)), "must be a finite number")
    fixed = problem.fixed_battery
    _ask("fixed", (fixed >= -1) & (fixed < problem.batteries), "must name a battery, or -1")


def _check_levels(problem: Problem) -> None:
    levels = np.asarray(problem.levels)
    _ask("levels", levels.size > 0 and bool((np.diff(levels) > 0).all()), "must ascend")
    _ask("levels", _inside(levels) & (levels > 0), "must lie above 0 and not above 1")
    _ask("least_charge_frac", 0.0 <= problem.least_charge_frac <= levels[-1], "must not exceed the top level")
    _ask("levels", levels[0] <= problem.least_charge_frac + _SLACK, "must reach down to least_charge_frac")
    known = np.isfinite(problem.lowest_v).all(axis=2) | ~np.asarray(problem.fit)
    _ask("lowest_v", known, "must be known wherever a battery is fit")


def _inside(values: ArrayLike) -> BoolArray:
    array = np.asarray(values)
    return np.asarray((array >= 0.0) & (array <= 1.0), dtype=np.bool_)


def _ask(field: str, holds: ArrayLike, message: str) -> None:
    if not np.all(holds):
        raise ProblemError(field, message)
