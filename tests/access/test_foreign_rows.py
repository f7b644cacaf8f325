"""A row of another team cannot be pointed at: not by the API, not by a form, not by a service."""

from __future__ import annotations

from typing import Any

import pytest
from django.core.exceptions import ValidationError
from django.db import models, transaction
from rest_framework.test import APIClient

from shared.access import system_scope
from shared.models import TeamOwned
from shared.records import record_save
from tests.access.url_map import Route, routes
from tests.world import World, make_world

pytestmark = pytest.mark.django_db


@pytest.fixture(scope="module")
def world(django_db_setup: Any, django_db_blocker: Any) -> Any:
    """One world for the whole file: every test undoes what it does."""
    with django_db_blocker.unblock(), transaction.atomic():
        yield make_world()
        transaction.set_rollback(True)


def _related_fields(model: type[models.Model]) -> list[models.ForeignKey]:  # type: ignore[type-arg]
    return [
        f
        for f in model._meta.concrete_fields
        if isinstance(f, models.ForeignKey)
        and f.name != "team"
        and issubclass(f.related_model, TeamOwned)
        and not f.remote_field.parent_link
    ]


def _writable() -> list[Route]:
    found = []
    for route in routes():
        view = route.view_class
        if (
            route.is_api
            and route.name.endswith("-list")
            and hasattr(view, "queryset")
            and view.queryset is not None
        ):
            actions = getattr(route.callback, "actions", {}) or {}
            if "post" in actions and _related_fields(view.queryset.model):
                found.append(route)
    return found


def test_the_api_has_endpoints_with_related_rows() -> None:
    assert len(_writable()) >= 5


@pytest.mark.parametrize("route", _writable(), ids=lambda r: r.name)
def test_api_refuses_rows_of_another_team(route: Route, world: World) -> None:
    client = APIClient()
    client.force_authenticate(world.cast.mentor)
    model = route.view_class.queryset.model
    before = model._base_manager.count()
    for field in _related_fields(model):
        if field.related_model not in world.away.rows:
            continue
        answer = client.post(
            route.url(world.home), {field.name: world.away.pk(field.related_model)}, format="json"
        )
        assert answer.status_code in (400, 403, 404), (field.name, answer.status_code)
        told = answer.json()
        if field.name in told:
            # The same sentence as for a row that does not exist anywhere: nothing leaks.
            assert "does not exist" in str(told[field.name]), told
    assert model._base_manager.count() == before


def test_services_refuse_rows_of_another_team(world: World) -> None:
    tried = 0
    for model, row in world.home.rows.items():
        if not issubclass(model, TeamOwned):
            continue
        for field in _related_fields(model):
            other = world.away.rows.get(field.related_model)
            if other is None or getattr(row, field.attname) is None:
                continue
            kept = getattr(row, field.name)
            setattr(row, field.name, other)
            with pytest.raises(ValidationError, match="another team"):
                row.clean()
            setattr(row, field.name, kept)
            tried += 1
    assert tried >= 10


def test_a_row_cannot_be_saved_into_another_team(world: World) -> None:
    row = next(r for m, r in world.away.rows.items() if m.__name__ == "Bin")
    with pytest.raises(Exception, match="another team"):
        record_save(scope=system_scope(world.home.team), instance=row)
