"""Plans of an event: a first answer at once, the best one from a job, and a new one when one does not hold any more.

Reading and solving happen outside the transaction; a plan is written only if what it was worked out from still holds,
so no entry in the pit waits for a plan. All writers of an event's plans lock the event's row.
"""

from __future__ import annotations

from collections.abc import Callable
from datetime import datetime, timedelta

from django.db import transaction
from django.utils import timezone

from builds.models import Event, RotationPlan, RotationStep
from builds.rotation.anew import Anew, why_anew
from builds.rotation.assemble import Assembled, assemble_problem
from builds.rotation.instant import instant_plan
from builds.rotation.judged import Judged
from builds.rotation.situation import situation
from builds.rotation.steps import steps_of
from builds.rotation.told import Before, tell
from builds.rotation.words import MORE_TIME, short_words
from shared import jobs
from shared.access import Can, Scope
from shared.models import JobRun
from shared.planning.rotation import Plan, solve, why_short

PLAN_JOB = "rotation.plan"
#: How long the search may take: a job is short, and the first answer stands meanwhile.
LIMIT_S = 5.0
#: For each question about what would give every match a battery.
REMEDY_LIMIT_S = 2.0
#: A first answer younger than this nobody has followed yet: changes are told against the plan before it.
UNREAD = timedelta(seconds=60)
#: How often a plan is worked out again because something changed meanwhile; then once more behind the lock.
TRIES = 3

Reason, State = RotationPlan.Reason, RotationPlan.State

WHY = {
    Reason.FIRST: "",
    Reason.TIMES: "Match times changed.",
    Reason.MATCHES: "Matches were added or called off.",
    Reason.BATTERIES: "A battery joined or left the cart.",
    Reason.SWAP: "A swap went differently than planned.",
    Reason.ASKED: "",
}


def plan_ask(
    *,
    scope: Scope,
    event: Event,
    judged: Judged,
    reason: str = Reason.ASKED,
    why: str = "",
    now: datetime | None = None,
    trigger: str = JobRun.Trigger.PERSON,
) -> RotationPlan:
    """Make a plan: the first answer is written at once, the search for the best one is queued.

    ``why`` says what set it off, in a sentence; ``now`` stands for the time of day in tests.
    """
    scope.require(Can.WORK)
    mine = scope.get(Event, pk=event.pk)
    volts = None
    for _ in range(TRIES):
        moment = now or timezone.now()
        found = assemble_problem(situation(scope, mine, judged, moment, volts))
        volts = found.situation.volts
        before = _before(scope, mine, moment)
        answer = instant_plan(found.problem, found.batteries(before.batteries) if before.known else None)
        with transaction.atomic():
            hold_plans(scope, mine)
            same = situation(scope, mine, judged, moment, volts).key == found.situation.key
            if same and _before(scope, mine, moment) == before:
                return _write_first(scope, found, answer, before, reason, why, trigger)
    with transaction.atomic():
        hold_plans(scope, mine)
        moment = now or timezone.now()
        found = assemble_problem(situation(scope, mine, judged, moment, volts))
        before = _before(scope, mine, moment)
        answer = instant_plan(found.problem, found.batteries(before.batteries) if before.known else None)
        return _write_first(scope, found, answer, before, reason, why, trigger)


def plan_look(*, scope: Scope, judged_of: Callable[[Event], Judged], now: datetime) -> dict[str, int]:
    """Make a new plan for every event of the team whose plan does not hold any more; the others are left alone."""
    scope.require(Can.WORK)
    counts = {"plans": 0, "anew": 0}
    live = scope.rows(RotationPlan).filter(current=True, event__ends_on__gte=timezone.localdate(now))
    for plan in live.select_related("event").order_by("pk"):
        counts["plans"] += 1
        judged = judged_of(plan.event)
        anew = plan_anew(scope, plan, judged, now)
        if anew is not None:
            plan_ask(
                scope=scope, event=plan.event, judged=judged, reason=anew.reason, why=anew.sentence,
                trigger=JobRun.Trigger.EDIT,
            )  # fmt: skip
            counts["anew"] += 1
    return counts


