"""The answers about a build over the API: as the selectors give them, read-only, errors with their field."""

from __future__ import annotations

from typing import Any

import pytest
from rest_framework.test import APIClient

from builds.network import PUSHING
from builds.selectors.studies import solved_build
from builds.services.builds import build_copy
from shared.access import CAPABILITIES, Can
from shared.models import Membership, Role, User
from tests.builds.study_shop import StudyShop
from tests.builds.workshop import make_build, make_workshop

pytestmark = pytest.mark.django_db


@pytest.fixture
def shop() -> StudyShop:
    return StudyShop.open(radio_m=14.0)


@pytest.fixture
def client(shop: StudyShop) -> APIClient:
    user = User.objects.create_user(username="auditor", password="long enough for tests")
    Membership.objects.create(user=user, team=shop.wiring.team, role=Role.AUDITOR)
    assert Can.WORK not in CAPABILITIES[Role.AUDITOR]
    client = APIClient()
    client.force_authenticate(user)
    return client


def ask(client: APIClient, shop: StudyShop, what: str, status: int = 200, **query: Any) -> Any:
    answer = client.get(f"/api/v1/t/{shop.wiring.team.slug}/builds/{shop.build.pk}/{what}/", query)
    assert answer.status_code == status, answer.content
    return answer.json()


def test_the_network_as_solved(client: APIClient, shop: StudyShop) -> None:
    battery = shop.battery("B1", 20.0)
    body = ask(client, shop, "network", battery=battery.pk)
    told = solved_build(shop.scope, shop.build, battery)
    assert body["battery"]["battery_id"] == battery.pk
    assert [s["scenario"] for s in body["scenarios"]] == ["running", "push", "all"]
    assert body["scenarios"][1]["board_v"] == pytest.approx(told.scenarios[1].board_v)
    assert {c["code"] for c in body["circuits"]} == set(shop.circuits)
    assert len(body["circuits"][0]["nodes"]) == 3


def test_as_many_mechanisms_push_as_are_asked_for(client: APIClient, shop: StudyShop) -> None:
    for push in (0, 1):
        told = solved_build(shop.scope, shop.build, push=push)
        body = ask(client, shop, "network", push=push)
        assert sum(c["pushes"] for c in body["circuits"]) == sum(c.pushes for c in told.circuits)
        assert body["scenarios"][1]["board_v"] == pytest.approx(told.scenarios[1].board_v)
    assert ask(client, shop, "network") == ask(client, shop, "network", push=PUSHING)
    assert ask(client, shop, "changes", push=1) == ask(client, shop, "changes")


def test_cheapest_fix_batteries_and_limits(client: APIClient, shop: StudyShop) -> None:
    shop.offer(shop.wiring.wire("20 AWG"), "6.00")
    shop.battery("B1", 20.0)
    fix = ask(client, shop, "cheapest-fix")["cheapest"]
    assert (fix["code"], fix["clears"], fix["cost"]) == ("RADIO", True, "16.92")
    study = ask(client, shop, "batteries", least_board_v="6 V")
    assert [(r["code"], r["verdict"]) for r in study["rows"]] == [("B1", "no")]
    limits = ask(client, shop, "current-limits")
    assert {r["mechanism"] for r in limits["rows"]} == {"DRIVE", "ARM"}


def test_changes_since_the_build_before(client: APIClient, shop: StudyShop) -> None:
    first = ask(client, shop, "changes")
    assert (first["before_id"], first["changes"]) == (None, [])
    assert "first build" in first["cannot"]
    after = build_copy(scope=shop.scope, build=shop.build, label="rev B", dated=shop.build.dated)
    after.circuits.filter(code="RADIO").update(length_m=3.0)
    answer = client.get(f"/api/v1/t/{shop.wiring.team.slug}/builds/{after.pk}/changes/")
    (change,) = answer.json()["changes"]
    assert change["fields"] == [{"field": "length_m", "label": "length [m]", "old": "14", "new": "3"}]
    back = ask(client, shop, "changes", since=after.pk)
    assert back["before_id"] == after.pk


@pytest.mark.parametrize(
    ("what", "query", "field"),
    [
        ("network", {"battery": "999999"}, "battery"),
        ("cheapest-fix", {"battery": "none"}, "battery"),
        ("current-limits", {"least_board_v": "0 V"}, "least_board_v"),
        ("batteries", {"least_board_v": "much"}, "least_board_v"),
        ("changes", {"since": "999999"}, "since"),
        ("network", {"push": "-1"}, "push"),
        ("changes", {"push": "many"}, "push"),
    ],
)
def test_wrong_questions_name_their_field(
    client: APIClient, shop: StudyShop, what: str, query: dict[str, str], field: str
) -> None:
    assert list(ask(client, shop, what, 400, **query)) == [field]


def test_a_battery_or_build_of_another_team_is_not_found(client: APIClient, shop: StudyShop) -> None:
    other = make_build(make_workshop())
    assert "no build" in str(ask(client, shop, "changes", 400, since=other.pk))


def test_an_empty_build_says_so(client: APIClient, shop: StudyShop) -> None:
    shop.build.circuits.exclude(fed_from=None).delete()
    shop.build.circuits.all().delete()
    for what in ("network", "cheapest-fix", "batteries", "current-limits"):
        assert "No circuit of this build" in ask(client, shop, what)["cannot"]
