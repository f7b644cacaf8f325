"""The API describes itself, answers nonsense with sentences, and lets both session and token in."""

from __future__ import annotations

import re
from typing import Any

import pytest
from django.test import Client
from django.urls import reverse
from drf_spectacular.drainage import GENERATOR_STATS
from drf_spectacular.generators import SchemaGenerator
from hypothesis import HealthCheck, Phase, given, settings
from hypothesis import strategies as st
from rest_framework.authtoken.models import Token
from rest_framework.test import APIClient

from tests.access.url_map import Route, routes
from tests.world import World, make_world

API = [r for r in routes() if r.is_api]
JSON = st.recursive(
    st.none()
    | st.booleans()
    | st.floats(allow_nan=False, allow_infinity=False)
    | st.integers()
    | st.text(max_size=30),
    lambda inner: st.lists(inner, max_size=3) | st.dictionaries(st.text(max_size=10), inner, max_size=3),
    max_leaves=6,
)


@pytest.fixture
def world(db: None) -> World:
    return make_world()


@pytest.fixture
def lead(world: World) -> APIClient:
    client = APIClient(raise_request_exception=False)
    client.force_authenticate(world.cast.lead)
    return client


@pytest.mark.django_db
def test_schema_is_complete_and_without_warnings() -> None:
    GENERATOR_STATS.reset()
    schema = SchemaGenerator().get_schema(public=True)
    assert not GENERATOR_STATS, "see the warnings printed above"
    described = [re.compile(re.sub(r"\{[^}]+\}", "[^/]+", path) + "$") for path in schema["paths"]]
    world = make_world()
    missing = [r.name for r in API if not any(p.match(r.url(world.home)) for p in described)]
    assert missing == []


def test_docs_and_schema_open_in_a_browser_session(world: World) -> None:
    client = Client()
    client.force_login(world.cast.lead, backend="django.contrib.auth.backends.ModelBackend")
    for name in ("schema", "api-docs"):
        assert client.get(reverse(name)).status_code == 200


def test_token_and_session_both_work(world: World) -> None:
    route = next(r for r in API if r.name == "api-battery-list")
    token = Token.objects.create(user=world.cast.member)
    with_token = APIClient()
    with_token.credentials(HTTP_AUTHORIZATION=f"Token {token.key}")
    assert with_token.get(route.url(world.home)).status_code == 200
    assert APIClient().get(route.url(world.home)).status_code in (401, 403)


def test_lists_are_paginated_and_capped(world: World, lead: APIClient) -> None:
    for route in API:
        actions = getattr(route.callback, "actions", {}) or {}
        if actions.get("get") != "list":
            continue
        body = lead.get(route.url(world.home), {"page_size": "100000"}).json()
        assert set(body) >= {"count", "results"}, route.name
        assert len(body["results"]) <= 500


@pytest.mark.parametrize("route", API, ids=lambda r: r.name)
def test_nonsense_is_refused_and_never_crashes(route: Route, world: World, lead: APIClient) -> None:
    offered = getattr(route.callback, "actions", None) or dict.fromkeys(
        route.view_class.http_method_names, ""
    )
    methods = [m for m in ("post", "patch", "put") if m in offered]
    fields = _field_names(route)
    url = route.url(world.home)
    # A list that only reads takes its nonsense in the query string.
    assert lead.get(url, dict.fromkeys(fields, "nonsense")).status_code < 500
    if not methods:
        return

    @settings(max_examples=6, suppress_health_check=list(HealthCheck), phases=[Phase.generate])
    @given(
        st.dictionaries(st.sampled_from(fields), JSON, max_size=len(fields)) | JSON, st.sampled_from(methods)
    )
    def run(body: Any, method: str) -> None:
        answer = getattr(lead, method)(url, body, format="json")
        assert answer.status_code < 500, (method, body, answer.content[:300])

    run()


def _field_names(route: Route) -> list[str]:
    serializer = getattr(route.view_class, "serializer_class", None)
    meta = getattr(serializer, "Meta", None)
    names = list(getattr(meta, "fields", ())) or list(getattr(serializer, "_declared_fields", ()))
    return names or ["name", "quantity", "reason"]


def test_a_refusal_says_what_would_be_right(world: World, lead: APIClient) -> None:
    route = next(r for r in API if r.name == "api-bin-list")
    answer = lead.post(route.url(world.home), {"code": "not a code"}, format="json")
    assert answer.status_code == 400
    assert "letters, digits" in answer.content.decode()
