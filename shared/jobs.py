"""The job envelope: a run is a row, claimed by a conditional update and held by a lease; the broker only nudges.

Losing a message loses nothing: beat looks for due rows and nudges again. Two nudges for one row do no harm: the
second claim changes no row. A worker killed with a row in hand leaves a lease that runs out, and the next one takes
the row; a row that kills every worker that takes it stops after ``MAX_ATTEMPTS``.

A job that takes minutes is patient: it does a slice, answers ``Unfinished``, and its row waits in the queue again, so
that one worker alone still does a person's sweep within seconds.
"""

from __future__ import annotations

import hashlib
import logging
import uuid
from collections.abc import Collection, Iterator
from contextlib import suppress
from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import Any

from celery import current_app
from django.db import IntegrityError, transaction
from django.db.models import Case, F, Q, QuerySet, Value, When
from django.utils import timezone
from django.utils.module_loading import import_string
from kombu.exceptions import KombuError

from shared.models import JobRun, Team, User
from shared.schedule import JOBS

log = logging.getLogger(__name__)

MAX_ATTEMPTS = 5
NUDGE_TASK = "shared.tasks.run_job"
PATIENT_JOBS = frozenset(name for name, job in JOBS.items() if job.patient)


@dataclass(frozen=True)
class Unfinished:
    """What a job answers that did a part and left the rest for its next turn; ``counts`` are those so far."""

    counts: dict[str, Any]


def enqueue(
    name: str,
    *,
    trigger: str,
    team: Team | None = None,
    asked_by: User | None = None,
    arguments: dict[str, Any] | None = None,
    parent: JobRun | None = None,
    delay_s: float | None = None,
) -> JobRun:
    """Queue a run and nudge a worker once the surrounding transaction commits.

    A run of the same name, team and arguments that is still queued is returned instead of a second one: it has not
    read anything yet, so it will see this change too.
    """
    if name not in JOBS:
        raise KeyError(f"No job is called {name!r}; see shared.schedule.JOBS.")
    now = timezone.now()
    edited = delay_s is None and trigger == JobRun.Trigger.EDIT
    wait_s = JOBS[name].debounce_s if edited else (delay_s or 0.0)
    run, made = _get_or_queue(
        dedupe_key=_dedupe_key(name, team, arguments or {}),
        defaults={
            "name": name,
            "team": team,
            "arguments": arguments or {},
            "parent": parent,
            "trigger": trigger,
            "asked_by": asked_by,
            "asked_at": now,
            "not_before": now + timedelta(seconds=wait_s),
        },
    )
    if made:
        transaction.on_commit(lambda: nudge(run.pk, wait_s))
    return run


def _dedupe_key(name: str, team: Team | None, arguments: dict[str, Any]) -> str:
    rest = ",".join(f"{k}={arguments[k]}" for k in sorted(arguments))
    key = f"{name}|{team.pk if team else '*'}|{rest}"
    # A long list of teams is told from another by its digest, not by how it begins.
    return key if len(key) <= 120 else f"{key[:120]}|{hashlib.sha256(key.encode()).hexdigest()}"


def _get_or_queue(*, dedupe_key: str, defaults: dict[str, Any]) -> tuple[JobRun, bool]:
    """The queued run of that key, made if there is none. The partial unique index decides between two makers."""
    for _ in range(3):
        # Locked, so that a worker cannot claim it between this look and our commit and then miss our change.
        queued = (
            JobRun.objects.select_for_update()
            .filter(dedupe_key=dedupe_key, state=JobRun.State.QUEUED)
            .first()
            if transaction.get_connection().in_atomic_block
            else JobRun.objects.filter(dedupe_key=dedupe_key, state=JobRun.State.QUEUED).first()
        )
        if queued is not None:
            return queued, False
        with suppress(IntegrityError), transaction.atomic():
            return JobRun.objects.create(dedupe_key=dedupe_key, **defaults), True
    raise IntegrityError(f"Could not queue {dedupe_key}: another process keeps taking it.")


def nudge(run_id: int, wait_s: float = 0.0) -> None:
    """Tell a worker to look at a row. A broker that is away is no error: beat nudges again."""
    try:
        current_app.send_task(NUDGE_TASK, args=[run_id], countdown=wait_s or None, expires=600)
    except (KombuError, OSError) as exc:
        log.warning("no broker to nudge for run %s (%s); it waits for the next look", run_id, exc)


def due(now: datetime) -> QuerySet[JobRun]:
    """Rows a worker may take: queued and due, or running with a lease that has run out; oldest first, patient last."""
    queued = Q(state=JobRun.State.QUEUED, not_before__lte=now)
    abandoned = Q(state=JobRun.State.RUNNING, lease_until__lt=now)
    patience = Case(When(name__in=PATIENT_JOBS, then=Value(1)), default=Value(0))
    return JobRun.objects.filter(queued | abandoned).order_by(patience, "not_before", "pk")


def due_before(run_id: int, now: datetime) -> list[int]:
    """The rows that are done before that one: every other that is due, if it is a patient one."""
    if not JobRun.objects.filter(pk=run_id, name__in=PATIENT_JOBS).exists():
        return []
    return list(due(now).exclude(name__in=PATIENT_JOBS).values_list("pk", flat=True)[:100])


def claim(run_id: int, now: datetime) -> JobRun | None:
    """Take the row, or None when it is not due, done, or someone else's."""
    run = JobRun.objects.filter(pk=run_id).first()
    if run is None or run.name not in JOBS:
        return None
    taken = (
        due(now)
        .filter(pk=run_id)
        .order_by()
        .update(
            state=JobRun.State.RUNNING,
            attempts=F("attempts") + 1,
            started_at=now,
            lease_until=now + timedelta(seconds=JOBS[run.name].lease_s),
            error="",
        )
    )
    if taken == 0:
        return None
    run.refresh_from_db()
    return run


