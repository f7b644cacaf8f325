"""What is said of a robot as a whole, on its page as in the sweep."""

from __future__ import annotations

import pytest
from django.test import Client
from django.urls import reverse

from compliance.rules.network import BUILD_RULES
from compliance.selectors.margins import build_verdict
from shared.models import Role
from tests.compliance.network_shop import NetworkShop
from tests.inventory.stockroom import make_scope

pytestmark = pytest.mark.django_db


@pytest.fixture
def shop() -> NetworkShop:
    return NetworkShop.start()


def test_page_and_sweep_say_the_same_of_a_build(shop: NetworkShop) -> None:
    shop.load("CTRL", 1.0, role="controller", minimum_v=12.5)
    shop.load("DRIVE-1", 20.0, role="motor", peak_a=150.0)
    checks = build_verdict(make_scope(shop.team, Role.MENTOR), shop.build).checks
    assert [check.rule for check in checks] == list(BUILD_RULES)
    shown = {c.rule.code: (c.state, c.working) for c in checks if c.state not in ("ok", "silent", "off")}
    assert shown == {code: (str(f.severity), f.working) for code, f in shop.of_build().items()}
    assert set(shown) == {"board-sag", "wiring-minimum"}


def test_a_robot_that_lacks_something_is_told_so_though_its_circuits_pass(
    shop: NetworkShop, client: Client
) -> None:
    scope = make_scope(shop.team, Role.MENTOR)
    assert scope.user
    client.force_login(scope.user)
    shop.load("LAMP", 0.1, device=shop.fuse(5.0))
    page = reverse("build-detail", kwargs={"team": shop.team.slug, "pk": shop.build.pk})
    text = client.get(page).content.decode()
    assert "the robot as a whole needs a look" in text
    assert "Not entered for this robot: main controller" in text
    shop.whole()
    text = client.get(page).content.decode()
    assert "are within their limits" in text
    assert "What the robot as a whole passes" in text


def test_a_build_without_circuits_has_a_verdict_too(shop: NetworkShop) -> None:
    shop.main.delete()
    verdict = build_verdict(make_scope(shop.team, Role.MENTOR), shop.build)
    assert verdict.margins == []
    assert [check.rule.code for check in verdict.failing] == ["wiring-minimum"]
    assert all(
        check.working["steps"] or check.rule.code in ("board-sag", "supply-collapse")
        for check in verdict.checks
    )
