"""How much charge a match takes: as simulated for the robot and battery, as measured in past outings, or assumed."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from statistics import median

from builds.models import BuildState, MatchStudy, Outing
from shared.access import Scope

#: What a match takes where neither a simulation nor an outing tells it (common practice, no source).
ASSUMED_AH = 3.0
#: Past outings looked at, the newest first.
PAST_OUTINGS = 200

STUDIED, PAST, ASSUMED = "study", "past", "assumed"


@dataclass(frozen=True, slots=True)
class Expected:
    """Charge one match takes and where that is from: ``study``, ``past`` (outings), ``assumed``."""

    ah: float
    source: str
    words: str


@dataclass(frozen=True)
class ExpectedCharge:
    """What a match takes of each robot and battery; read once, asked often."""

    studied: Mapping[tuple[int, int | None], float]  # (robot, battery or None for a new one) -> Ah
    past: Mapping[int | None, Sequence[float]]  # robot, or None for all robots -> measured Ah
    peaks: Mapping[tuple[int, int | None], float]  # (robot, battery or None) -> A at the lowest moment

    def of(self, robot_id: int | None, battery_id: int | None = None) -> Expected:
        """The match study of this robot with this battery, else with a new one, else the median of past outings."""
        if robot_id is not None:
            mine = () if battery_id is None else ((battery_id, "this battery"),)
            for pk, whose in (*mine, (None, "a new battery")):
                ah = self.studied.get((robot_id, pk))
                if ah is not None:
                    return Expected(ah, STUDIED, f"{ah:.1f} Ah a match by simulation with {whose}")
        for key, whose in ((robot_id, "this robot"), (None, "any robot")):
            measured = self.past.get(key, ())
            if measured:
                ah = float(median(measured))
                count = len(measured)
                return Expected(
                    ah, PAST, f"{ah:.1f} Ah a match, the median of {count} measured outings of {whose}"
                )
        return Expected(
            ASSUMED_AH, ASSUMED, f"{ASSUMED_AH:g} Ah a match assumed (common practice, no source)"
        )

    def peak_a(self, robot_id: int | None, battery_id: int) -> float | None:
        """Current at the lowest moment of a simulated match, with this battery, else with a new one."""
        if robot_id is None:
            return None
        return self.peaks.get((robot_id, battery_id), self.peaks.get((robot_id, None)))


def expected_charge(scope: Scope) -> ExpectedCharge:
    """What a match takes of the team's robots as they are built now; two queries."""
    studies = scope.rows(MatchStudy).filter(build__state=BuildState.CURRENT).order_by("computed_at", "pk")
    studied: dict[tuple[int, int | None], float] = {}
    peaks: dict[tuple[int, int | None], float] = {}
    for robot_id, battery_id, ah, amps, share in studies.values_list(
        "build__robot_id", "battery_id", "outcome__summary__used_ah", "outcome__contributors__0__amps",
        "outcome__contributors__0__share_frac",
    ):  # fmt: skip
        if ah is not None:
            studied[robot_id, battery_id] = float(ah)
        # The largest load and its share of the current at the lowest moment give the whole current.
        if amps and share:
            peaks[robot_id, battery_id] = float(amps) / float(share)
    measured: dict[int | None, list[float]] = {}
    outings = scope.rows(Outing).filter(match__isnull=False, used_ah__gt=0).order_by("-started_at")
    for robot, used_ah in outings.values_list("robot_id", "used_ah")[:PAST_OUTINGS]:
        for key in {None, robot}:
            measured.setdefault(key, []).append(float(used_ah or 0.0))
    return ExpectedCharge(studied, measured, peaks)
