"""The feed tree: which branch feeds which, through which resistance, for many robots at once.

Public names: `FeedTree`, `Level`, `Sources`, `path_ohm`.

All branches of all robots lie in one flat list. For the solver they are sorted by their distance from the
battery, and within it by the branch that feeds them, so that what hangs on one branch is one contiguous run.
"""

from dataclasses import dataclass, replace
from typing import Self, TypeAlias, TypeVar

import numpy as np
import numpy.typing as npt

from shared.electrical.arrays import BoolArray, FloatArray, Number
from shared.electrical.network.errors import NetworkError

__all__ = ["AnyKind", "FeedTree", "Level", "PlaceArray", "Sources", "path_ohm"]

PlaceArray: TypeAlias = npt.NDArray[np.intp]
AnyKind = TypeVar("AnyKind", bound=np.generic)


def _columns(field: str, value: npt.ArrayLike, rows: int) -> FloatArray:
    """A figure as (rows, scenarios); one scenario where none are given."""
    array = np.asarray(value, dtype=np.float64)
    if array.ndim == 0:
        return np.full((rows, 1), array)
    if array.ndim == 1:
        array = array[:, None]
    if array.shape[0] != rows:
        raise NetworkError(field, f"has {array.shape[0]} rows where {rows} are expected")
    return array


def _refuse(field: str, problem: str, wrong: BoolArray) -> None:
    if wrong.any():
        raise NetworkError(field, problem, np.unique(np.nonzero(wrong)[0]))


@dataclass(eq=False)
class Level:
    """The branches at one distance from the battery, in the order of the solver."""

    rows: slice
    feeder: PlaceArray  # of each row: place of the feeding branch; at the first level the robot
    fed: PlaceArray  # the feeders that occur, once each
    first: PlaceArray  # where the rows of each begin, counted from the level's first row
    only: slice | None  # the feeder's row where there is but one: quicker than an index

    def of_feeders(self, values: FloatArray) -> FloatArray:
        """Give each row of the level its feeder's figure."""
        return values[self.only] if self.only else values.take(self.feeder, axis=0)

    def add_to_feeders(self, into: FloatArray, lines: FloatArray, share: FloatArray) -> None:
        """Add to each feeder's pair of figures (first axis) what share of its rows' reaches it."""
        if self.only:
            into[:, self.only] += np.einsum("kij,ij->kj", lines, share)[:, None]
        else:
            into[:, self.fed] += np.add.reduceat(lines * share, self.first, axis=1)


