"""A robot's builds and events."""

from __future__ import annotations

from django.db.models import Count

from builds.models import Build, Event, Robot
from shared.access import Scope


def builds_of(scope: Scope, robot: Robot) -> list[Build]:
    """The robot's builds, the latest first, each with ``circuit_count``."""
    builds = scope.rows(Build).filter(robot=robot).annotate(circuit_count=Count("circuits"))
    return list(builds.order_by("-dated", "-pk"))


def events_of(scope: Scope, robot: Robot) -> list[Event]:
    """Events the robot goes to, the latest first."""
    return list(scope.rows(Event).filter(robots=robot).order_by("-starts_on"))