def plan_anew(scope: Scope, plan: RotationPlan, judged: Judged, now: datetime) -> Anew | None:
    """Why a plan does not hold any more; None while it does."""
    steps = scope.rows(RotationStep).filter(plan=plan).select_related("plan", "battery", "match")
    found = situation(scope, plan.event, judged, now)
    return why_anew(plan, list(steps.order_by("match__starts_at", "match_id")), found)


def plan_work_out(*, scope: Scope, event: Event, judged: Judged) -> dict[str, int]:
    """Search for the best plan of what the current one was asked for, and write it if that still holds.

    Done twice, or without a plan that waits, it changes nothing. What changed meanwhile asks for a new plan.
    """
    scope.require(Can.WORK)
    plan = _current(scope, event)
    if plan is None or not (plan.state == State.WORKING or _lacks_remedies(plan)):
        return {"nothing": 1}
    now = timezone.now()
    found = assemble_problem(situation(scope, event, judged, now))
    before = _before(scope, event, now, than=plan)
    if found.situation.key != plan.content_key:
        return _again(scope, event, judged, plan)
    if plan.state == State.SHORT:
        return _tell_remedies(scope, event, plan, found)
    answer = solve(found.problem, before.earlier(found), LIMIT_S)
    with transaction.atomic():
        hold_plans(scope, event)
        still = _current(scope, event)
        if still is None or still.pk != plan.pk or still.state != State.WORKING:
            return {"overtaken": 1}
        same = situation(scope, event, judged, now, found.situation.volts).key == plan.content_key
        if same:
            _write_best(still, found, answer, before)
    if not same:
        return _again(scope, event, judged, plan)
    counts = {"matches": len(found.situation.ahead), "proven": int(answer.proven)}
    return counts | (_tell_remedies(scope, event, still, found) if _lacks_remedies(still) else {})


def plan_failed(*, scope: Scope, event: Event, sentence: str) -> None:
    """The search failed: the first answer stands, and the plan says so."""
    scope.require(Can.WORK)
    with transaction.atomic():
        hold_plans(scope, event)
        plan = _current(scope, event)
        if plan is not None and plan.state == State.WORKING:
            plan.state = State.FAILED
            plan.told = {**plan.told, "quality": f"The best plan could not be worked out: {sentence}"}
            plan.save(update_fields=["state", "told"])


def _again(scope: Scope, event: Event, judged: Judged, plan: RotationPlan) -> dict[str, int]:
    """What the plan was asked for does not hold any more: ask for a new one, which nobody has read a reason of yet."""
    anew = plan_anew(scope, plan, judged, timezone.now())
    if anew is None or anew.reason == Reason.ASKED:
        # Better figures came in meanwhile: what set the plan off stays what set it off.
        anew = Anew(Reason(plan.reason), str(plan.told.get("why", "")))
    plan_ask(
        scope=scope, event=event, judged=judged, reason=anew.reason, why=anew.sentence,
        trigger=JobRun.Trigger.EDIT,
    )  # fmt: skip
    return {"asked_again": 1}


def hold_plans(scope: Scope, event: Event) -> None:
    """Lock the plans of an event. Who plans in the transaction of an entry does this before anything else is locked:

    the writer of a plan holds the event first and asks for the rest later. Rows that only name the event, as a match
    does, are not kept waiting.
    """
    scope.rows(Event).select_for_update(no_key=True).get(pk=event.pk)


def _current(scope: Scope, event: Event) -> RotationPlan | None:
    return scope.rows(RotationPlan).filter(event=event, current=True).select_related("event").first()


