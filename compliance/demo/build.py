"""The demo world as a whole: made once, in one transaction, and left alone afterwards."""

from __future__ import annotations

from datetime import datetime
from random import Random

from django.db import transaction

from compliance.demo.batteries import make_batteries
from compliance.demo.catalogue import make_catalogue
from compliance.demo.clock import Clock
from compliance.demo.events import make_events, make_practice
from compliance.demo.incidents import make_incidents
from compliance.demo.meet import make_meet
from compliance.demo.packs import make_packs
from compliance.demo.people import GULL, SIGN_INS, TEAMS, make_people
from compliance.demo.robots import make_robots, make_seasons
from compliance.demo.stock import make_stock
from shared.access import Scope
from shared.errors import Conflict
from shared.models import Team, User

SEED = 20


def demo_teams() -> list[Team]:
    """The demo teams that are there, in the order in which they are named."""
    found = Team.objects.filter(is_demo=True).in_bulk([slug for slug, _ in TEAMS], field_name="slug")
    return [found[slug] for slug, _ in TEAMS if slug in found]


def demo_is_there() -> bool:
    """Whether the demo world has been made before."""
    return len(demo_teams()) == len(TEAMS)


def demo_make(now: datetime, seed: int = SEED) -> list[Team]:
    """Make the demo world; refuses when one of its names is taken by real data."""
    slugs, names = [slug for slug, _ in TEAMS], [s.username for s in SIGN_INS]
    taken = [
        *Team.objects.filter(slug__in=slugs).values_list("slug", flat=True),
        *User.objects.filter(username__in=names).values_list("username", flat=True),
    ]
    if taken:
        raise Conflict(
            f"The demo world needs names that are taken here: {', '.join(taken)}",
            remedy="Give the demo a folder of its own: set DATA_DIR to an empty one",
        )
    with transaction.atomic():
        scopes = make_people()
        for nth, scope in enumerate(scopes.values()):
            chance = Random(seed * 100 + nth)  # noqa: S311 - repeatable on purpose, guards nothing
            _make_team(scope, Clock.round(now), chance)
    return [scope.team for scope in scopes.values()]


def _make_team(scope: Scope, clock: Clock, chance: Random) -> None:
    parts = make_catalogue(scope)
    seasons = make_seasons(scope, clock)
    make_packs(scope, seasons)
    robots = make_robots(scope, parts, seasons, clock, chance)
    cart = make_batteries(scope, parts, clock, chance)
    make_incidents(scope, cart, clock)
    make_stock(scope, parts, clock, chance)
    make_events(scope, robots, seasons[-1], cart, clock, chance)
    if scope.team.slug == GULL:
        make_practice(scope, robots[0], cart, clock, chance)
        make_meet(scope, robots[0], seasons[-1], cart, clock, chance)
