"""Match studies as pages, the API and jobs read them."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date
from typing import Any

from django.db.models import Exists, OuterRef, Q, QuerySet
from django.db.models.fields.json import KeyTransform

from builds.electrical import CircuitColumns, judged_builds
from builds.match_study import StudyInputs, study_inputs
from builds.models import Build, Event, MatchStudy
from shared.access import Scope
from shared.models import JobRun


@dataclass(frozen=True)
class StudyRow:
    """A battery with the newest study of it; ``fresh``: made from what is entered today.

    ``battery_id`` None stands for a new battery of the build's model. ``reason`` says why there can be no study.
    """

    battery_id: int | None
    label: str
    words: str
    study: MatchStudy | None
    summary: dict[str, Any]
    fresh: bool
    reason: str = ""


@dataclass(frozen=True)
class BuildStudies:
    """The studies of one build; ``run`` is at work on them or waits to be, ``cannot`` says why there are none."""

    build: Build
    rows: tuple[StudyRow, ...]
    run: JobRun | None
    cannot: str

    @property
    def missing(self) -> int:
        """How many wait to be simulated."""
        return sum(not row.fresh and not row.reason for row in self.rows)


def studies_of(scope: Scope, build: Build, rows: CircuitColumns | None = None) -> BuildStudies:
    """What is known of a build in a match, per battery on the cart, the weakest last; new battery first.

    ``rows``: its circuits, where they were read before.
    """
    (inputs,) = study_inputs(scope, Build.objects.filter(pk=build.pk), rows)
    kept = {study.battery_id: study for study in studies_listed(scope).filter(build=build)}
    told = [
        StudyRow(
            battery_id=case.battery.battery_id,
            label=case.battery.label,
            words=case.battery.words,
            study=(study := kept.get(case.battery.battery_id)),
            summary=study.summary if study else {},  # type: ignore[attr-defined]  # annotated by studies_listed
            fresh=study is not None and study.key == case.key,
        )
        for case in inputs.cases
    ]
    told.sort(key=_strongest_first)
    idle = [
        StudyRow(pk, code, "", None, {}, fresh=False, reason=reason) for pk, code, reason in inputs.unjudged
    ]
    return BuildStudies(build, (*told, *idle), run_waiting(scope, build), inputs.cannot)


def _strongest_first(row: StudyRow) -> tuple[bool, float, float]:
    chance, lowest = row.summary.get("brownout_frac"), row.summary.get("lowest_v")
    return row.battery_id is not None, chance if chance is not None else 1.0, -(lowest or 0.0)


def studies_listed(scope: Scope) -> QuerySet[MatchStudy]:
    """The team's studies with ``summary``, but without the traces, newest of each build and battery first."""
    return (
        scope.rows(MatchStudy)
        .select_related("battery")
        .annotate(summary=KeyTransform("summary", "outcome"))
        .defer("outcome")
        .order_by("build_id", "-computed_at", "pk")
    )


def run_waiting(scope: Scope, build: Build) -> JobRun | None:
    """The run that is at work on this build's studies, or waits to be."""
    asked = Q(name="match.build", arguments__build_id=build.pk) | Q(name="match.team")
    waiting = scope.rows(JobRun).filter(asked, state__in=[JobRun.State.QUEUED, JobRun.State.RUNNING])
    return waiting.order_by("not_before", "pk").first()


def studied_builds(team_ids: Iterable[int], today: date) -> QuerySet[Build]:
    """The builds that edits keep studied: current ones of robots that go to an event which is not over, and those
    that were studied before. Of any other build nobody waits for the answer; a person may ask for it."""
    ahead = Event.objects.filter(robots=OuterRef("robot_id"), ends_on__gte=today)
    before = MatchStudy.objects.filter(build=OuterRef("pk"))
    return judged_builds(team_ids).filter(Exists(ahead) | Exists(before))


def studies_missing(scope: Scope, today: date, runs: int) -> int:
    """How many studies of the team are to be simulated."""
    kept = set(
        scope.rows(MatchStudy).filter(runs__gte=runs).order_by().values_list("build_id", "battery_id", "key")
    )
    wanted: list[StudyInputs] = study_inputs(scope, studied_builds([scope.team.pk], today))
    return sum(
        (inputs.build.pk, case.battery.battery_id, case.key) not in kept
        for inputs in wanted
        for case in inputs.cases
    )