def _before(scope: Scope, event: Event, now: datetime, than: RotationPlan | None = None) -> Before:
    """The plan the pit has followed so far: the newest that is not a first answer nobody has read yet."""
    plans = scope.rows(RotationPlan).filter(event=event).order_by("-asked_at", "-pk")
    if than is not None:
        plans = plans.filter(asked_at__lte=than.asked_at, pk__lt=than.pk)
    newest = list(plans.only("pk", "instant", "asked_at")[:20])
    chosen = next(
        (p for p in newest if not p.instant or now - p.asked_at > UNREAD), newest[0] if newest else None
    )
    if chosen is None:
        return Before()
    steps = scope.rows(RotationStep).filter(plan=chosen, fixed=False).order_by("pk")
    return Before(dict(steps.values_list("match_id", "battery_id")), known=True)


def _write_first(
    scope: Scope,
    found: Assembled,
    answer: Plan,
    before: Before,
    reason: str,
    why: str,
    trigger: str,
) -> RotationPlan:
    """The first answer as the current plan, with the job that searches for the best one; behind the lock."""
    event = found.situation.event
    if not before.known and reason == Reason.ASKED:
        reason = Reason.FIRST
    # Of two asked for at once the one that is written later is the later one.
    newest = scope.rows(RotationPlan).filter(event=event).order_by("-asked_at", "-pk").first()
    _supersede(scope, event)
    plan = RotationPlan(
        team=scope.team,
        event=event,
        asked_at=max(found.situation.now, newest.asked_at) if newest else found.situation.now,
        by=scope.user,
        reason=reason,
        current=True,
        instant=True,
        content_key=found.situation.key,
    )
    tell(plan, found, answer, before, why or WHY[Reason(reason)], instant=True)
    nothing = not found.situation.ahead
    plan.state, plan.instant = (State.READY, False) if nothing else (State.WORKING, True)
    plan.proven = nothing
    plan.full_clean()
    plan.save()
    RotationStep.objects.bulk_create(steps_of(plan, found, answer, before.batteries))
    if not nothing:
        plan.run = jobs.enqueue(
            PLAN_JOB, team=scope.team, trigger=trigger, asked_by=scope.user, arguments={"event_id": event.pk}
        )
        plan.save(update_fields=["run"])
    return plan


def _supersede(scope: Scope, event: Event) -> None:
    """No plan is current any more; one whose search was still on is left with its first answer."""
    before = scope.rows(RotationPlan).filter(event=event, current=True)
    for plan in before.filter(state=State.WORKING):
        bare = plan.steps.filter(battery=None, fixed=False).exists()
        before.filter(pk=plan.pk).update(state=State.SHORT if bare else State.READY)
    before.update(current=False)


def _lacks_remedies(plan: RotationPlan) -> bool:
    return bool(plan.state == State.SHORT and not plan.told.get("short"))


def _tell_remedies(scope: Scope, event: Event, plan: RotationPlan, found: Assembled) -> dict[str, int]:
    """Which match fails first and what would fix it: searched for once the plan itself stands."""
    said = short_words(found, why_short(found.problem, REMEDY_LIMIT_S)) or (MORE_TIME,)
    with transaction.atomic():
        hold_plans(scope, event)
        still = scope.rows(RotationPlan).filter(pk=plan.pk, state=State.SHORT).first()
        if still is None:
            return {"overtaken": 1}
        still.told = {**still.told, "short": list(said)}
        still.save(update_fields=["told"])
    return {"short": 1}


def _write_best(plan: RotationPlan, found: Assembled, answer: Plan, before: Before) -> None:
    """The best plan in the place of its first answer; behind the lock."""
    tell(plan, found, answer, before, str(plan.told.get("why", "")), instant=False)
    plan.state = State.SHORT if answer.uncovered.size else State.READY
    plan.instant = False
    plan.save()
    plan.steps.all().delete()
    RotationStep.objects.bulk_create(steps_of(plan, found, answer, before.batteries))
