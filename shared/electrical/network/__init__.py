"""The robot as one solved circuit: battery, feed tree, loads, in many robots and scenarios at once.

| name | answers |
|---|---|
| `FeedTree.build`, `Sources`, `Loads` | which branch feeds which, from what, for what: refused with the field named |
| `solve` | every voltage and current, or that there is no solution |
| `one_robot`, `solve_one` | the same of one robot, in plain Python: quicker than arrays up to some ten robots |
| `collapse_margin` | how many times the draws could grow before the voltage collapses |
| `path_ohm` | the resistance from the battery's posts to each far end |
"""

from shared.electrical.network.errors import NetworkError
from shared.electrical.network.loads import LoadKind, Loads
from shared.electrical.network.margin import collapse_margin
from shared.electrical.network.one import OneRobot, OneSolution, one_robot, solve_one
from shared.electrical.network.solve import Solution, solve
from shared.electrical.network.tree import FeedTree, Sources, path_ohm

__all__ = [
    "FeedTree",
    "LoadKind",
    "Loads",
    "NetworkError",
    "OneRobot",
    "OneSolution",
    "Solution",
    "Sources",
    "collapse_margin",
    "one_robot",
    "path_ohm",
    "solve",
    "solve_one",
]
