"""Match studies over the API: read by everyone of the team, started by those who work in it."""

from __future__ import annotations

import pytest
from django.urls import reverse
from rest_framework.test import APIClient

from builds.match_study import RUNS
from builds.models import MatchStudy
from shared.models import JobRun, Role
from tests.builds.match_shop import MatchShop, make_match_shop
from tests.inventory.stockroom import make_scope

pytestmark = pytest.mark.django_db
OUTCOME = {"summary": {"brownout_frac": 0.25}, "trace": {"t_s": [0.0, 1.0]}}


@pytest.fixture
def shop() -> MatchShop:
    made = make_match_shop()
    for battery in (None, made["B01"]):
        MatchStudy.objects.create(
            team=made.scope.team, build=made.build, battery=battery, key="k", runs=RUNS, duration_s=150,
            outcome=OUTCOME, computed_at="2026-09-02T10:00Z",
        )  # fmt: skip
    return made


def client(shop: MatchShop, role: str) -> APIClient:
    made = APIClient()
    made.force_authenticate(make_scope(shop.scope.team, role).user)
    return made


def at(shop: MatchShop, name: str = "api-matchstudy-list", **more: object) -> str:
    return reverse(name, kwargs={"team": shop.scope.team.slug, **more})


def test_the_list_gives_summaries_and_one_gives_all(shop):
    auditor = client(shop, Role.AUDITOR)
    body = auditor.get(at(shop), {"build": shop.build.pk}).json()
    assert body["count"] == 2
    assert all("outcome" not in row and row["summary"] == {"brownout_frac": 0.25} for row in body["results"])
    (row,) = auditor.get(at(shop), {"battery": shop["B01"].pk}).json()["results"]
    assert row["battery_code"] == "B01"
    one = auditor.get(at(shop, "api-matchstudy-detail", pk=row["id"])).json()
    assert one["outcome"] == OUTCOME
    assert one["summary"] == OUTCOME["summary"]


def test_the_list_takes_as_many_queries_as_ever(shop, django_assert_max_num_queries):
    auditor = client(shop, Role.AUDITOR)
    with django_assert_max_num_queries(3):
        auditor.get(at(shop))


def test_asking_answers_with_the_run(shop):
    answer = client(shop, Role.MEMBER).post(at(shop), {"build": shop.build.pk, "runs": 50}, format="json")
    run = JobRun.objects.get()
    assert (answer.status_code, answer.json()["id"], answer.json()["state"]) == (202, run.pk, "queued")
    assert (run.name, run.arguments) == ("match.build", {"build_id": shop.build.pk, "runs": 50})


@pytest.mark.parametrize(
    ("role", "body", "status"),
    [
        (Role.AUDITOR, {"build": "mine"}, 403),
        (Role.MEMBER, {}, 400),
        (Role.MEMBER, {"build": "mine", "runs": 5}, 400),
        (Role.MEMBER, {"build": 10**9}, 404),
        (Role.MEMBER, {"build": "theirs"}, 404),
    ],
)
def test_what_is_not_allowed_or_not_there_is_refused(shop, role, body, status):
    builds = {"mine": shop.build.pk, "theirs": make_match_shop().build.pk}
    sent = {name: builds.get(value, value) for name, value in body.items()}
    assert client(shop, role).post(at(shop), sent, format="json").status_code == status
    assert not JobRun.objects.exists()