@dataclass(frozen=True, eq=False)
class FeedTree:
    """Who feeds whom in many robots, and the resistance of every branch [ohm], made by `FeedTree.build`.

    A branch is its conductor pair with joints and device; `parent` is the place of the feeding branch, -1 the
    robot's battery posts. Resistances are (branches, scenarios) with one column where they never vary.
    """

    robots: int  # batteries it needs
    robot: PlaceArray
    parent: PlaceArray
    supply_ohm: FloatArray
    return_ohm: FloatArray
    order: PlaceArray  # place of each row of the solver in the arrays above
    place: PlaceArray  # the inverse
    in_order: bool  # whether both are 0, 1, 2 ...
    levels: tuple[Level, ...]
    # In the order of the solver: both poles together, and the return alone.
    loop_ohm: FloatArray
    back_ohm: FloatArray

    @classmethod
    def build(
        cls,
        *,
        robot: npt.ArrayLike,
        parent: npt.ArrayLike,
        supply_ohm: npt.ArrayLike,
        return_ohm: npt.ArrayLike,
    ) -> Self:
        """Check a feed tree and sort it; raises `NetworkError` with the field at fault."""
        robots = np.atleast_1d(np.asarray(robot, dtype=np.intp))
        parents = np.atleast_1d(np.asarray(parent, dtype=np.intp))
        rows = len(parents)
        if len(robots) != rows:
            raise NetworkError("robot", f"has {len(robots)} rows where {rows} are expected")
        count = int(robots.max(initial=-1)) + 1
        if rows:
            if robots.min() < 0:
                _refuse("robot", "must be 0 or a later robot's number", robots < 0)
            if parents.min() < -1 or parents.max() >= rows:
                wrong = (parents < -1) | (parents >= rows)
                _refuse("parent", "names a branch that does not exist", wrong)
        if count > 1:
            other = (robots.take(parents, mode="wrap") != robots) & (parents >= 0)
            _refuse("parent", "a branch is fed from its own robot; choose one of its branches", other)
        order, place, levels = _sorted_levels(robots, parents)
        in_order = order is place or bool((order[1:] > order[:-1]).all())
        ohms = _resistances(supply_ohm, return_ohm, order, in_order)
        return cls(count, robots, parents, *ohms[:2], order, place, in_order, levels, *ohms[2:])

    def with_ohm(self, supply_ohm: npt.ArrayLike, return_ohm: npt.ArrayLike) -> Self:
        """Give the same tree with other resistances, without sorting it again."""
        supply, back, loop, sorted_back = _resistances(supply_ohm, return_ohm, self.order, self.in_order)
        return replace(self, supply_ohm=supply, return_ohm=back, loop_ohm=loop, back_ohm=sorted_back)

    def sort(self, values: npt.NDArray[AnyKind]) -> npt.NDArray[AnyKind]:
        """Give figures of the branches, rows first, in the order of the solver."""
        return values if self.in_order else values.take(self.order, axis=0)

    def unsort(self, values: npt.NDArray[AnyKind]) -> npt.NDArray[AnyKind]:
        """Give figures in the order of the solver in the caller's."""
        return values if self.in_order else values.take(self.place, axis=0)

    def only(self, robots: BoolArray) -> tuple[Self, PlaceArray]:
        """Give the tree of the robots chosen, numbered anew, and the places of its branches in this one."""
        rows = np.flatnonzero(robots[self.robot])
        number = np.cumsum(robots) - 1
        moved = np.full(len(self.parent) + 1, -1, dtype=np.intp)
        moved[rows] = np.arange(len(rows))
        part = self.build(
            robot=number[self.robot[rows]],
            parent=moved[self.parent[rows]],
            supply_ohm=self.supply_ohm[rows],
            return_ohm=self.return_ohm[rows],
        )
        return part, rows


@dataclass(frozen=True, eq=False)
class Sources:
    """The battery of each robot: open-circuit voltage [V], internal resistance [ohm]; (m,), (m, s) or one for all."""

    open_v: Number
    internal_ohm: Number

    def columns(self) -> tuple[FloatArray, FloatArray]:
        """Give both as (robots, scenarios); raises `NetworkError` where there is no battery."""
        count = max(np.shape(value)[0] if np.ndim(value) else 1 for value in (self.open_v, self.internal_ohm))
        volts = _columns("open_v", self.open_v, count)
        ohms = _columns("internal_ohm", self.internal_ohm, count)
        for field, values, remedy in (
            ("open_v", volts, "no battery: enter its rest voltage, more than 0 V"),
            ("internal_ohm", ohms, "no battery: enter its internal resistance, more than 0 ohm"),
        ):
            if values.size and not (values.min() > 0.0 and values.max() < np.inf):
                _refuse(field, remedy, ~((values > 0.0) & (values < np.inf)))
        return volts, ohms


def _resistances(
    supply_ohm: npt.ArrayLike, return_ohm: npt.ArrayLike, order: PlaceArray, in_order: bool
) -> tuple[FloatArray, FloatArray, FloatArray, FloatArray]:
    supply = _columns("supply_ohm", supply_ohm, len(order))
    back = _columns("return_ohm", return_ohm, len(order))
    loop = supply + back
    # The ends tell whether any is wrong (a NaN is neither end); only then it is worth looking where.
    fine = loop.size == 0 or (
        supply.min() >= 0.0 and back.min() >= 0.0 and loop.min() > 0.0 and loop.max() < np.inf
    )
    if not fine:
        for field, ohms in (("supply_ohm", supply), ("return_ohm", back)):
            _refuse(field, "a resistance is a number and not negative; check length and size", ~(ohms >= 0.0))
            _refuse(field, "a resistance is finite; leave an open branch out", np.isinf(ohms))
        _refuse("supply_ohm", "a branch without any resistance; enter its length and wire", loop <= 0.0)
    if in_order:
        return supply, back, loop, back
    return supply, back, loop.take(order, axis=0), back.take(order, axis=0)


