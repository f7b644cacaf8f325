"""The robot as one solved circuit: battery, feed tree, loads, in many robots and scenarios at once."""

from shared.electrical.network.errors import NetworkError
from shared.electrical.network.loads import LoadKind, Loads
from shared.electrical.network.solve import Solution, solve
from shared.electrical.network.tree import FeedTree, Sources, path_ohm

__all__ = ["FeedTree", "LoadKind", "Loads", "NetworkError", "Solution", "Sources", "path_ohm", "solve"]
