"""The page of storage top-ups says what the rule says: who is due, who is next, whom nobody can judge."""

from __future__ import annotations

from datetime import timedelta

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext
from django.urls import reverse
from django.utils import timezone

from compliance.selectors.top_ups import top_ups
from inventory.models import Battery, Charge, Charger
from shared.models import Role
from tests.builds.workshop import make_workshop
from tests.inventory.test_batteries import make_battery

pytestmark = pytest.mark.django_db


@pytest.fixture
def shop():
    return make_workshop(Role.MEMBER)


def charged(shop, code: str, days_ago: float | None, **values) -> Battery:
    """A battery whose last charge ended so many days ago; None: never noted."""
    battery = make_battery(shop.scope, code, **values)
    if days_ago is not None:
        end = timezone.now() - timedelta(days=days_ago)
        charger, _ = Charger.objects.get_or_create(team=shop.team, name="1")
        Charge.objects.create(
            team=shop.team,
            battery=battery,
            charger=charger,
            started_at=end - timedelta(hours=2),
            ended_at=end,
        )
    return battery


def test_due_next_and_unknown_in_their_order(shop):
    charged(shop, "B01", 95)
    charged(shop, "B02", 10)
    charged(shop, "B03", 40)
    charged(shop, "B04", None)
    charged(shop, "B05", 400, state="retired", state_reason="worn")
    told = top_ups(shop.scope)
    assert [row.code for row in told.due] == ["B01"]
    assert [row.code for row in told.later] == ["B03", "B02"]
    assert [row.code for row in told.unknown] == ["B04"]
    (next_one, _) = told.later
    assert next_one.last_full is not None
    assert next_one.due_on == next_one.last_full + timedelta(days=90)


def test_the_page_offers_a_charger_and_warns(client, shop):
    battery = charged(shop, "B01", 95)
    client.force_login(shop.scope.user)
    text = client.get(reverse("topup-list", kwargs={"team": shop.team.slug})).content.decode()
    assert "1 battery wants a charge." in text
    assert reverse("charge-start", kwargs={"team": shop.team.slug, "pk": battery.pk}) in text
    assert "Charging gives off gas." in text
    assert "do not charge it" in text


def test_an_empty_team_is_told_what_to_do(client, shop):
    client.force_login(shop.scope.user)
    text = client.get(reverse("topup-list", kwargs={"team": shop.team.slug})).content.decode()
    assert "No battery is in service." in text


def test_the_queries_do_not_grow_with_the_batteries(shop):
    counts = []
    for first, last in ((0, 2), (2, 30)):
        for n in range(first, last):
            charged(shop, f"B{n:02}", n)
        with CaptureQueriesContext(connection) as asked:
            top_ups(shop.scope)
        counts.append(len(asked))
    assert counts[0] == counts[1]
