"""Swaps, charges, moved matches and handling over the API."""

from __future__ import annotations

from datetime import timedelta

import pytest
from django.urls import reverse
from django.utils import timezone
from rest_framework.test import APIClient

from builds.models import Handling, Match, Outing
from inventory.models import Charge, Charger
from shared.models import Role
from tests.builds.workshop import make_event, make_robot, make_workshop
from tests.inventory.stockroom import make_scope
from tests.inventory.test_batteries import make_battery

pytestmark = pytest.mark.django_db


@pytest.fixture
def shop():
    return make_workshop(Role.LEAD)


@pytest.fixture
def api(shop):
    client = APIClient()
    client.force_authenticate(shop.scope.user)
    return client


@pytest.fixture
def match(shop):
    robot = make_robot(shop)
    event = make_event(shop, "Open", timezone.localdate(), [robot])
    return Match.objects.create(
        team=shop.team, event=event, robot=robot, number="1", starts_at=timezone.now() + timedelta(hours=1)
    )


def url(shop, name, **kwargs):
    return reverse(f"api-{name}", kwargs={"team": shop.team.slug, **kwargs})


def test_a_swap_is_entered_and_its_figures_follow(shop, api, match):
    battery = make_battery(shop.scope)
    body = {"battery": battery.pk, "match": match.pk, "start_rest_v": "12.84 V"}
    first = api.post(url(shop, "outing-start"), body)
    assert first.status_code == 200, first.content
    assert api.post(url(shop, "outing-start"), body).json()["id"] == first.json()["id"]
    assert (first.json()["in_robot"], first.json()["robot"]) == (True, match.robot_id)
    end = url(shop, "outing-end", pk=first.json()["id"])
    assert api.post(end, {"lowest_v": 9.2}).json()["in_robot"] is False
    assert api.post(end, {"end_rest_v": 12.4}).json()["lowest_v"] == 9.2
    refused = api.post(end, {"end_rest_v": 12.1})
    assert (refused.status_code, refused.json()["field"]) == (409, "end_rest_v")


def test_a_slip_of_the_meter_is_refused_with_what_was_meant(shop, api, match):
    body = {"battery": make_battery(shop.scope).pk, "match": match.pk, "start_rest_v": 1284}
    answer = api.post(url(shop, "outing-start"), body)
    assert answer.status_code == 400
    assert answer.json()["field"] == "start_rest_v"
    assert "Was it 12.84 V?" in answer.json()["detail"]


def test_the_battery_in_a_robot_is_named_by_the_robot(shop, api, match):
    battery = make_battery(shop.scope)
    assert api.post(url(shop, "outing-end-of"), {"robot": match.robot_id}).status_code == 409
    api.post(url(shop, "outing-start"), {"battery": battery.pk, "robot": match.robot_id})
    done = api.post(url(shop, "outing-end-of"), {"robot": match.robot_id, "end_rest_v": 12.5})
    assert (done.status_code, done.json()["battery"]) == (200, battery.pk)
    assert api.post(url(shop, "outing-end-of"), {}).status_code == 400


def test_rows_of_another_team_are_not_known(shop, api, match):
    other = make_workshop()
    body = {"battery": make_battery(other.scope).pk, "match": match.pk}
    answer = api.post(url(shop, "outing-start"), body)
    assert (answer.status_code, list(answer.json())) == (400, ["battery"])


def test_a_charge_takes_it_out_of_the_robot_and_finds_its_purpose_out(shop, api, match):
    battery = make_battery(shop.scope)
    api.post(url(shop, "outing-start"), {"battery": battery.pk, "match": match.pk})
    answer = api.post(url(shop, "charge-list"), {"battery": battery.pk, "charger_name": "Left"})
    assert answer.status_code == 201, answer.content
    assert (answer.json()["purpose"], answer.json()["charger_name"]) == ("use", "Left")
    assert not Outing.objects.get().in_robot
    by_id = {"battery": make_battery(shop.scope, "B02").pk, "charger": Charger.objects.get().pk}
    refused = api.post(url(shop, "charge-list"), by_id)
    assert (refused.status_code, refused.json()["field"]) == (409, "charger")
    assert "B01 is on Left since" in refused.json()["detail"]
    assert api.post(url(shop, "charge-list"), {"battery": battery.pk}).status_code == 400
    assert Charge.objects.count() == 1


def test_matches_move_and_are_called_off(shop, api, match):
    body = {"from_match": match.pk, "minutes": 20, "was": match.starts_at.isoformat()}
    moved = api.post(url(shop, "event-shift", pk=match.event_id), body)
    assert moved.status_code == 200, moved.content
    assert [row["id"] for row in moved.json()] == [match.pk]
    assert api.post(url(shop, "event-shift", pk=match.event_id), body).json() == []
    off = api.post(url(shop, "match-call-off", pk=match.pk), {})
    assert off.json()["called_off"] is True
    assert api.post(url(shop, "match-call-off", pk=match.pk), {"called_off": False}).json()["called_off"] is (
        False
    )


def test_how_long_each_step_takes_is_read_and_said(shop, api, match):
    address = url(shop, "event-handling", pk=match.event_id)
    assert api.get(address).json()["cool_min"] == 20
    assert api.put(address, {"cool_min": "25 min", "least_charge_frac": "90 %"}).json()["cool_min"] == 25
    assert Handling.objects.get().least_charge_frac == pytest.approx(0.9)
    refused = api.put(address, {"cool_min": 100000})
    assert (refused.status_code, refused.json()["field"]) == (400, "cool_min")
    member = APIClient()
    member.force_authenticate(make_scope(shop.team, Role.MEMBER).user)
    assert member.put(address, {"cool_min": 5}).status_code == 403


def test_batteries_and_chargers_of_an_event_are_set(shop, api, match):
    battery, charger = make_battery(shop.scope), Charger.objects.create(team=shop.team, name="1")
    address = url(shop, "event-detail", pk=match.event_id)
    answer = api.patch(address, {"batteries": [battery.pk], "chargers": [charger.pk]})
    assert (answer.json()["batteries"], answer.json()["chargers"]) == ([battery.pk], [charger.pk])
    assert answer.json()["robots"] == [match.robot_id]
