"""The pit over the API, as the phone's outbox sends it: late, twice, and refused in words."""

from __future__ import annotations

import pytest
from django.urls import reverse
from django.utils import timezone
from rest_framework.test import APIClient

from builds.models import Match, Outing
from compliance.services import pit
from inventory.models import BatteryIncident, BatteryState
from shared.models import Role
from tests.compliance.pit_shop import PitShop, busy_pit

pytestmark = pytest.mark.django_db


@pytest.fixture
def busy() -> PitShop:
    return busy_pit(now=timezone.now())


def send(shop: PitShop, entry: str, body: dict[str, object], *, event=None, key: str = "", client=None):
    client = client or APIClient()
    client.force_authenticate(shop.scope.user)
    where = {"team": shop.scope.team.slug, "pk": (event or shop.event).pk}
    more = {"headers": {"Idempotency-Key": key}} if key else {}
    return client.post(reverse(f"api-pit-{entry}", kwargs=where), body, format="json", **more)


def test_a_swap_says_what_happened_and_what_to_mind(busy):
    answer = send(busy, "swap", {"code": "GP-03", "match": busy.matches["9"].pk, "start_rest_v": "12.8"})
    assert answer.status_code == 200
    assert answer.data["said"].startswith("GP-03 is in Heron for match 9 at 12.8 V.")
    assert answer.data["cautions"][-1] == "The plan has GP-01 for match 9."
    # GP-03 was to go out again for match 10, which is too soon now.
    assert any("instead of GP-03" in change for change in answer.data["changes"])


def test_an_entry_sent_again_is_one_swap(busy):
    body = {
        "code": "GP-01",
        "match": busy.matches["9"].pk,
        "start_rest_v": "12.8",
        "out_end_rest_v": "12.4",
        "started_at": busy.at(-5).isoformat(),
    }
    first = send(busy, "swap", body, key="phone-1-entry-0000001")
    again = send(busy, "swap", body, key="phone-1-entry-0000001")
    anew = send(busy, "swap", body)
    assert {first.status_code, again.status_code, anew.status_code} == {200}
    went = Outing.objects.get(match=busy.matches["9"])
    assert went.started_at == busy.at(-5)
    out = Outing.objects.get(match=busy.matches["8"])
    assert (out.ended_at, out.end_rest_v) == (busy.at(-5), 12.4)


@pytest.mark.parametrize("key", ["", "phone-1-entry-0000002"])
def test_a_plan_that_cannot_be_made_takes_no_swap_back(busy, monkeypatch, key):
    def broken(**given: object) -> None:
        raise ZeroDivisionError("a fault of the planner")

    monkeypatch.setattr(pit, "plan_ask", broken)
    answer = send(busy, "swap", {"code": "GP-01", "match": busy.matches["9"].pk}, key=key)
    assert answer.status_code == 200
    assert "What was entered stands." in answer.data["changes"][0]
    assert Outing.objects.get(in_robot=True).battery.code == "GP-01"


def test_a_swap_that_arrives_after_the_next_one_keeps_its_place(busy):
    send(
        busy, "swap", {"code": "GP-04", "match": busy.matches["10"].pk, "started_at": busy.at(-2).isoformat()}
    )
    late = send(
        busy, "swap", {"code": "GP-01", "match": busy.matches["9"].pk, "started_at": busy.at(-10).isoformat()}
    )
    assert late.status_code == 200
    first = Outing.objects.get(match=busy.matches["9"])
    assert (first.in_robot, first.ended_at) == (False, busy.at(-2))
    assert Outing.objects.get(match=busy.matches["10"]).in_robot


def test_what_is_not_fit_is_refused_with_the_field_to_tick(busy):
    refused = send(busy, "swap", {"code": "GP-06", "match": busy.matches["9"].pk})
    assert refused.status_code == 400
    assert refused.data["field"] == "although_unfit"
    assert "it went in anyway" in refused.data["detail"]
    body = {"code": "GP-06", "match": busy.matches["9"].pk, "although_unfit": True}
    assert send(busy, "swap", body).status_code == 200


def test_128_is_refused_and_nothing_is_logged(busy):
    body = {"code": "GP-01", "match": busy.matches["9"].pk, "start_rest_v": "128", "out_end_rest_v": "12.4"}
    refused = send(busy, "swap", body)
    assert refused.status_code == 400
    assert "Was it 12.8 V?" in refused.data["detail"]
    assert Outing.objects.get(match=busy.matches["8"]).in_robot


def test_practice_names_the_robot(busy):
    assert send(busy, "swap", {"code": "GP-01", "robot": busy.robot.pk}).status_code == 200
    assert send(busy, "swap", {"code": "GP-04"}).data["field"] == "robot"


def test_pull_and_move(busy):
    pulled = send(busy, "pull", {"code": "GP-01", "kind": "hot", "happened_at": busy.at(-3).isoformat()})
    assert pulled.status_code == 200
    assert BatteryIncident.objects.get().happened_at == busy.at(-3)
    busy.batteries["GP-01"].refresh_from_db()
    assert busy.batteries["GP-01"].state == BatteryState.QUARANTINE
    moved = send(busy, "move", {"match": busy.matches["9"].pk, "minutes": -20})
    assert "20 min earlier" in moved.data["said"]
    assert Match.objects.get(pk=busy.matches["9"].pk).starts_at == busy.at(5)


@pytest.mark.parametrize(
    ("entry", "body"), [("swap", {}), ("pull", {"code": "GP-01"}), ("move", {"minutes": 5})]
)
def test_what_is_missing_is_named(busy, entry, body):
    assert send(busy, entry, body).status_code == 400


def test_rows_of_another_team_and_of_another_event_are_not_there(busy):
    other = busy_pit(now=timezone.now())
    assert send(busy, "swap", {"code": "GP-01"}, event=other.event).status_code == 404
    foreign = send(busy, "swap", {"code": "GP-01", "match": other.matches["9"].pk})
    assert foreign.status_code == 400


def test_an_auditor_may_not_enter():
    shop = busy_pit(Role.AUDITOR, now=timezone.now())
    assert send(shop, "swap", {"code": "GP-01", "match": shop.matches["9"].pk}).status_code == 403


def test_who_sends_from_a_page_reads_it_on_the_next_one(busy, client):
    client.force_login(busy.scope.user)
    where = {"team": busy.scope.team.slug, "pk": busy.event.pk}
    body = {"code": "GP-01", "match": busy.matches["9"].pk}
    client.post(reverse("api-pit-swap", kwargs=where), body, content_type="application/json")
    page = client.get(reverse("pit", kwargs=where)).content.decode()
    assert "GP-01 is in Heron for match 9." in page
