"""Duty profiles over the API: given and taken whole, phases in their order."""

from __future__ import annotations

from typing import Any

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext
from rest_framework.test import APIClient

from builds.models import DutyPhase, DutyProfile
from shared.models import Role
from tests.builds.workshop import Workshop, make_build, make_circuit, make_workshop
from tests.inventory.stockroom import make_scope

pytestmark = pytest.mark.django_db
DASH = {"name": "dash", "lasts_s": "1.2 s", "draw_frac": "100 %", "torque_frac": 0.1}
REST = {"name": "rest", "lasts_s": 3, "draw_frac": 0}


@pytest.fixture
def shop() -> Workshop:
    return make_workshop(Role.MEMBER)


@pytest.fixture
def api(shop: Workshop) -> APIClient:
    client = APIClient()
    client.force_authenticate(shop.scope.user)
    return client


def url(shop: Workshop, pk: int | None = None) -> str:
    return f"/api/v1/t/{shop.team.slug}/duty-profiles/" + (f"{pk}/" if pk else "")


def make(api: APIClient, shop: Workshop, code: str = "DRIVE") -> dict[str, Any]:
    body = {"code": code, "name": "Drive", "phases": [DASH, REST]}
    answer = api.post(url(shop), body, format="json")
    assert answer.status_code == 201, answer.json()
    made: dict[str, Any] = answer.json()
    return made


def test_a_profile_is_made_with_its_phases(api: APIClient, shop: Workshop) -> None:
    made = make(api, shop)
    assert made["phases"] == [
        {"name": "dash", "lasts_s": 1.2, "draw_frac": 1.0, "torque_frac": 0.1},
        {"name": "rest", "lasts_s": 3.0, "draw_frac": 0.0, "torque_frac": 0.0},
    ]
    assert api.get(url(shop, made["id"])).json() == made
    assert DutyPhase.history.filter(history_user=shop.scope.user).count() == 2


def test_phases_given_replace_and_left_out_stay(api: APIClient, shop: Workshop) -> None:
    made = make(api, shop)
    renamed = api.patch(url(shop, made["id"]), {"name": "Other"}, format="json").json()
    assert (renamed["name"], renamed["phases"]) == ("Other", made["phases"])
    shorter = api.patch(url(shop, made["id"]), {"phases": [REST]}, format="json").json()
    assert [p["name"] for p in shorter["phases"]] == ["rest"]
    assert DutyPhase.objects.count() == 1


@pytest.mark.parametrize(
    ("phases", "told"),
    [
        ([], None),
        ([DASH, {**REST, "lasts_s": 0}], {"1": {"lasts_s": ["Must be greater than zero."]}}),
        ([{**DASH, "draw_frac": 2}], {"0": {"draw_frac": ["Must be between 0 and 1 (or 0 % and 100 %)."]}}),
        (
            [{"name": "on"}],
            {"0": {"lasts_s": ["This field is required."], "draw_frac": ["This field is required."]}},
        ),
    ],
)
def test_a_wrong_phase_is_told_at_its_place(
    api: APIClient, shop: Workshop, phases: list[dict[str, Any]], told: dict[str, Any] | None
) -> None:
    answer = api.post(url(shop), {"code": "X", "name": "X", "phases": phases}, format="json")
    assert answer.status_code == 400
    assert list(answer.json()) == ["phases"]
    if told is not None:
        assert answer.json()["phases"] == told
    assert not DutyProfile.objects.exists()


def test_a_followed_profile_is_not_deleted(api: APIClient, shop: Workshop) -> None:
    made = make(api, shop)
    circuit = make_circuit(shop, make_build(shop), "C1", profile_id=made["id"])
    refused = api.delete(url(shop, made["id"]))
    assert (refused.status_code, refused.json()["field"]) == (409, "profile")
    body = {"profile": None}
    assert (
        api.patch(f"/api/v1/t/{shop.team.slug}/circuits/{circuit.pk}/", body, format="json").status_code
        == 200
    )
    assert api.delete(url(shop, made["id"])).status_code == 204


def test_a_circuit_follows_a_profile_of_its_own_team_only(api: APIClient, shop: Workshop) -> None:
    other = make_workshop()
    theirs = DutyProfile.objects.create(team=other.team, code="DRIVE", name="Theirs")
    circuit = make_circuit(shop, make_build(shop), "C1")
    one = f"/api/v1/t/{shop.team.slug}/circuits/{circuit.pk}/"
    assert list(api.patch(one, {"profile": theirs.pk}, format="json").json()) == ["profile"]
    mine = make(api, shop)
    assert api.patch(one, {"profile": mine["id"]}, format="json").json()["profile"] == mine["id"]
    listed = api.get(f"/api/v1/t/{shop.team.slug}/circuits/?profile={mine['id']}").json()
    assert [c["code"] for c in listed["results"]] == ["C1"]


def test_an_auditor_only_reads(shop: Workshop, api: APIClient) -> None:
    make(api, shop)
    auditor = APIClient()
    auditor.force_authenticate(make_scope(shop.team, Role.AUDITOR).user)
    assert auditor.get(url(shop)).json()["count"] == 1
    assert auditor.post(url(shop), {}, format="json").status_code == 403


def test_a_list_asks_as_much_for_ten_as_for_one(api: APIClient, shop: Workshop) -> None:
    counts = []
    for first, last in ((0, 1), (1, 10)):
        for n in range(first, last):
            make(api, shop, f"P{n}")
        with CaptureQueriesContext(connection) as asked:
            assert api.get(url(shop)).json()["count"] == last
        counts.append(len(asked))
    assert counts[0] == counts[1]
