"""What the planning of a rotation asks of verdicts and rule packs."""

from __future__ import annotations

from builds.models import Build, BuildState, Event
from builds.rotation.judged import Judged
from compliance.selectors.battery_health import verdicts
from compliance.selectors.packs import PackTable
from compliance.selectors.power_pages import pushing_of
from shared.access import Scope


def judged_for(scope: Scope, event: Event) -> Judged:
    """Which batteries of the team may go out, and how many mechanisms of each robot of the event push at once."""
    builds = scope.rows(Build).filter(robot__matches__event=event, state=BuildState.CURRENT).distinct()
    table = PackTable.load([scope.team.pk])
    pushing = {build.pk: pushing_of(scope, build, table) for build in builds.select_related("robot")}
    return Judged(verdicts=verdicts(scope), pushing=pushing)
