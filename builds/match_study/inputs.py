"""Everything that enters a study, read for many builds at once in a fixed number of queries."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

from django.db.models import QuerySet

from builds.electrical import CircuitColumns, load_circuits
from builds.match_study.batteries import Cart, StudyBattery, as_new, cart_of
from builds.match_study.content import content_key
from builds.match_study.duties import profiles
from builds.match_study.robot import StudyRobot, study_robots
from builds.models import Build
from builds.network import assemble
from shared.access import Scope
from shared.columns import NO_ID

#: Counts up whenever the kernel, the conversion or the outcome changes so that older studies no longer hold.
VERSION = "2"
STEP_S = 0.02


@dataclass(frozen=True)
class Case:
    """One build with one battery; ``key`` tells whether a study still holds."""

    battery: StudyBattery
    key: str


@dataclass(frozen=True)
class StudyInputs:
    """One build with the batteries it is studied with; ``cannot`` says why there is nothing to study."""

    build: Build
    robot: StudyRobot | None
    cases: tuple[Case, ...]
    unjudged: tuple[tuple[int, str, str], ...]
    cannot: str = ""


def study_inputs(
    scope: Scope, builds: QuerySet[Build], rows: CircuitColumns | None = None
) -> list[StudyInputs]:
    """What enters the studies of these builds of the team, by id of the build; twelve queries.

    ``rows``: the circuits of just these builds, where they were read before; then four queries.
    """
    mine = scope.rows(builds).order_by("pk")
    rows = load_circuits(mine) if rows is None else rows
    net = assemble(rows)
    told = list(mine.select_related("robot__season", "battery_model"))
    robots = study_robots(
        net,
        profiles(p for p in set(rows.circuits.ids("profile_id").tolist()) if p != NO_ID),
        {build.pk: build.robot.season.match_s for build in told},
    )
    cart = cart_of(scope)
    return [_of(build, robots.get(build.pk), cart) for build in told]


def _of(build: Build, robot: StudyRobot | None, cart: Cart) -> StudyInputs:
    if robot is None:
        return StudyInputs(
            build, None, (), cart.unjudged, "No circuit of it has a wire type, a length and a load."
        )
    new = as_new(build, robot.as_new_ohm)
    batteries = (*([new] if new else ()), *cart.batteries)
    cannot = "" if batteries else "No battery is known: choose a battery model for it or measure one."
    return StudyInputs(build, robot, tuple(_cases(robot, batteries)), cart.unjudged, cannot)


def _cases(robot: StudyRobot, batteries: Iterable[StudyBattery]) -> list[Case]:
    of_robot = content_key(
        VERSION, robot.match_s, STEP_S, robot.kernel, robot.labels, robot.mechanisms, robot.assumptions
    )
    # What a battery is called and when it was measured is told beside a study, and changes nothing in it.
    return [Case(battery, content_key(of_robot, battery.kernel)) for battery in batteries]
