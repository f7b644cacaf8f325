"""An entry sent twice under one Idempotency-Key is written once, whatever happens in between.

The header, and 422 for a key used for another entry, are those of the IETF draft "The Idempotency-Key HTTP Header
Field" (draft-ietf-httpapi-idempotency-key-header).
"""

from __future__ import annotations

import threading
from collections.abc import Callable, Iterator
from contextlib import contextmanager, suppress
from datetime import timedelta
from typing import Any, cast
from unittest import mock

import pytest
from django.core.files.uploadedfile import SimpleUploadedFile
from django.db import OperationalError, connection, connections, transaction
from django.http import QueryDict
from django.test import Client
from django.urls import reverse
from django.utils import timezone
from drf_spectacular.generators import SchemaGenerator
from rest_framework.test import APIClient

from inventory.api.catalogue import BinViewSet
from inventory.models import Bin
from shared import jobs
from shared.models import Receipt, User
from shared.receipts import body_digest
from shared.records import record_save
from tests.inventory.test_ledger_threads import together
from tests.world import World, make_world

KEY = "0123456789abcdef0123456789abcdef"
BIN = {"code": "CART-1", "name": "Battery cart"}


@pytest.fixture
def world(db: None) -> World:
    return make_world()


def api(user: User) -> APIClient:
    client = APIClient()
    client.force_authenticate(user)
    return client


def put_in(world: World, body: Any = None, *, key: str = KEY, user: User | None = None) -> Any:
    url = reverse("api-bin-list", kwargs={"team": world.home.team.slug})
    return api(user or world.cast.lead).post(
        url, body or BIN, format="json", headers={"idempotency-key": key}
    )


def made() -> int:
    return Bin.objects.filter(code__startswith="CART").count()


def test_the_same_entry_again_gets_the_same_answer_and_writes_nothing(world: World) -> None:
    first, second = put_in(world), put_in(world, dict(reversed(BIN.items())))
    assert (first.status_code, second.status_code) == (201, 201)
    assert first.json() == second.json()
    assert "Idempotency-Repeat" not in first
    assert second["Idempotency-Repeat"] == "true"
    assert made() == 1


def test_without_a_key_nothing_is_kept(world: World) -> None:
    url = reverse("api-bin-list", kwargs={"team": world.home.team.slug})
    assert api(world.cast.lead).post(url, BIN, format="json").status_code == 201
    assert Receipt.objects.count() == 0


def test_another_entry_under_a_used_key_is_refused(world: World) -> None:
    put_in(world)
    answer = put_in(world, {**BIN, "code": "CART-2"})
    assert answer.status_code == 422
    assert "used for another entry" in answer.json()["detail"]
    assert (answer.json()["field"], answer.json()["value"]) == ("Idempotency-Key", KEY)
    assert made() == 1


def test_another_person_never_sees_the_answer(world: World) -> None:
    put_in(world)
    assert put_in(world, user=world.cast.mentor).status_code == 422


def test_another_team_may_use_the_same_key(world: World) -> None:
    put_in(world)
    url = reverse("api-bin-list", kwargs={"team": world.away.team.slug})
    client = api(world.cast.outsider)
    assert client.post(url, BIN, format="json", headers={"idempotency-key": KEY}).status_code == 201
    assert made() == 2


def test_a_refusal_uses_no_key_up(world: World) -> None:
    assert put_in(world, {**BIN, "code": "not a code"}).status_code == 400
    assert Receipt.objects.count() == 0
    assert put_in(world).status_code == 201
    assert put_in(world).json()["code"] == "CART-1"


def test_a_refusal_that_is_answered_and_not_raised_leaves_nothing_either(world: World) -> None:
    url = reverse("api-workbook-import", kwargs={"team": world.home.team.slug})
    wrong = SimpleUploadedFile("parts.csv", b"no such heading\n1\n")
    answer = api(world.cast.lead).post(url, {"file": wrong}, headers={"idempotency-key": KEY})
    assert answer.status_code in (400, 422)
    assert Receipt.objects.count() == 0


def test_a_change_is_kept_like_a_new_row(world: World) -> None:
    url = reverse("api-bin-detail", kwargs={"team": world.home.team.slug, "pk": world.home.pk(Bin)})
    client = api(world.cast.lead)
    answers = [
        client.patch(url, {"name": "Shelf B"}, format="json", headers={"idempotency-key": f'"{KEY}"'})
        for _ in range(2)
    ]
    assert [a.status_code for a in answers] == [200, 200]
    assert Bin.history.filter(id=world.home.pk(Bin), name="Shelf B").count() == 1
    assert Receipt.objects.get().method == "PATCH"


@pytest.mark.parametrize("key", ["", "short", "x" * 81, "with blanks in the middle", "Schlüssel-mit-Umlaut"])
def test_a_key_that_is_none_is_told(world: World, key: str) -> None:
    answer = put_in(world, key=key)
    assert answer.status_code == 400
    assert "16 to 80" in answer.json()["detail"]
    assert made() == 0


