"""Every page and API endpoint of a team, tried as stranger, as a member of another team and as auditor.

The list of URLs comes from the resolver: a new URL is tried without anybody remembering to add it here, and one
whose arguments cannot be filled fails.
"""

from __future__ import annotations

from typing import Any

import pytest
from django.db import transaction
from django.test import Client

from shared.models import User
from tests.access.url_map import Route, routes
from tests.world import World, make_world

ROUTES = routes()
WRITES = ("post", "put", "patch", "delete")
#: Who may do what is decided by role and address, the same on any database. On PostgreSQL every page and endpoint is
#: opened once more, which runs what it asks of the database, and test_foreign_rows.py tries refusals.
once = pytest.mark.once


@pytest.fixture(scope="module")
def world(django_db_setup: Any, django_db_blocker: Any) -> Any:
    """One world for the whole file: nothing here is allowed to change it."""
    with django_db_blocker.unblock(), transaction.atomic():
        yield make_world()
        transaction.set_rollback(True)


def signed_in(user: User) -> Client:
    client = Client(raise_request_exception=False)
    client.force_login(user, backend="django.contrib.auth.backends.ModelBackend")
    return client


def ask(client: Client, method: str, url: str) -> int:
    """The status of the answer; the API is asked with JSON."""
    json = (
        {"content_type": "application/json"} if "/api/" in url and method in ("post", "put", "patch") else {}
    )
    return int(getattr(client, method)(url, **json).status_code)


def test_there_are_urls() -> None:
    assert len([r for r in ROUTES if not r.is_api]) > 30
    assert len([r for r in ROUTES if r.is_api]) > 30


@pytest.mark.django_db
@pytest.mark.parametrize("route", ROUTES, ids=lambda r: r.name)
class TestEveryUrl:
    @once
    def test_nobody_signed_in_gets_nothing(self, route: Route, world: World) -> None:
        status = ask(Client(), "get", route.url(world.home))
        assert status in ((401, 403) if route.is_api else (302, 405))

    @once
    def test_strangers_and_other_teams_find_nothing(self, route: Route, world: World) -> None:
        url = route.url(world.home)
        for user in (world.cast.stranger, world.cast.outsider):
            client = signed_in(user)
            for method in ("get", "post"):
                assert ask(client, method, url) in (404, 405), f"{user} {method} {url}"
            assert 404 in {ask(client, method, url) for method in ("get", "post")}

    @once
    def test_a_row_of_another_team_is_not_found(self, route: Route, world: World) -> None:
        if not route.has_row:
            return
        url = route.url(world.home, rows=world.away)
        client = signed_in(world.cast.mentor)
        answers = {method: ask(client, method, url) for method in ("get", "post", "patch", "delete")}
        assert set(answers.values()) <= {404, 405}, answers
        assert 404 in answers.values(), answers

    @once
    def test_an_auditor_reads_and_never_writes(self, route: Route, world: World) -> None:
        client = signed_in(world.cast.auditor)
        url = route.url(world.home)
        status = ask(client, "get", route.asked_url(world.home))
        assert status in (200, 302, 403, 405), status
        for method in WRITES:
            assert ask(client, method, url) in (403, 405), f"{method} {url}"

    def test_a_mentor_can_open_it(self, route: Route, world: World) -> None:
        assert ask(signed_in(world.cast.mentor), "get", route.asked_url(world.home)) in (200, 302, 405)

    @once
    def test_an_empty_post_is_an_answer_not_a_crash(self, route: Route, world: World) -> None:
        with transaction.atomic():
            status = ask(signed_in(world.cast.mentor), "post", route.url(world.home))
            transaction.set_rollback(True)
        assert status < 500, status
