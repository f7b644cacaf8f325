"""Match studies: asked for by people, set off by edits, simulated only where no study of the same content is kept."""

from __future__ import annotations

import math
import time
from collections.abc import Callable, Sequence
from dataclasses import dataclass

from django.db import transaction
from django.db.models import Q, QuerySet
from django.utils import timezone

from builds.match_study import RUNS, Case, StudyInputs, run_studies, study_inputs
from builds.models import Build, MatchStudy
from shared import jobs
from shared.access import Can, Scope
from shared.errors import DomainError
from shared.models import JobRun

BUILD_JOB = "match.build"
FEWEST_RUNS, MOST_RUNS = 20, 2000
#: Batteries and matches simulated together and written in one transaction: a few seconds' work, and what a killed
#: worker loses at most.
BATTERIES_AT_ONCE = 12
RUNS_AT_ONCE = 600

Progress = Callable[[float], None]


@dataclass
class Tally:
    """What came of it, for the run's row."""

    builds: int = 0
    studies: int = 0
    simulated: int = 0
    dropped: int = (
        0  # done by another worker, or the content changed: then that edit has queued a run of its own
    )
    left: int = 0  # for the next slice

    def held_frac(self, under_way: float = 0.0) -> float:
        """The share of all studies that is there, with what is under way."""
        return 1.0 - (self.left - under_way) / self.studies

    def counts(self) -> dict[str, int]:
        return {name: value for name, value in vars(self).items() if value or name not in ("dropped", "left")}


def match_studies_ask(*, scope: Scope, build: Build, runs: int | None = None) -> JobRun:
    """Queue the studies of one build, whatever its state; a run that is queued already is used."""
    scope.require(Can.WORK)
    wanted = RUNS if runs is None else runs
    if not FEWEST_RUNS <= wanted <= MOST_RUNS:
        raise DomainError(
            f"{wanted} simulated matches are not possible",
            field="runs",
            value=wanted,
            remedy=f"Choose from {FEWEST_RUNS} to {MOST_RUNS}",
        )
    mine = scope.get(Build, pk=build.pk)
    return jobs.enqueue(
        BUILD_JOB,
        team=scope.team,
        trigger=JobRun.Trigger.PERSON,
        asked_by=scope.user,
        arguments={"build_id": mine.pk, "runs": wanted},
    )


def match_studies_update(
    *,
    scope: Scope,
    builds: QuerySet[Build],
    runs: int = RUNS,
    progress: Progress | None = None,
    slice_s: float = math.inf,
) -> dict[str, int]:
    """Bring the studies of these builds up to date: what is missing is simulated, what holds is left alone.

    After ``slice_s`` no more is begun once a study was kept, and ``left`` counts what is still missing. A build
    whose simulation fails holds no other up: its problem is raised at the end.
    """
    scope.require(Can.WORK)
    tally = Tally()
    problems: list[tuple[Build, Exception]] = []
    todo: list[tuple[StudyInputs, Sequence[Case]]] = []
    for inputs in study_inputs(scope, builds):
        tally.builds += 1
        tally.studies += len(inputs.cases)
        todo += [(inputs, share) for share in _shares(_missing(inputs.build, inputs.cases, runs), runs)]
    tally.left = sum(len(cases) for _, cases in todo)
    end_s = time.monotonic() + slice_s
    for inputs, cases in todo:
        # Another worker may have done it since.
        if left := _missing(inputs.build, cases, runs):
            try:
                _study(scope, inputs, left, runs, tally, _part(progress, tally, len(cases)))
            except (ValueError, ArithmeticError, LookupError) as problem:
                problems.append((inputs.build, problem))
        tally.left -= len(cases)
        if progress is not None:
            progress(tally.held_frac())
        if tally.simulated and time.monotonic() >= end_s:
            break
    # While others are left the next slice does them; it meets the problem again.
    if problems and not tally.left:
        failed, why = problems[0]
        raise ValueError(f"{failed}: {why}") from why
    return tally.counts()


def _missing(build: Build, cases: Sequence[Case], runs: int) -> list[Case]:
    """The cases of which no study with as many runs is kept."""
    kept = MatchStudy.objects.filter(build=build, runs__gte=runs)
    known = set(kept.values_list("battery_id", "key"))
    return [case for case in cases if (case.battery.battery_id, case.key) not in known]


def _shares(cases: Sequence[Case], runs: int) -> list[Sequence[Case]]:
    size = max(1, min(BATTERIES_AT_ONCE, RUNS_AT_ONCE // runs))
    return [cases[at : at + size] for at in range(0, len(cases), size)]


def _part(progress: Progress | None, tally: Tally, cases: int) -> Progress | None:
    """Progress within so many studies, as progress of the whole."""
    if progress is None:
        return None
    return lambda frac: progress(tally.held_frac(frac * cases))


def _study(
    scope: Scope,
    inputs: StudyInputs,
    cases: Sequence[Case],
    runs: int,
    tally: Tally,
    progress: Progress | None,
) -> None:
    assert inputs.robot is not None
    outcomes = run_studies(inputs.robot, [case.battery for case in cases], runs, progress)
    now = timezone.now()
    studies = [
        MatchStudy(
            team=scope.team,
            build=inputs.build,
            battery_id=case.battery.battery_id,
            key=case.key,
            runs=runs,
            duration_s=inputs.robot.match_s,
            seed=inputs.robot.seed,
            outcome=outcome,
            computed_at=now,
        )
        for case, outcome in zip(cases, outcomes, strict=True)
    ]
    kept = _keep(scope, inputs.build, studies, runs)
    tally.simulated += kept
    tally.dropped += len(studies) - kept


def _keep(scope: Scope, build: Build, studies: Sequence[MatchStudy], runs: int) -> int:
    """Write those studies that still hold in place of what was kept of the same batteries; returns how many."""
    with transaction.atomic():
        # Circuits are saved under this lock too, so no edit of them comes between the look and the writing.
        if not Build.objects.select_for_update().filter(pk=build.pk, team=scope.team):
            return 0
        (now,) = study_inputs(scope, Build.objects.filter(pk=build.pk))
        wanted = {(case.battery.battery_id, case.key) for case in _missing(build, now.cases, runs)}
        kept = [study for study in studies if (study.battery_id, study.key) in wanted]
        if kept:
            _older(build, kept).delete()
            MatchStudy.objects.bulk_create(kept)
    return len(kept)


def _older(build: Build, studies: Sequence[MatchStudy]) -> QuerySet[MatchStudy]:
    """What is kept of the same batteries of that build."""
    of_same = Q(battery_id__in=[study.battery_id for study in studies if study.battery_id is not None])
    if any(study.battery_id is None for study in studies):
        of_same |= Q(battery__isnull=True)
    return MatchStudy.objects.filter(of_same, build=build)
