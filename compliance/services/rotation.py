"""Asking for a plan of an event, with the verdicts on its batteries and the rule packs of its robots."""

from __future__ import annotations

from builds.models import Event, RotationPlan
from builds.services import rotation
from compliance.selectors.rotation import judged_for
from shared.access import Scope
from shared.models import JobRun


def plan_ask(
    *,
    scope: Scope,
    event: Event,
    reason: str = RotationPlan.Reason.ASKED,
    why: str = "",
    trigger: str = JobRun.Trigger.PERSON,
) -> RotationPlan:
    """Make a plan: a first answer is written at once, and the search for the best one is queued."""
    judged = judged_for(scope, event)
    return rotation.plan_ask(scope=scope, event=event, judged=judged, reason=reason, why=why, trigger=trigger)
