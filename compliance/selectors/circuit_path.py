"""A circuit in the solved robot: every stage from the battery to its far end, with the sum it comes from."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

from builds.network import Scenario
from builds.studies import Node, SolvedBuild, SolvedCircuit
from compliance.selectors.power_drawings import plain
from compliance.selectors.power_pages import when_words

#: Short names of the scenarios, in their order, for the heads of a table.
CASE_LABELS = ("Running", "Push", "All at peak")
SOURCE = (
    "Ohm's and Kirchhoff's laws; the whole robot is solved at once, so the currents are those of all branches"
)


@dataclass(frozen=True)
class PathStage:
    """One branch on the way from the battery, in each scenario."""

    found: SolvedCircuit
    is_last: bool

    @property
    def nodes(self) -> tuple[Node, ...]:
        return self.found.nodes

    @property
    def beside(self) -> list[tuple[Node, str]]:
        """Each scenario's figures with its short name."""
        return list(zip(self.nodes, CASE_LABELS, strict=True))

    @property
    def path_mohm(self) -> float:
        """Both poles of this branch."""
        return self.found.supply_mohm + self.found.return_mohm


def stages_to(solved: SolvedBuild, circuit_id: int) -> list[PathStage]:
    """The branches between the battery and the far end of a circuit, nearest the battery first; empty if left out."""
    by_id = {found.circuit_id: found for found in solved.circuits}
    path: list[SolvedCircuit] = []
    here = by_id.get(circuit_id)
    while here is not None and here not in path:
        path.append(here)
        here = by_id.get(here.fed_from_id or 0)
    return [PathStage(found, found.circuit_id == circuit_id) for found in reversed(path)]


def path_working(solved: SolvedBuild, stages: list[PathStage], scenario: Scenario) -> dict[str, Any] | None:
    """The voltages along the path as a working; None where the robot has no solution."""
    case = solved.scenarios[scenario]
    if not stages or not case.solved or stages[-1].nodes[scenario].load_v is None:
        return None
    steps = [_source_step(solved, scenario)] if solved.battery.internal_mohm is not None else []
    for stage in stages:
        steps += _stage_steps(stage, scenario)
    last = stages[-1]
    node = last.nodes[scenario]
    working: dict[str, Any] = {
        "steps": steps,
        "conclusion": f"{plain(node.load_v, 2)} V arrive {when_words(solved, scenario)}.",
        "source": SOURCE,
        "status": solved.battery.words,
    }
    if last.found.minimum_v is not None:
        working["limit"] = {"label": "needs at least", "value": last.found.minimum_v, "unit": "V"}
    return working


def _source_step(solved: SolvedBuild, scenario: Scenario) -> dict[str, Any]:
    case, battery = solved.scenarios[scenario], solved.battery
    return {
        "label": f"At the posts of {battery.name}",
        "formula": "U = U₀ − Rᵢ · I",
        "numbers": {
            "U₀": (battery.open_v, "V"),
            "Rᵢ": (battery.internal_mohm, "mΩ"),
            "I": (case.current_a, "A"),
        },
        "result": case.battery_v,
        "unit": "V",
    }


def _stage_steps(stage: PathStage, scenario: Scenario) -> list[dict[str, Any]]:
    found, node = stage.found, stage.nodes[scenario]
    return [
        {
            "label": f"{found.code} {found.name}: conductors, joints and device, out and back",
            "formula": "U = U_feed − (R₊ + R₋) · I",
            "numbers": {
                "U_feed": (node.supply_v, "V"),
                "R₊": (found.supply_mohm, "mΩ"),
                "R₋": (found.return_mohm, "mΩ"),
                "I": (node.current_a, "A"),
            },
            "result": node.load_v,
            "unit": "V",
        }
    ]
