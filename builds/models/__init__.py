from builds.models.circuits import Circuit, CircuitRole
from builds.models.duties import DutyPhase, DutyProfile
from builds.models.events import Event, Match, Outing
from builds.models.robots import Build, BuildLine, BuildState, Robot, Season
from builds.models.rotation import Handling, RotationPlan, RotationStep
from builds.models.studies import MatchStudy

__all__ = [
    "Build",
    "BuildLine",
    "BuildState",
    "Circuit",
    "CircuitRole",
    "DutyPhase",
    "DutyProfile",
    "Event",
    "Handling",
    "Match",
    "MatchStudy",
    "Outing",
    "Robot",
    "RotationPlan",
    "RotationStep",
    "Season",
]
