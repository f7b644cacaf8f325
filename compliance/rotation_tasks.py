"""The jobs about rotation: search for the best plan, look after an edit, and look every few minutes during events.

Each function is named in ``shared.schedule.JOBS``, takes the run's row and returns the counts for it. All may be run
twice or at once: a plan is written only where it is still asked for and still holds.
"""

from __future__ import annotations

from django.utils import timezone

from builds.models import Event, RotationPlan
from builds.services.rotation import plan_failed, plan_look, plan_work_out
from compliance.selectors.rotation import judged_for
from shared import jobs
from shared.access import system_scope
from shared.models import JobRun, Team

LOOK_JOB = "rotation.look"


def rotation_plan(run: JobRun) -> dict[str, int]:
    """Search for the best plan of the event named in the run's arguments."""
    assert run.team is not None
    scope = system_scope(run.team)
    event = scope.rows(Event).filter(pk=run.arguments["event_id"]).first()
    if event is None:
        return {"nothing": 1}
    jobs.report_progress(run, 0.1)
    try:
        return plan_work_out(scope=scope, event=event, judged=judged_for(scope, event))
    except Exception as error:
        plan_failed(scope=scope, event=event, sentence=f"{type(error).__name__}: {error}")
        raise


def rotation_look(run: JobRun) -> dict[str, int]:
    """After an edit: a new plan for every event of the team whose plan does not hold any more."""
    assert run.team is not None
    scope = system_scope(run.team)
    return plan_look(scope=scope, judged_of=lambda event: judged_for(scope, event), now=timezone.now())


def rotation_all(run: JobRun) -> dict[str, int]:
    """Queue a look for every team with a plan of an event that is on: time passes without anybody's edit."""
    today = timezone.localdate()
    on = RotationPlan.objects.filter(
        current=True, event__starts_on__lte=today, event__ends_on__gte=today, team__archived=False
    )
    teams = list(Team.objects.filter(pk__in=on.values("team_id")).order_by("pk"))
    for team in teams:
        jobs.enqueue(LOOK_JOB, team=team, trigger=JobRun.Trigger.PARENT, parent=run)
    return {"teams": len(teams)}
