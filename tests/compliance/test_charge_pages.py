"""The pages about power below a full battery: what they show, what they keep, and when it cannot be told."""

from __future__ import annotations

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext
from django.urls import reverse

from builds.network import Scenario
from builds.selectors.studies import batteries_for, cheapest_fix, current_limits, solved_build
from tests.compliance.power_shop import PowerShop, make_power_shop

pytestmark = pytest.mark.django_db

PAGES = ["build-power", "build-fixes", "build-cart", "build-limits"]


@pytest.fixture
def power(client) -> PowerShop:
    made = make_power_shop()
    client.force_login(made.scope.user)
    return made


def url(power, name, row=None):
    return reverse(name, kwargs={"team": power.shop.team.slug, "pk": (row or power.build).pk})


@pytest.mark.parametrize("percent", [75, 50, 25])
def test_the_power_page_shows_the_robot_at_that_charge(client, power, percent):
    weak = power.battery("GP-04", 26.0)
    power.battery("GP-01", 14.0)
    page = client.get(url(power, "build-power"), {"charge": percent})
    solved = solved_build(power.scope, power.build, weak, charge_frac=percent / 100)
    assert page.context["solved"].scenarios[Scenario.PUSH].board_v == solved.scenarios[Scenario.PUSH].board_v
    html = page.content.decode()
    assert f"With GP-04 at {percent} % the board falls" in html
    assert f'<option value="{percent}" selected>' in html
    assert f"{percent} % charged" in html
    assert "Simulated matches start with a full battery" in html


def test_links_keep_the_charge(client, power):
    weak = power.battery("GP-04", 26.0)
    html = client.get(url(power, "build-power"), {"charge": 50, "battery": weak.pk}).content.decode()
    kept = f"?battery={weak.pk}&amp;charge=50"
    working = url(power, "circuit-detail", power.circuits["ARM-1"])
    assert f'{url(power, "build-fixes")}{kept}"' in html
    assert f'href="{working}{kept}"' in html
    assert f'href="?case=push&amp;battery={weak.pk}&amp;charge=50"' in html
    page = client.get(working, {"battery": weak.pk, "charge": 50})
    assert page.context["solved"].battery.charge_frac == 0.5
    assert "GP-04 at 50 %" in page.content.decode()
    assert f'{url(power, "build-power")}{kept}"' in page.content.decode()
    assert "charge=" not in client.get(url(power, "build-power")).content.decode()


def test_every_answer_is_for_the_charge(client, power):
    weak = power.battery("GP-04", 26.0)
    asked = {"battery": weak.pk, "charge": 25}
    fix, limit, cart = (
        client.get(url(power, name), asked).context["found"] for name in PAGES[1:2] + PAGES[3:] + PAGES[2:3]
    )
    assert fix == cheapest_fix(power.scope, power.build, weak, charge_frac=0.25)
    assert limit == current_limits(power.scope, power.build, weak, charge_frac=0.25)
    assert cart == batteries_for(power.scope, power.build, charge_frac=0.25)


def test_the_cart_says_at_which_charge_its_batteries_may_run(client, power):
    power.battery("GP-01", 14.0)
    words = "at 50&nbsp;% of their charge"
    assert words in client.get(url(power, "build-cart"), {"charge": 50}).content.decode()
    assert words not in client.get(url(power, "build-cart")).content.decode()


@pytest.mark.parametrize("name", PAGES)
@pytest.mark.parametrize("wrong", ["", "0", "60", "101", "half", "-50", "1e2", "²5"])
def test_what_is_no_charge_of_the_list_is_full(client, power, name, wrong):
    page = client.get(url(power, name), {"charge": wrong})
    assert page.status_code == 200
    assert page.context["charge"] == 100
    assert '<option value="100" selected>Full</option>' in page.content.decode()


@pytest.mark.parametrize("name", PAGES)
def test_a_model_without_a_curve_is_told_full_only(client, power, name):
    power.model.chemistry, power.model.rest_curve = "lfp", []
    power.model.save()
    weak = power.battery("GP-04", 26.0)
    asked = {"battery": weak.pk, "charge": 50}
    html = client.get(url(power, name), asked).content.decode()
    assert "Enter for the battery model" in html
    assert '<option value="50" selected>' in html  # the way back
    assert (
        "Enter for the battery model"
        not in client.get(url(power, name), {"battery": weak.pk}).content.decode()
    )


@pytest.mark.parametrize("name", PAGES)
def test_less_charge_costs_no_more_queries(client, power, name):
    weak = power.battery("GP-04", 26.0)

    def queries(**asked):
        with CaptureQueriesContext(connection) as seen:
            assert client.get(url(power, name), {"battery": weak.pk, **asked}).status_code == 200
        return len(seen)

    queries()  # what is asked only the first time
    assert queries(charge=50) == queries()
