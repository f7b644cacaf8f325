"""The feed tree prepared for stepping: loads at leaves only, and what hangs behind regulators.

Public names: `Tier`, `Layout`, `lay_out`.

A load on a branch that also feeds others becomes a row of its own at the end of a piece of wire too short to
matter, so that a row carries a load or feeds others, never both. Regulators do: they feed from behind.
"""

from dataclasses import dataclass
from typing import Final

import numpy as np

from shared.electrical.arrays import BoolArray, FloatArray
from shared.electrical.network.tree import FeedTree, Level, PlaceArray

__all__ = ["Layout", "Tier", "lay_out"]

# Of the piece of wire to a load that was split off: a tenth of a microvolt at 100 A.
_SHORT_OHM: Final = 1e-9


@dataclass(frozen=True, slots=True)
class Tier:
    """The rows at one distance from the battery, and how they hang on the rows that feed them."""

    rows: slice
    feeder: PlaceArray  # row that feeds each of them
    fed: PlaceArray  # those rows, once each
    first: PlaceArray  # where the rows of each begin within the tier
    plain: PlaceArray  # places in `fed` that are no regulators
    regulated: PlaceArray  # places in `fed` that are
    regulator: PlaceArray  # and which of the regulators each of those is
    behind: PlaceArray  # places in the tier that hang behind a regulator
    behind_which: PlaceArray


@dataclass(frozen=True, slots=True)
class Layout:
    """Rows in the order of the solver; `order` gives the branch of each."""

    order: PlaceArray
    place: PlaceArray  # (n,) row of each branch
    load_row: PlaceArray  # (n,) row that carries the branch's load
    ohm: FloatArray  # (rows,) both poles
    tiers: tuple[Tier, ...]
    regulators: PlaceArray  # their rows
    inner: PlaceArray  # rows that feed others and carry no load


def lay_out(tree: FeedTree, has_load: BoolArray, regulator: BoolArray) -> Layout:
    """Prepare the feed tree of one robot for stepping.

    Parameters:
        tree: FeedTree of one robot, resistances in [ohm].
        has_load: bool array (n,) [-], branches with a load of their own at the far end.
        regulator: bool array (n,) [-], branches that end in a regulator, behind which their children hang.
    Returns:
        Layout, resistances in [ohm].
    Errors: NetworkError as `FeedTree.build`.
    Validity: any depth.
    Source: common practice, no source.

    >>> tree = FeedTree.build(robot=[0, 0], parent=[-1, 0], supply_ohm=[0.01, 0.02], return_ohm=[0.0, 0.0])
    >>> layout = lay_out(tree, np.array([False, True]), np.array([False, False]))
    >>> layout.ohm.tolist(), layout.inner.tolist()
    ([0.01, 0.02], [0])
    """
    count = len(tree.parent)
    feeds = np.zeros(count, dtype=np.bool_)
    feeds[tree.parent[tree.parent >= 0]] = True
    split = np.flatnonzero(feeds & has_load & ~regulator)
    ohm = np.concatenate([(tree.supply_ohm + tree.return_ohm)[:, 0], np.full(len(split), _SHORT_OHM)])
    if len(split):
        tree = FeedTree.build(
            robot=np.zeros(count + len(split), dtype=np.intp),
            parent=np.concatenate([tree.parent, split]),
            supply_ohm=ohm,
            return_ohm=np.zeros(len(ohm)),
        )
    load_place = np.arange(count)
    load_place[split] = np.arange(count, count + len(split))
    regulators = np.sort(tree.place[np.flatnonzero(regulator)])
    return Layout(
        order=np.concatenate([np.arange(count), split])[tree.order],
        place=tree.place[:count],
        load_row=tree.place[load_place],
        ohm=ohm[tree.order],
        tiers=tuple(_tier(level, regulators, top=not place) for place, level in enumerate(tree.levels)),
        regulators=regulators,
        inner=np.setdiff1d(tree.place[np.flatnonzero(feeds)], regulators),
    )


def _tier(level: Level, regulators: PlaceArray, *, top: bool) -> Tier:
    regulated = np.isin(level.fed, regulators) & (not top)
    behind = np.isin(level.feeder, regulators) & (not top)
    return Tier(
        rows=level.rows,
        feeder=level.feeder,
        fed=level.fed,
        first=level.first,
        plain=np.flatnonzero(~regulated),
        regulated=np.flatnonzero(regulated),
        regulator=np.searchsorted(regulators, level.fed[regulated]),
        behind=np.flatnonzero(behind),
        behind_which=np.searchsorted(regulators, level.feeder[behind]),
    )
