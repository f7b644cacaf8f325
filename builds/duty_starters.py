"""Duty profiles to start from: common practice, no source. A team changes them to what its own logs show."""

from __future__ import annotations

from dataclasses import dataclass

from builds.models import DutyPhase


@dataclass(frozen=True)
class Starter:
    """A profile nobody has entered yet; its phases are (name, seconds, share of the draw, share of stall torque)."""

    code: str
    name: str
    phases: tuple[tuple[str, float, float, float], ...]

    def rows(self) -> list[DutyPhase]:
        """The phases as unsaved rows."""
        return [
            DutyPhase(name=name, lasts_s=seconds, draw_frac=draw, torque_frac=torque)
            for name, seconds, draw, torque in self.phases
        ]


DRIVE = Starter(
    "DRIVE",
    "Drive: dash, cruise, turn and push",
    (
        ("stand", 1.5, 0.0, 0.0),
        ("dash", 1.2, 1.0, 0.08),
        ("cruise", 2.6, 0.6, 0.05),
        ("turn", 0.8, 0.7, 0.12),
        ("push", 0.7, 0.6, 0.25),
    ),
)
LIFT = Starter(
    "LIFT",
    "Lift or arm: up, hold, down",
    (("rest", 5.0, 0.0, 0.0), ("lift", 0.8, 0.8, 0.2), ("hold", 2.0, 0.1, 0.08), ("lower", 0.9, 0.3, 0.02)),
)
INTAKE = Starter(
    "INTAKE",
    "Intake: run and grip",
    (("off", 4.0, 0.0, 0.0), ("run", 3.0, 0.8, 0.06), ("grip", 0.4, 0.8, 0.2)),
)
STARTERS: dict[str, Starter] = {starter.code: starter for starter in (DRIVE, LIFT, INTAKE)}
