"""The feed tree taken apart for stepping: the nodes that feed something, and the loads that hang on each.

Public names: `Island`, `Layout`, `Node`, `lay_out`.

Rows are sorted so that what hangs on one node is one contiguous run: first the loads, node by node, within a node
the constant powers (and regulators) last; then the branches that feed further nodes. A load at the far end of a
branch that also feeds others is a row of its own without resistance.
"""

from dataclasses import dataclass

import numpy as np

from shared.electrical.arrays import BoolArray, FloatArray
from shared.electrical.network.tree import FeedTree, PlaceArray

__all__ = ["Island", "Layout", "Node", "lay_out"]


@dataclass(frozen=True, slots=True)
class Node:
    """A place that feeds something: the battery's terminals, the far end of a branch, a regulator's output."""

    lines: slice  # rows of its loads that are straight lines piece by piece
    powers: slice  # rows of its constant powers and regulators
    watts: slice  # the same, as places in an array of the powers alone
    below: tuple[int, ...]  # nodes fed from here through a branch
    row: int  # row of the branch that feeds it, -1 at the head of an island


@dataclass(frozen=True, slots=True)
class Island:
    """Nodes that are joined by conductors: all that hangs on the battery, or on one regulator."""

    nodes: slice  # the head first, each before those it feeds
    loaded: tuple[int, ...]  # those with loads, counted from the head
    regulator: int  # place in `Layout.regulators`, -1 for the battery
    rows: PlaceArray  # all its branches


@dataclass(frozen=True, slots=True)
class Layout:
    """Rows in the order of stepping; `order` gives the branch of each."""

    order: PlaceArray
    place: PlaceArray  # (n,) row of each branch
    ohm: FloatArray  # (rows,) both poles
    loads: int  # rows of loads; the others feed nodes
    nodes: tuple[Node, ...]  # the battery's terminals first
    islands: tuple[Island, ...]  # those behind regulators before those that feed these
    powers: PlaceArray  # rows of constant powers and regulators
    regulators: PlaceArray  # rows
    regulator_watts: PlaceArray  # their places among the powers
    regulator_node: PlaceArray  # node that feeds each


def lay_out(tree: FeedTree, has_load: BoolArray, is_power: BoolArray, regulator: BoolArray) -> Layout:
    """Take the feed tree of one robot apart for stepping.

    Parameters:
        tree: FeedTree of one robot, resistances in [ohm].
        has_load: bool array (n,) [-], branches with a load of their own at the far end.
        is_power: bool array (n,) [-], those whose load is a constant power.
        regulator: bool array (n,) [-], branches that end in a regulator, behind which their children hang.
    Returns:
        Layout, resistances in [ohm].
    Errors: none; a ring is refused where the tree is built.
    Validity: any depth.
    Source: common practice, no source.

    >>> tree = FeedTree.build(robot=[0, 0], parent=[-1, 0], supply_ohm=[0.01, 0.02], return_ohm=[0.0, 0.0])
    >>> none = np.array([False, False])
    >>> layout = lay_out(tree, np.array([False, True]), none, none)
    >>> layout.order.tolist(), layout.loads, len(layout.nodes)
    ([1, 0], 1, 2)
    """
    parent = tree.parent
    feeds = np.zeros(len(parent), dtype=np.bool_)
    feeds[parent[parent >= 0]] = True
    heads = _heads(tree, regulator)
    feeders: list[int] = [
        -1,
        *sorted(np.flatnonzero(feeds).tolist(), key=lambda row: (heads[row], tree.place[row])),
    ]
    node_of = {branch: number for number, branch in enumerate(feeders)}
    fed_by = np.array([node_of[int(above)] for above in parent])
    inner = feeds & ~regulator
    # A load that shares its branch with others hangs on the node there; every other one on the node that feeds it.
    hangs_on = np.where(inner, [node_of.get(branch, 0) for branch in range(len(parent))], fed_by)
    late = is_power | regulator
    loads = np.flatnonzero(~inner | has_load)
    loads = loads[np.lexsort((late[loads], hangs_on[loads]))]
    branches = np.array([branch for branch in feeders[1:] if inner[branch]], dtype=np.intp)
    order = np.concatenate([loads, branches])
    place = np.zeros(len(parent), dtype=np.intp)
    place[loads] = np.arange(len(loads))
    place[branches] = np.arange(len(loads), len(order))
    ohm = (tree.supply_ohm + tree.return_ohm)[order, 0]
    ohm[np.flatnonzero(inner[loads])] = 0.0
    powers, regulators = np.flatnonzero(late[loads]), np.flatnonzero(regulator[loads])
    nodes = []
    for number, feeder in enumerate(feeders):
        here = np.flatnonzero(hangs_on[loads] == number)
        first = int(here[0]) if len(here) else 0
        middle, last = first + int((~late[loads[here]]).sum()), first + len(here)
        nodes.append(
            Node(
                lines=slice(first, middle),
                powers=slice(middle, last),
                watts=slice(*np.searchsorted(powers, (middle, last)).tolist()),
                below=tuple(node_of[branch] for branch in branches.tolist() if fed_by[branch] == number),
                row=int(place[feeder]) if feeder >= 0 and inner[feeder] else -1,
            )
        )
    which = {int(loads[row]): number for number, row in enumerate(regulators)}
    return Layout(
        order=order,
        place=place,
        ohm=ohm,
        loads=len(loads),
        nodes=tuple(nodes),
        islands=_islands(nodes, [which.get(branch, -1) for branch in feeders]),
        powers=powers,
        regulators=regulators,
        regulator_watts=np.searchsorted(powers, regulators),
        regulator_node=fed_by[loads[regulators]],
    )


def _heads(tree: FeedTree, regulator: BoolArray) -> list[int]:
    """Of every branch the regulator it belongs to or hangs behind, as a rank by distance; -1 with the battery."""
    heads = [-1] * len(regulator)
    for branch in tree.order.tolist():
        above = int(tree.parent[branch])
        heads[branch] = int(tree.place[branch]) if regulator[branch] else (heads[above] if above >= 0 else -1)
    return heads


def _islands(nodes: list[Node], regulator: list[int]) -> tuple[Island, ...]:
    starts = [number for number, node in enumerate(nodes) if node.row < 0]
    islands = []
    for start, stop in zip(starts, [*starts[1:], len(nodes)], strict=True):
        rows = [np.arange(node.lines.start, node.powers.stop) for node in nodes[start:stop]]
        rows.append(np.array([node.row for node in nodes[start + 1 : stop]], dtype=np.intp))
        loaded = tuple(at for at, one in enumerate(nodes[start:stop]) if one.powers.stop > one.lines.start)
        islands.append(Island(slice(start, stop), loaded, regulator[start], np.concatenate(rows)))
    return tuple(reversed(islands))
