from builds.models.circuits import Circuit, CircuitRole
from builds.models.events import Event, Match, Outing
from builds.models.robots import Build, BuildLine, BuildState, Robot, Season

__all__ = [
    "Build",
    "BuildLine",
    "BuildState",
    "Circuit",
    "CircuitRole",
    "Event",
    "Match",
    "Outing",
    "Robot",
    "Season",
]
