"""The scan page and its API: straight to the thing, or a clear answer."""

from __future__ import annotations

import pytest
from django.urls import reverse

from inventory.models import Battery, Bin
from shared.models import Role
from tests.builds.workshop import make_workshop
from tests.inventory.pages import make_battery

pytestmark = pytest.mark.django_db


@pytest.fixture
def shop(client):
    made = make_workshop(Role.AUDITOR)
    make_battery(made.scope, "GP-07")
    client.force_login(made.scope.user)
    return made


def ask(client, shop, name="scan", **query):
    return client.get(reverse(name, kwargs={"team": shop.team.slug}), query)


def test_the_page_has_a_box_a_reader_types_into(client, shop):
    text = ask(client, shop).content.decode()
    assert "data-scan" in text
    assert "Scan a label." in text


def test_a_label_goes_straight_to_its_page(client, shop):
    answer = ask(client, shop, code="B:GP-07:D")
    battery = Battery.objects.get(code="GP-07")
    assert answer.url == reverse("battery-detail", kwargs={"team": shop.team.slug, "pk": battery.pk})


def test_a_parts_own_code_opens_the_part(client, shop):
    answer = ask(client, shop, code="f30")
    assert answer.url == reverse("part-detail", kwargs={"team": shop.team.slug, "pk": shop.fuse.pk})


def test_a_wrong_check_character_is_said_and_the_box_keeps_the_text(client, shop):
    answer = ask(client, shop, code="B:GP-07:K")
    assert answer.status_code == 400
    text = answer.content.decode()
    assert "the label of battery GP-07 ends in D, not K" in text
    assert 'value="B:GP-07:K"' in text


def test_several_things_are_offered(client, shop):
    Bin.objects.create(team=shop.team, code="GP-07", name="Cart")
    answer = ask(client, shop, code="GP-07")
    assert answer.status_code == 409
    assert [thing.kind.word for thing in answer.context["several"]] == ["battery", "bin"]
    assert all(thing.url in answer.content.decode() for thing in answer.context["several"])


def test_nothing_found_is_said(client, shop):
    answer = ask(client, shop, code="GP-99")
    assert answer.status_code == 404
    assert "This team has no battery, spool, bin or robot GP-99." in answer.content.decode()


def test_the_api_tells_what_a_code_means(client, shop):
    body = ask(client, shop, "api-scan", code="gp07").json()
    battery = Battery.objects.get(code="GP-07")
    assert (body["kind"], body["id"], body["code"], body["label"]) == (
        "battery",
        battery.pk,
        "GP-07",
        "B:GP-07:D",
    )
    assert body["url"].endswith(f"/batteries/{battery.pk}/")


@pytest.mark.parametrize(("code", "status"), [("", 400), ("B:GP-07:K", 400), ("GP-99", 404)])
def test_the_api_refuses_in_words(client, shop, code, status):
    answer = ask(client, shop, "api-scan", code=code)
    assert answer.status_code == status
    assert answer.json()["field"] == "code"


def test_the_api_lists_what_fits(client, shop):
    Bin.objects.create(team=shop.team, code="GP-07")
    answer = ask(client, shop, "api-scan", code="GP-07")
    assert answer.status_code == 409
    assert [thing["kind"] for thing in answer.json()["things"]] == ["battery", "bin"]
