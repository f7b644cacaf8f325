"""Answers about one build, from its network: pure functions of columns, which `selectors.studies` reads."""

from builds.studies.base import BatteryCase, LevelMargin
from builds.studies.batteries import BatteryStudy, BatteryVerdict, Runs
from builds.studies.changes import Change, ChangeStudy, Effect, FieldChange, Kind
from builds.studies.fixes import Fix, FixStudy
from builds.studies.limits import Limit, LimitRow, LimitStudy
from builds.studies.solved import Node, SolvedBuild, SolvedCircuit, SolvedScenario

__all__ = [
    "BatteryCase",
    "BatteryStudy",
    "BatteryVerdict",
    "Change",
    "ChangeStudy",
    "Effect",
    "FieldChange",
    "Fix",
    "FixStudy",
    "Kind",
    "LevelMargin",
    "Limit",
    "LimitRow",
    "LimitStudy",
    "Node",
    "Runs",
    "SolvedBuild",
    "SolvedCircuit",
    "SolvedScenario",
]
