"""The number of queries of a sweep does not grow with robots, circuits, batteries or teams."""

from __future__ import annotations

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext
from django.utils import timezone

from builds.models import Circuit, Robot
from compliance.models import Flag
from inventory.models import Reading
from shared.jobs import run_now
from shared.models import Team
from tests.bench.league import build_league

pytestmark = pytest.mark.django_db


def queries_of(sweep: str) -> list[str]:
    """The statements of one run."""
    with CaptureQueriesContext(connection) as captured:
        run = run_now(f"sweep.{sweep}", trigger="command")
    assert (run.state, run.error) == ("done", "")
    return [query["sql"] for query in captured.captured_queries]


def selects(statements: list[str]) -> int:
    """How many of them read what is judged. Among two batteries there may be none to flag, and no flag to look up."""
    return sum(sql.startswith("SELECT") and 'FROM "compliance_flag"' not in sql for sql in statements)


@pytest.mark.parametrize("sweep", ["batteries", "loads", "stock", "all"])
def test_two_robots_and_fifty_take_the_same_queries(sweep):
    now = timezone.now()
    build_league(robots=2, batteries=2, now=now)
    few = queries_of(sweep), queries_of(sweep)

    Flag.objects.all().delete()
    Robot.objects.all().update(archived=True)
    Team.objects.all().update(archived=True)
    for team in Team.objects.all():
        Team.objects.filter(pk=team.pk).update(slug=f"old-{team.pk}")
    build_league(robots=50, batteries=50, now=now)
    many = queries_of(sweep), queries_of(sweep)
    assert Circuit.objects.filter(team__archived=False).count() == 3000
    assert Reading.objects.filter(team__archived=False).count() == 3000
    assert Flag.objects.count() > (10 if sweep in ("loads", "all") else 0)

    # The first run writes flags; what it reads does not grow. The second has nothing to write.
    assert selects(many[0]) == selects(few[0])
    assert len(many[1]) == len(few[1])
    assert not any(sql.startswith('INSERT INTO "compliance_flag') for sql in many[1])
