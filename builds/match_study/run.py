"""Simulate the matches of one build with some batteries; every battery meets the same matches."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from typing import Any

from builds.match_study.batteries import StudyBattery
from builds.match_study.inputs import STEP_S
from builds.match_study.outcome import outcome_of
from builds.match_study.robot import StudyRobot
from shared.electrical.match import random_shifts, simulate

#: How many matches are simulated with each battery unless more are asked for.
RUNS = 100


def run_studies(
    robot: StudyRobot,
    batteries: Sequence[StudyBattery],
    runs: int,
    progress: Callable[[float], None] | None = None,
) -> list[dict[str, Any]]:
    """The outcome with each battery. The seed comes from the robot's mechanisms, so a study can be repeated."""
    shifts = random_shifts(robot.kernel, runs, robot.seed)
    kernels = [battery.kernel for battery in batteries]
    result = simulate(
        robot.kernel, kernels, shifts, duration_s=robot.match_s, step_s=STEP_S, progress=progress
    )
    return [outcome_of(robot, battery, result, b) for b, battery in enumerate(batteries)]
