"""The robot as one network: `assemble` makes it of circuit rows, in whole columns for a whole league."""

from builds.network.assemble import AsNew, Assembled, assemble, full_rest_v
from builds.network.assumed import Assumption, LeftOut, Out
from builds.network.currents import Currents
from builds.network.loads import PUSHING, SCENARIO_WORDS, Mechanisms, Scenario

__all__ = [
    "PUSHING",
    "SCENARIO_WORDS",
    "AsNew",
    "Assembled",
    "Assumption",
    "Currents",
    "LeftOut",
    "Mechanisms",
    "Out",
    "Scenario",
    "assemble",
    "full_rest_v",
]
