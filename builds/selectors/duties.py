"""Duty profiles with their phases, their pictures, and the circuits that follow them."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from django.db.models import Count, QuerySet

from builds.models import Circuit, DutyPhase, DutyProfile
from shared.access import Scope
from shared.web.charts import DutyChart, DutyStep

#: Circuits named on a profile's page; a profile of years is followed in many past builds.
CIRCUITS_SHOWN = 100


@dataclass(frozen=True)
class ProfileRow:
    """A profile in the list: how long one round takes and what it draws averaged over it (None without phases)."""

    profile: DutyProfile
    phases: tuple[DutyPhase, ...]
    circuits: int

    @property
    def round_s(self) -> float:
        return sum(phase.lasts_s for phase in self.phases)

    @property
    def mean_frac(self) -> float | None:
        if not self.phases:
            return None
        return sum(phase.lasts_s * phase.draw_frac for phase in self.phases) / self.round_s


def profile_rows(scope: Scope) -> list[ProfileRow]:
    """The team's profiles by code, in two queries."""
    profiles = scope.rows(DutyProfile).annotate(used=Count("circuits")).prefetch_related("phases")
    return [ProfileRow(p, tuple(p.phases.all()), p.used) for p in profiles.order_by("code")]


def followers(scope: Scope, profile: DutyProfile) -> QuerySet[Circuit]:
    """The circuits that follow a profile, those of current builds first."""
    rows = scope.rows(Circuit).filter(profile=profile).select_related("build__robot")
    return rows.order_by("build__state", "build__robot__code", "build", "code")


def duty_picture(title: str, phases: Sequence[DutyPhase]) -> DutyChart:
    """One round as steps; the torque is drawn where any phase has one."""
    turns = any(phase.torque_frac for phase in phases)
    steps = [
        DutyStep(phase.name, phase.lasts_s, phase.draw_frac, phase.torque_frac if turns else None)
        for phase in phases
    ]
    return DutyChart(title, steps)