def test_who_may_not_write_gets_no_receipt(world: World) -> None:
    assert put_in(world, user=world.cast.auditor).status_code == 403
    assert put_in(world, user=world.cast.stranger).status_code == 404
    assert Receipt.objects.count() == 0


def test_a_session_still_needs_its_token(world: World) -> None:
    client = Client(enforce_csrf_checks=True)
    client.force_login(world.cast.lead, backend="django.contrib.auth.backends.ModelBackend")
    url = reverse("api-bin-list", kwargs={"team": world.home.team.slug})
    answer = client.post(url, BIN, content_type="application/json", headers={"idempotency-key": KEY})
    assert answer.status_code == 403
    assert "CSRF" in answer.json()["detail"]
    assert made() == 0


class Killed(BaseException):
    """What no handler catches, as when the process is killed."""


@contextmanager
def after_the_write(act: Callable[[], None]) -> Iterator[None]:
    """Do something when the row is written and the receipt is not filled in yet."""

    def save(**given: Any) -> Any:
        row = record_save(**given)
        act()
        return row

    with mock.patch.object(BinViewSet, "save", staticmethod(save)):
        yield


def test_killed_between_the_write_and_its_receipt_nothing_stands(world: World) -> None:
    def die() -> None:
        assert made() == 1
        raise Killed

    with after_the_write(die), suppress(Killed):
        put_in(world)
    assert (made(), Receipt.objects.count()) == (0, 0)
    assert put_in(world).status_code == 201
    assert (made(), Receipt.objects.count()) == (1, 1)


def test_the_digest_knows_files_and_forgets_order() -> None:
    def form(text: bytes) -> QueryDict:
        data = QueryDict(mutable=True)
        data.setlist("file", [cast(Any, SimpleUploadedFile("a.csv", text))])
        data.setlist("tags", ["x", "y"])
        return data

    assert body_digest({"a": 1, "b": [1.5, None]}) == body_digest({"b": [1.5, None], "a": 1})
    assert body_digest({"a": 1}) != body_digest({"a": 2})
    assert body_digest(form(b"one")) == body_digest(form(b"one"))
    assert body_digest(form(b"one")) != body_digest(form(b"two"))


def test_old_receipts_are_dropped(world: World, settings: Any) -> None:
    settings.RECEIPT_DAYS = 30
    put_in(world)
    put_in(world, {**BIN, "code": "CART-2"}, key=KEY[::-1])
    Receipt.objects.filter(key=KEY).update(created_at=timezone.now() - timedelta(days=31))
    run = jobs.run_now("receipts.purge", trigger="schedule")
    assert (run.state, run.counts) == ("done", {"receipts dropped": 1})
    assert Receipt.objects.get().key == KEY[::-1]


@pytest.mark.django_db
def test_the_schema_offers_the_key_with_every_change_of_a_team() -> None:
    paths = SchemaGenerator().get_schema(public=True)["paths"]
    changes = [
        operation
        for path, operations in paths.items()
        if path.startswith("/api/v1/t/")
        for method, operation in operations.items()
        if method in ("post", "put", "patch", "delete")
    ]
    assert len(changes) > 20
    assert all(any(p["name"] == "Idempotency-Key" for p in c["parameters"]) for c in changes)


@pytest.mark.postgres
@pytest.mark.django_db(transaction=True)
class TestAtOnce:
    """Real threads and connections."""

    def test_eight_at_once_are_one_write_and_eight_equal_answers(self) -> None:
        world, answers = make_world(), []
        ends = together([lambda: answers.append(put_in(world))] * 8)
        assert ends == {"done": 8}
        assert [a.status_code for a in answers] == [201] * 8
        assert len({a.content for a in answers}) == 1
        assert sorted("Idempotency-Repeat" in a for a in answers) == [False] + [True] * 7
        assert (made(), Receipt.objects.count()) == (1, 1)

    def test_two_bodies_at_once_under_one_key_are_one_write_and_one_refusal(self) -> None:
        world, codes = make_world(), []
        asks = [
            lambda n=n: codes.append(put_in(world, {**BIN, "code": f"CART-{n}"}).status_code) for n in (1, 2)
        ]
        assert together(asks) == {"done": 2}
        assert sorted(codes) == [201, 422]
        assert made() == 1

    def test_a_session_killed_on_the_server_in_the_middle_leaves_nothing(self) -> None:
        world = make_world()
        written, go_on = threading.Event(), threading.Event()
        pids: list[int] = []

        def wait() -> None:
            pids.append(connection.connection.info.backend_pid)
            written.set()
            go_on.wait(20)

        def first() -> None:
            try:
                with suppress(OperationalError), after_the_write(wait):
                    put_in(world)
            finally:
                connections.close_all()

        thread = threading.Thread(target=first)
        thread.start()
        assert written.wait(20)
        with transaction.atomic(), connection.cursor() as cursor:
            cursor.execute("SELECT pg_terminate_backend(%s)", [pids[0]])
        go_on.set()
        thread.join(20)
        assert (made(), Receipt.objects.count()) == (0, 0)
        assert put_in(world).status_code == 201
        assert (made(), Receipt.objects.count()) == (1, 1)
