"""The demo teams' workbooks: out and in again without a change, and into an empty team to the same state."""

from __future__ import annotations

from collections.abc import Iterator

import pytest
from django.db import transaction
from pytest_django import DjangoDbBlocker

from shared.access import Scope
from shared.models import Membership, Role, Team, User
from shared.workbook.tables import SourceFile
from shared.workbook.team import apply_plan, export_workbook, plan_import
from tests.compliance.demo_world import demo_world, found_by_sweeps

#: Short for repairs only. What past events used up stands in the ledger, and a workbook carries what is there
#: now, not the ledger; so an empty team filled from it does not know of these.
KNOWN_FROM_LEDGER = {("stock-short", "BL02"), ("stock-short", "BEACON")}
SLUGS = ("gull-point", "tern-rock", "saltmarsh")


@pytest.fixture(scope="module")
def scopes(django_db_setup: None, django_db_blocker: DjangoDbBlocker) -> Iterator[dict[str, Scope]]:
    with django_db_blocker.unblock(), demo_world() as teams:
        mentor = User.objects.get(username="mentor")
        yield {team.slug: Scope(user=mentor, team=team, role=Role.MENTOR) for team in teams}


def _exported(scope: Scope, form: str = "xlsx") -> SourceFile:
    name = "export.xlsx" if form == "xlsx" else "export.zip"
    return SourceFile(name, export_workbook(scope=scope, form=form))


@pytest.mark.parametrize("slug", SLUGS)
# What is written into a CSV no database changes.
@pytest.mark.parametrize("form", ["xlsx", pytest.param("csv", marks=pytest.mark.once)])
def test_export_imports_without_a_change(slug: str, form: str, scopes: dict[str, Scope]) -> None:
    made = plan_import(scope=scopes[slug], source=_exported(scopes[slug], form))
    assert made.errors == []
    assert made.changes_nothing, [(s.name, s.added, s.changed) for s in made.sheets]
    assert made.unchanged > 500


@pytest.mark.parametrize("slug", SLUGS)
def test_export_fills_an_empty_team_with_the_same_state(slug: str, scopes: dict[str, Scope]) -> None:
    old = scopes[slug]
    file = _exported(old)
    with transaction.atomic():
        new = _empty_twin(old)
        made = plan_import(scope=new, source=file)
        assert made.errors == []
        apply_plan(scope=new, plan=made)
        assert plan_import(scope=new, source=file).changes_nothing
        said = {key for key in _said(old.team) if key[:2] not in KNOWN_FROM_LEDGER}
        assert said
        assert _said(new.team) == said
        transaction.set_rollback(True)


def _empty_twin(old: Scope) -> Scope:
    """A new team with the same people, as the workbook names them."""
    team = Team.objects.create(name="Empty", slug=f"{old.team.slug}-2")
    for membership in Membership.objects.filter(team=old.team):
        Membership.objects.create(team=team, user=membership.user, role=membership.role)
    return Scope(user=old.user, team=team, role=old.role)


def _said(team: Team) -> set[tuple[str, str, str, str]]:
    return {(f.rule_code, f.subject_label, str(f.severity), f.message) for f in found_by_sweeps([team])}