def _depths(parent: PlaceArray) -> tuple[list[PlaceArray], PlaceArray]:
    """The rows at each distance from the battery, and those at none: they hang on a ring."""
    reached = parent < 0
    levels = [np.flatnonzero(reached)]
    rest = np.flatnonzero(~reached)
    while len(rest):
        hit = reached[parent[rest]]
        if not hit.any():
            break
        levels.append(rest[hit])
        reached[rest[hit]] = True
        rest = rest[~hit]
    return levels, rest


def _sorted_levels(robot: PlaceArray, parent: PlaceArray) -> tuple[PlaceArray, PlaceArray, tuple[Level, ...]]:
    everyone = np.arange(len(parent))
    if (given := _given_levels(robot, parent, everyone)) is not None:
        return everyone, everyone, given
    by_depth, ring = _depths(parent)
    if len(ring):
        raise NetworkError(
            "parent", "the branches feed each other in a ring; feed one from the battery", ring
        )
    order, place = np.empty_like(everyone), np.empty_like(everyone)
    levels, start = [], 0
    for depth, rows in enumerate(by_depth):
        feeder = place[parent[rows]] if depth else robot[rows]
        if (feeder[1:] < feeder[:-1]).any():
            sort = np.argsort(feeder, kind="stable")
            rows, feeder = rows[sort], feeder[sort]
        stop = start + len(rows)
        order[start:stop] = rows
        place[rows] = everyone[start:stop]
        levels.append(_level(start, feeder))
        start = stop
    return order, place, tuple(levels)


def _level(start: int, feeder: PlaceArray) -> Level:
    rows = slice(start, start + len(feeder))
    if len(feeder) and feeder[0] == feeder[-1]:
        only = int(feeder[0])
        return Level(rows, feeder, feeder[:1], np.zeros(1, dtype=np.intp), slice(only, only + 1))
    begins = np.ones(len(feeder), dtype=np.bool_)
    np.not_equal(feeder[1:], feeder[:-1], out=begins[1:])
    first = begins.nonzero()[0]
    return Level(rows, feeder, feeder[first], first, None)


def _given_levels(robot: PlaceArray, parent: PlaceArray, everyone: PlaceArray) -> tuple[Level, ...] | None:
    """The levels where the branches are given in the solver's order, which one look can tell."""
    roots = int(parent.searchsorted(0))
    if roots == 0 or (parent[1:] < parent[:-1]).any() or (parent >= everyone).any():
        return None
    if (robot[1:roots] < robot[: roots - 1]).any():
        return None
    # The branches fed from a level are those whose parent lies before its end.
    levels, stop = [_level(0, robot[:roots])], roots
    while (after := int(parent.searchsorted(stop))) > stop:
        levels.append(_level(stop, parent[stop:after]))
        stop = after
    return tuple(levels)


def path_ohm(tree: FeedTree) -> FloatArray:
    """Give the resistance from the battery's posts to the far end of each branch and back.

    Parameters:
        tree: FeedTree.
    Returns:
        Array [ohm], (branches,) or (branches, scenarios) as the tree's resistances; both poles, without the
        battery's own.
    Errors: none.
    Validity: conductors at the temperature their resistances are given for; not through a regulator, which no
        fault current passes unlimited.
    Source: series connection of resistances.

    >>> tree = FeedTree.build(
    ...     robot=[0, 0], parent=[-1, 0], supply_ohm=[0.0025, 0.010], return_ohm=[0.0025, 0.010]
    ... )
    >>> path_ohm(tree).tolist()
    [0.005, 0.025]
    """
    own = tree.loop_ohm.copy()
    for level in tree.levels[1:]:
        own[level.rows] += own[level.feeder]
    total = tree.unsort(own)
    return total[:, 0] if total.shape[1] == 1 else total
