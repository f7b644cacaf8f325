"""The demo world: as large as it says, healthy but for what is seeded, and the same each time."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from datetime import timedelta

import pytest
from django.db import transaction
from django.db.models import Count
from django.utils import timezone
from pytest_django import DjangoDbBlocker

from builds.models import Build, BuildState, Circuit, Event, Outing, Season
from compliance.demo.build import demo_is_there, demo_make
from compliance.demo.faults import SEEDED, Seeded
from compliance.rules.base import Finding
from inventory.models import Battery, CapacityTest, Movement, Part, Reading, Spool, Supplier
from inventory.selectors.stock import ledger_differences
from shared.access import system_scope
from shared.errors import Conflict
from shared.models import Membership, Team, TeamOwned, User
from tests.compliance.demo_world import demo_world, found_by_sweeps, subject_of

# The database is set up for marked tests; these share the world that the first of them makes.
pytestmark = pytest.mark.django_db

Said = tuple[str, str, str, str]
#: One moment for the whole file: the meet that is on counts from it.
NOW = timezone.now()


@pytest.fixture(scope="module")
def teams(django_db_setup: None, django_db_blocker: DjangoDbBlocker) -> Iterator[list[Team]]:
    with django_db_blocker.unblock(), demo_world(NOW) as made:
        yield made


@pytest.fixture(scope="module")
def findings(teams: list[Team]) -> list[Finding]:
    return found_by_sweeps(teams)


@pytest.fixture(scope="module")
def said(teams: list[Team], findings: list[Finding]) -> dict[Said, Finding]:
    slugs = {team.pk: team.slug for team in teams}
    return {(slugs[f.team_id], f.rule_code, subject_of(f), str(f.severity)): f for f in findings}


def _key(seeded: Seeded) -> Said:
    return (seeded.team, seeded.rule_code, seeded.subject, seeded.severity)


@pytest.mark.parametrize("seeded", SEEDED, ids=lambda s: f"{s.rule_code}-{s.subject}")
def test_seeded_fault_is_found(seeded: Seeded, said: dict[Said, Finding]) -> None:
    assert _key(seeded) in said, f"{seeded.why}: not found"
    finding = said[_key(seeded)]
    assert finding.message
    assert finding.working["steps"]
    assert finding.working["source"]


def test_nothing_else_is_found(said: dict[Said, Finding], findings: list[Finding]) -> None:
    assert set(said) == {_key(s) for s in SEEDED}
    assert len(findings) == len(SEEDED), "two findings of one rule on one subject"


def test_every_sweep_and_severity_has_a_seeded_fault() -> None:
    assert {s.severity for s in SEEDED} == {"stop", "fix", "watch", "unknown"}
    assert len({_key(s) for s in SEEDED}) == len(SEEDED)


def test_world_is_as_large_as_asked_for(teams: list[Team]) -> None:
    assert len(teams) == 3
    assert all(team.is_demo for team in teams)
    assert {Season.objects.filter(team=team).count() for team in teams} == {3}
    current = Build.objects.filter(state=BuildState.CURRENT).annotate(n=Count("circuits"))
    sizes = [build.n for build in current]
    assert len(sizes) >= 5
    assert all(20 <= n <= 35 for n in sizes)
    gull = teams[0]
    assert Battery.objects.filter(team=gull).count() == 10
    assert 55 <= Part.objects.filter(team=gull).count() <= 80
    assert Spool.objects.filter(team=gull).count() == 25
    assert Supplier.objects.filter(team=gull).count() >= 2
    assert Membership.objects.filter(user__username="mentor").count() == 3


def test_readings_reach_over_two_seasons_with_two_instruments(teams: list[Team]) -> None:
    old = Battery.objects.get(team=teams[0], code="GP-01")
    readings = Reading.objects.filter(battery=old)
    first, last = readings.earliest("taken_at").taken_at, readings.latest("taken_at").taken_at
    assert (last - first).days > 365
    assert readings.values("instrument").distinct().count() == 2


def test_events_lie_before_and_twelve_days_after_today(teams: list[Team]) -> None:
    today = timezone.localdate()
    for team in teams:
        past, *_, coming = Event.objects.filter(team=team).order_by("starts_on")
        assert past.ends_on < today
        assert past.matches.exists()
        assert coming.starts_on == today + timedelta(days=12)
        assert coming.goods_by is not None
        assert today < coming.goods_by < coming.starts_on


def test_every_row_is_valid(teams: list[Team]) -> None:
    """What was left to the database while the world was made holds when asked row by row."""
    for circuit in Circuit.objects.filter(team=teams[0])[:30]:
        circuit.full_clean()
    for reading in Reading.objects.filter(team=teams[0])[:30]:
        reading.full_clean()


def test_ledger_is_whole(teams: list[Team]) -> None:
    for team in teams:
        assert ledger_differences(system_scope(team)) == []
        assert Movement.objects.filter(team=team, kind="use").exists()


def test_same_day_makes_the_same_world(teams: list[Team]) -> None:
    before = _content()
    with transaction.atomic():
        _rename(teams)
        again = _content(demo_make(NOW))
        transaction.set_rollback(True)
    assert again == before


def _rename(teams: list[Team]) -> None:
    """Make room for a second world beside the first."""
    for team in teams:
        Team.objects.filter(pk=team.pk).update(slug=f"old-{team.slug}")
    for user in User.objects.filter(memberships__team__in=teams).distinct():
        User.objects.filter(pk=user.pk).update(username=f"old-{user.username}")


def _content(teams: Sequence[Team] = ()) -> dict[str, list[object]]:
    """What a person sees of the world, without keys and times of writing."""
    chosen = {"team__in": teams} if teams else {}
    columns: dict[type[TeamOwned], tuple[str, ...]] = {
        Circuit: ("build__robot__code", "build__label", "code", "length_m", "continuous_a"),
        Reading: ("battery__code", "taken_at", "instrument", "resistance_mohm", "rest_v"),
        CapacityTest: ("battery__code", "tested_at", "capacity_ah"),
        Movement: ("part__code", "bin__code", "kind", "quantity", "at"),
        Outing: ("battery__code", "started_at", "lowest_v"),
    }
    return {
        model.__name__: list(model._default_manager.filter(**chosen).order_by(*names).values_list(*names))
        for model, names in columns.items()
    }


def test_names_in_use_are_refused(teams: list[Team]) -> None:
    assert demo_is_there()
    with pytest.raises(Conflict, match="gull-point"):
        demo_make(NOW)