def perform(run_id: int) -> JobRun | None:
    """Claim a row and do its job; the row tells what came of it. Returns None when there was nothing to take."""
    run = claim(run_id, timezone.now())
    if run is None:
        return None
    if run.attempts > MAX_ATTEMPTS:
        _finish(run, JobRun.State.FAILED, error=f"Given up after {MAX_ATTEMPTS} attempts that did not end.")
        return run
    return _do(run)


def run_now(
    name: str, *, trigger: str, team: Team | None = None, arguments: dict[str, Any] | None = None
) -> JobRun:
    """Do a job in this process at once and whole, leaving a row as any run does."""
    now = timezone.now()
    run = JobRun.objects.create(
        name=name,
        team=team,
        arguments=arguments or {},
        dedupe_key=f"{name}|now|{uuid.uuid4()}",
        state=JobRun.State.RUNNING,
        trigger=trigger,
        asked_at=now,
        not_before=now,
        started_at=now,
        lease_until=now + timedelta(seconds=JOBS[name].lease_s),
        attempts=1,
    )
    _do(run)
    while run.state == JobRun.State.QUEUED and (slice_done := perform(run.pk)):
        run = slice_done
    return run


def _do(run: JobRun) -> JobRun:
    """Do the job of a claimed row and write its end, or queue it again where a part of it is left."""
    try:
        counts = import_string(JOBS[run.name].function)(run)
    except Exception as exc:  # the run's row is where a failure is reported; nothing is swallowed
        log.exception("run %s of %s failed", run.pk, run.name)
        _finish(run, JobRun.State.FAILED, error=f"{type(exc).__name__}: {exc}")
        return run
    if isinstance(counts, Unfinished):
        if _queue_again(run, counts.counts):
            return run
        counts = counts.counts
    _finish(run, JobRun.State.DONE, counts=counts or {})
    return run


def _held(run: JobRun) -> QuerySet[JobRun]:
    """The row, unless the lease ran out meanwhile and another worker holds it now."""
    return JobRun.objects.filter(
        pk=run.pk, state=JobRun.State.RUNNING, attempts=run.attempts, started_at=run.started_at
    )


def _queue_again(run: JobRun, counts: dict[str, Any]) -> bool:
    """Put the row back into the queue; False where an edit queued another run of the same, which does the rest."""
    now = timezone.now()
    again = {"state": JobRun.State.QUEUED, "not_before": now, "counts": counts}
    # What kills a worker again and again gets no slice done, so a slice that ended starts the count anew.
    again |= {"attempts": 0, "lease_until": None}
    try:
        with transaction.atomic():
            _held(run).update(**again)
    except IntegrityError:
        return False
    run.refresh_from_db()
    transaction.on_commit(lambda: nudge(run.pk))
    return True


def _finish(run: JobRun, state: str, *, counts: dict[str, Any] | None = None, error: str = "") -> None:
    """Write the end, unless another worker holds the row now."""
    run.state, run.finished_at, run.error = state, timezone.now(), error[:2000]
    run.counts = counts or run.counts
    run.progress_frac = 1.0 if state == JobRun.State.DONE else run.progress_frac
    _held(run).update(
        state=run.state,
        finished_at=run.finished_at,
        error=run.error,
        counts=run.counts,
        progress_frac=run.progress_frac,
    )


def report_progress(run: JobRun, frac: float) -> None:
    """Show how far a long run is, and hold on to its lease."""
    lease = timezone.now() + timedelta(seconds=JOBS[run.name].lease_s)
    _held(run).update(progress_frac=max(0.0, min(1.0, frac)), lease_until=lease)


def run_due(*, wait_for_debounce: bool = False, leave: Collection[str] = ()) -> Iterator[JobRun]:
    """Do every due run in this process, without a broker, until none is left but the jobs to ``leave``."""
    horizon = timedelta(seconds=max(job.debounce_s for job in JOBS.values()) + 1)
    while True:
        if wait_for_debounce:
            soon = JobRun.objects.filter(
                state=JobRun.State.QUEUED, not_before__lte=timezone.now() + horizon
            ).exclude(name__in=leave)
            soon.update(not_before=timezone.now())
        ids = list(due(timezone.now()).exclude(name__in=leave).values_list("pk", flat=True)[:100])
        if not ids:
            return
        for run_id in ids:
            run = perform(run_id)
            if run is not None:
                yield run


def late_jobs(now: datetime) -> list[str]:
    """Sentences about scheduled jobs that have not finished well for longer than twice their period."""
    answers: list[str] = []
    for name, job in JOBS.items():
        if not job.late_after_s:
            continue
        last = (
            JobRun.objects.filter(name=name, state=JobRun.State.DONE)
            .order_by("-finished_at")
            .values_list("finished_at", flat=True)
            .first()
        )
        # A set-up younger than the period has not missed a run yet.
        since = (
            last or Team.objects.order_by("created_at").values_list("created_at", flat=True).first() or now
        )
        if (now - since).total_seconds() > job.late_after_s:
            when = "never finished" if last is None else f"last finished {last:%Y-%m-%d %H:%M}"
            answers.append(f"{job.title}: {when}.")
    waiting = JobRun.objects.filter(
        state=JobRun.State.QUEUED, not_before__lt=now - timedelta(minutes=10)
    ).count()
    if waiting:
        answers.append(f"{waiting} queued runs have waited longer than 10 minutes: is a worker running?")
    return answers
