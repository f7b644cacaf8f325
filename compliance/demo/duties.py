"""How the demo robots are used during a match: the three profiles to start from and two of their own (invented)."""

from __future__ import annotations

from builds.duty_starters import STARTERS, Starter
from builds.models import DutyPhase, DutyProfile
from compliance.demo.rows import put_many
from shared.access import Scope

STEER = Starter(
    "STEER",
    "Steering: short turns of the wheels",
    (("straight", 1.1, 0.0, 0.0), ("turn", 0.25, 0.6, 0.1), ("hold", 0.65, 0.1, 0.04)),
)
AIR = Starter("AIR", "Compressor: fill and rest", (("rest", 42.0, 0.0, 0.0), ("fill", 18.0, 0.85, 0.0)))
PROFILES: dict[str, Starter] = STARTERS | {own.code: own for own in (STEER, AIR)}
#: Mechanism -> (profile its circuits follow, current limit set in each motor's controller).
USED: dict[str, tuple[str, float | None]] = {
    "DRIVE": ("DRIVE", 36.0),
    "STEER": ("STEER", 12.0),
    "ARM": ("LIFT", 20.0),
    "INTAKE": ("INTAKE", 16.0),
    "COMPRESSOR": ("AIR", None),
}


def make_profiles(scope: Scope) -> dict[str, DutyProfile]:
    """Enter the profiles of one team."""
    profiles = [DutyProfile(team=scope.team, code=code, name=p.name) for code, p in PROFILES.items()]
    made = {profile.code: profile for profile in put_many(scope, profiles)}
    put_many(scope, [phase for code in PROFILES for phase in _phases(made[code])])
    return made


def _phases(profile: DutyProfile) -> list[DutyPhase]:
    rows = PROFILES[profile.code].rows()
    for place, row in enumerate(rows, start=1):
        row.team, row.profile, row.place = profile.team, profile, place
    return rows
