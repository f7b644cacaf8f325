"""What a flag is about: whether it is still judged, and by whose rules."""

from __future__ import annotations

from collections.abc import Collection
from dataclasses import dataclass

from django.db.models import Model, Q, QuerySet

from builds.models import Build, BuildState, Circuit
from compliance.models import SubjectKind
from compliance.selectors.battery_columns import JUDGED_STATES
from inventory.models import Battery, Part


@dataclass(frozen=True)
class Judging:
    """Which rows of a kind the sweeps judge, and the path to the season whose rule pack holds for them."""

    model: type[Model]
    judged: Q
    season_path: str = ""
    why_not: str = ""


JUDGING: dict[str, Judging] = {
    SubjectKind.CIRCUIT: Judging(
        Circuit,
        Q(build__state=BuildState.CURRENT, build__robot__archived=False),
        "build__robot__season_id",
        "its build is not the current one",
    ),
    SubjectKind.BUILD: Judging(
        Build,
        Q(state=BuildState.CURRENT, robot__archived=False),
        "robot__season_id",
        "it is not the current build",
    ),
    SubjectKind.BATTERY: Judging(
        Battery, Q(archived=False, state__in=JUDGED_STATES), why_not="it is out of use or archived"
    ),
    SubjectKind.PART: Judging(Part, Q(archived=False), why_not="it is archived"),
}


def seasons_judged(kind: str, ids: Collection[int]) -> dict[int, int | None]:
    """Of these subjects those that are still judged, with the season of their rule pack; one query."""
    judging = JUDGING[kind]
    rows: QuerySet[Model] = judging.model._default_manager.filter(judging.judged, pk__in=ids)
    if not judging.season_path:
        return dict.fromkeys(rows.values_list("pk", flat=True))
    return dict(rows.values_list("pk", judging.season_path))


def ids_there(kind: str, ids: Collection[int]) -> set[int]:
    """Of these subjects those that exist at all."""
    return set(JUDGING[kind].model._default_manager.filter(pk__in=ids).values_list("pk", flat=True))
