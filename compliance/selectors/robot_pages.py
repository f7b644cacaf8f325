"""Robots with what the checks say of them."""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass

from django.db.models import Count

from builds.models import Build, BuildState, Circuit, Robot
from compliance.models import Flag, FlagState, SubjectKind
from compliance.rules.base import SEVERITY_ORDER
from compliance.selectors.flags import with_waivers
from compliance.selectors.margins import CircuitMargin
from shared.access import Scope
from shared.web.charts import MarginBar, MarginBars

#: Bars above the table of a build: the circuits nearest to, or beyond, their limits.
BARS = 10


@dataclass(frozen=True)
class RobotRow:
    """One robot of the list."""

    robot: Robot
    current: Build | None
    circuits: int
    flags: int
    worst: str


def robot_rows(scope: Scope, *, archived: bool = False) -> list[RobotRow]:
    """The team's robots by season, each with its current build and open flags; a fixed number of queries."""
    robots = list(
        scope.rows(Robot)
        .filter(archived=archived)
        .select_related("season")
        .order_by("-season__starts_on", "code")
    )
    builds = scope.rows(Build).filter(state=BuildState.CURRENT, robot__in=robots)
    current = {b.robot_id: b for b in builds.annotate(n=Count("circuits"))}
    severities = _open_severities(scope)
    rows = []
    for robot in robots:
        build = current.get(robot.pk)
        found = severities.get(build.pk, Counter()) if build else Counter()
        worst = min(found, key=SEVERITY_ORDER.__getitem__, default="ok" if build else "")
        rows.append(RobotRow(robot, build, getattr(build, "n", 0), sum(found.values()), worst))
    return rows


def _open_severities(scope: Scope) -> dict[int, Counter[str]]:
    """Build id -> severities of the open flags, not waived, on it and on its circuits."""
    flags = with_waivers(
        scope.rows(Flag).filter(
            state=FlagState.OPEN, subject_kind__in=[SubjectKind.CIRCUIT, SubjectKind.BUILD]
        )
    ).filter(waived=False)
    found = list(flags.values_list("subject_kind", "subject_id", "severity"))
    ids = {pk for kind, pk, _ in found if kind == SubjectKind.CIRCUIT}
    builds = dict(scope.rows(Circuit).filter(pk__in=ids).values_list("pk", "build_id")) if ids else {}
    by_build: dict[int, Counter[str]] = {}
    for kind, pk, severity in found:
        build_id = builds.get(pk) if kind == SubjectKind.CIRCUIT else pk
        if build_id is not None:
            by_build.setdefault(build_id, Counter())[severity] += 1
    return by_build


def margin_picture(build: Build, margins: Sequence[CircuitMargin], urls: Sequence[str]) -> MarginBars:
    """The circuits nearest their limits as bars, in percent of the limit that binds."""
    bars = [
        MarginBar(
            label=f"{m.circuit.code} {m.circuit.name}",
            used=100 * m.worst_frac,
            limit=100.0,
            unit="%",
            severity="" if m.state == "ok" else m.state,
            note=m.worst_rule.title if m.worst_rule and m.worst_frac > 1 else "",
            url=url,
            decimals=0,
        )
        for m, url in zip(margins, urls, strict=True)
        if m.worst_frac is not None
    ]
    bars.sort(key=lambda bar: -(bar.used or 0))
    return MarginBars(title=f"{build}: share of the limit that binds", bars=bars[:BARS])


def fed_path(circuit: Circuit) -> list[Circuit]:
    """The circuits between the battery and this one, nearest the battery first."""
    by_id = {c.pk: c for c in Circuit.objects.filter(build_id=circuit.build_id)}
    path: list[Circuit] = []
    here = by_id.get(circuit.fed_from_id or 0)
    while here is not None and here not in path:
        path.append(here)
        here = by_id.get(here.fed_from_id or 0)
    return path[::-1]
