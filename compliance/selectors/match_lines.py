"""What simulated matches say of a team's robots, as plain lines for a terminal and as plain data."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

from builds.electrical import judged_builds
from builds.models import MatchStudy
from builds.selectors.match_studies import BuildStudies, StudyRow, studies_of
from shared.access import Scope


def team_studies(scope: Scope) -> list[BuildStudies]:
    """The studies of the team's current builds that have any."""
    studied = scope.rows(MatchStudy).order_by().values("build_id")
    builds = judged_builds([scope.team.pk]).filter(pk__in=studied).select_related("robot")
    return [studies_of(scope, build) for build in builds.order_by("robot__code")]


def match_lines(studies: BuildStudies) -> Iterator[str]:
    """A head, then a line per battery: chance of a brown-out with its interval, lowest board voltage."""
    rows = [row for row in studies.rows if row.study is not None]
    yield f"{studies.build} in simulated matches: chance of a brown-out, lowest voltage at the board"
    width = max((len(row.label) for row in rows), default=0)
    for row in rows:
        yield f"  {row.label:<{width}}  {_chance(row):<24} {_lowest(row)}{_age(row)}"


def _chance(row: StudyRow) -> str:
    said = row.summary
    if said.get("brownout_frac") is None:
        return "no lowest voltage known"
    low, high = said["brownout_low_frac"], said["brownout_high_frac"]
    return f"{said['brownout_frac']:>4.0%}  ({low:.0%} to {high:.0%})"


def _lowest(row: StudyRow) -> str:
    if row.summary.get("collapsed_runs"):
        return "the voltage collapses"
    lowest = row.summary.get("lowest_v")
    return "" if lowest is None else f"{lowest:4.1f} V"


def _age(row: StudyRow) -> str:
    assert row.study is not None
    return f"  in {row.study.runs} matches" if row.fresh else "  before the last edits"


def match_data(studies: BuildStudies) -> dict[str, Any]:
    """The same as plain data."""
    return {
        "build": studies.build.pk,
        "name": str(studies.build),
        "batteries": [
            {
                "battery": row.battery_id,
                "label": row.label,
                "fresh": row.fresh,
                "runs": row.study.runs,
                **row.summary,
            }
            for row in studies.rows
            if row.study is not None
        ],
    }
