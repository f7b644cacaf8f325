"""What the background jobs do: read which teams, sweep them chunk by chunk, tell the counts.

Each function is named in ``shared.schedule.JOBS``, takes the run's row and returns the counts for it. All may be
run twice or at once (see ``flags_sync``); what a killed worker had finished stays, and the next begins again.
"""

from __future__ import annotations

import logging
from collections import Counter
from collections.abc import Iterator, Sequence

from django.utils import timezone

from compliance.services.flags import flags_sync
from compliance.sweeps.registry import SWEEPS
from shared import jobs
from shared.models import JobRun, Team

log = logging.getLogger(__name__)

#: Teams judged and written in one transaction. Large enough that the work is done on whole columns, small enough
#: that others who want to write to the team wait for a moment only.
TEAMS_PER_CHUNK = 50
CHUNK_JOB = "sweep.chunk"


class SweepFailed(Exception):
    """Some sweeps could not be done; the others were."""


def sweep_batteries(run: JobRun) -> dict[str, int]:
    """Judge batteries: of the run's team, or of all."""
    return _sweep(run, _teams_of(run), ("batteries",))


def sweep_loads(run: JobRun) -> dict[str, int]:
    """Judge circuits: of the run's team, or of all."""
    return _sweep(run, _teams_of(run), ("loads",))


def sweep_stock(run: JobRun) -> dict[str, int]:
    """Judge the stock: of the run's team, or of all."""
    return _sweep(run, _teams_of(run), ("stock",))


def sweep_chunk(run: JobRun) -> dict[str, int]:
    """All sweeps of the teams named in the run's arguments: one share of a larger run."""
    ids = Team.objects.filter(pk__in=run.arguments["team_ids"], archived=False)
    return _sweep(run, list(ids.order_by("pk").values_list("pk", flat=True)), SWEEPS)


def sweep_all(run: JobRun) -> dict[str, int]:
    """All sweeps. More teams than one chunk are shared out, so that more workers are done sooner."""
    teams = _teams_of(run)
    # A command waits for the answer itself, with or without a worker.
    if len(teams) <= TEAMS_PER_CHUNK or run.trigger == JobRun.Trigger.COMMAND:
        return _sweep(run, teams, SWEEPS)
    chunks = list(_chunks(teams))
    for chunk in chunks:
        jobs.enqueue(
            CHUNK_JOB, trigger=JobRun.Trigger.PARENT, parent=run, arguments={"team_ids": list(chunk)}
        )
    return {"teams": len(teams), "chunks": len(chunks)}


def _teams_of(run: JobRun) -> list[int]:
    teams = Team.objects.filter(archived=False)
    if run.team_id is not None:
        teams = teams.filter(pk=run.team_id)
    return list(teams.order_by("pk").values_list("pk", flat=True))


def _sweep(run: JobRun, team_ids: Sequence[int], sweeps: Sequence[str]) -> dict[str, int]:
    """Sweep chunk by chunk, each a transaction of its own, holding on to the run's lease in between.

    What cannot be judged in one chunk keeps no other from being judged; the run fails at its end and says why.
    """
    counts: Counter[str] = Counter()
    failed: list[str] = []
    shares = [(chunk, sweep) for chunk in _chunks(team_ids) for sweep in sweeps]
    for done, (chunk, sweep) in enumerate(shares, start=1):
        try:
            counts.update(flags_sync(sweep=sweep, team_ids=chunk, now=timezone.now(), run=run))
        except Exception as error:
            log.exception("run %s: sweep %s of teams %s failed", run.pk, sweep, list(chunk))
            failed.append(f"{sweep} of teams {chunk[0]} to {chunk[-1]}: {type(error).__name__}: {error}")
        jobs.report_progress(run, done / len(shares))
    if failed:
        raise SweepFailed("; ".join(failed))
    return {"teams": len(team_ids), **counts}


def _chunks(team_ids: Sequence[int]) -> Iterator[Sequence[int]]:
    for start in range(0, len(team_ids), TEAMS_PER_CHUNK):
        yield team_ids[start : start + TEAMS_PER_CHUNK]
