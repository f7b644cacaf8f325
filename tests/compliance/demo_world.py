"""The demo world for a whole test file: made once, swept once, rolled back at the end."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from datetime import datetime

from django.db import transaction
from django.utils import timezone

from builds.models import Build, Circuit
from compliance.demo.build import demo_make
from compliance.models import SubjectKind
from compliance.rules.base import Finding
from compliance.sweeps.registry import SWEEPS, finder_of
from inventory.models import Battery, Part
from shared.models import Team


@contextmanager
def demo_world(now: datetime | None = None) -> Iterator[list[Team]]:
    """Make the world inside a transaction that never commits."""
    with transaction.atomic():
        yield demo_make(now or timezone.now())
        transaction.set_rollback(True)


def found_by_sweeps(teams: list[Team]) -> list[Finding]:
    """What the real sweeps find in these teams."""
    ids, now = [team.pk for team in teams], timezone.now()
    return [finding for sweep in SWEEPS for finding in finder_of(sweep)(ids, now=now)[0]]


def subject_of(finding: Finding) -> str:
    """The subject as ``faults.SEEDED`` names it: battery, part or robot by code, circuit as ROBOT/CODE."""
    if finding.subject_kind == SubjectKind.CIRCUIT:
        circuit = Circuit.objects.select_related("build__robot").get(pk=finding.subject_id)
        return f"{circuit.build.robot.code}/{circuit.code}"
    if finding.subject_kind == SubjectKind.BUILD:
        return Build.objects.select_related("robot").get(pk=finding.subject_id).robot.code
    if finding.subject_kind == SubjectKind.BATTERY:
        return Battery.objects.get(pk=finding.subject_id).code
    assert finding.subject_kind == SubjectKind.PART, finding
    return Part.objects.get(pk=finding.subject_id).code
