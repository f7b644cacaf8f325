"""The studies below a full battery: its rest voltage by the curve of its model, and when that cannot be told."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import pytest
from rest_framework.test import APIClient

from builds.network import Scenario
from builds.selectors.studies import (
    batteries_for,
    battery_case,
    cheapest_fix,
    current_limits,
    network_of,
    solved_build,
)
from builds.studies import Runs
from builds.studies.solved import solved_build as solve_case
from shared.models import Membership, Role, User
from tests.builds.study_shop import StudyShop

pytestmark = pytest.mark.django_db

CURVE = [[1.0, 12.9], [0.5, 12.2], [0.2, 11.9]]


@pytest.fixture
def shop() -> StudyShop:
    return StudyShop.open()


def model_has(shop: StudyShop, **values: Any) -> None:
    for name, value in values.items():
        setattr(shop.model, name, value)
    shop.model.save()


def board(shop: StudyShop, charge_frac: float, battery: Any = None) -> float:
    found = solved_build(shop.scope, shop.build, battery, charge_frac=charge_frac)
    assert found.cannot == ""
    return found.scenarios[Scenario.PUSH].board_v or 0.0


@pytest.mark.parametrize(
    ("curve", "charge_frac", "open_v", "source"),
    [
        (CURVE, 0.5, 12.2, "the curve of its model"),
        (CURVE, 0.75, 12.55, "the curve of its model"),
        # Without one: the usual curve of small AGM batteries, 12.85 V full and 12.30 V half full, moved to 12.8 V.
        ([], 0.5, 12.25, "a usual curve of its chemistry"),
    ],
)
@pytest.mark.parametrize("measured", [False, True])
def test_every_voltage_is_that_of_a_source_with_the_rest_voltage(
    shop: StudyShop, curve: Any, charge_frac: float, open_v: float, source: str, measured: bool
) -> None:
    model_has(shop, rest_curve=curve)
    battery = shop.battery("B7", 30.0) if measured else None
    told = solved_build(shop.scope, shop.build, battery, charge_frac=charge_frac)
    net = network_of(shop.scope, shop.build)
    by_hand = replace(battery_case(shop.scope, shop.build, net, battery), open_v=open_v)
    wanted = solve_case(shop.build.pk, net, by_hand)
    for found, hand in zip(told.scenarios, wanted.scenarios, strict=True):
        assert found.board_v == pytest.approx(hand.board_v, abs=1e-9)
        assert found.battery_v == pytest.approx(hand.battery_v, abs=1e-9)
    assert told.battery.open_v == pytest.approx(open_v)
    assert told.battery.internal_mohm == by_hand.internal_mohm
    percent = f"{charge_frac * 100:.0f} %"
    assert told.battery.name == f"{told.battery.label} at {percent}"
    assert f"{percent} charged, {open_v:.2f} V at rest by {source}; resistance as when full" in (
        told.battery.words
    )


def test_full_says_nothing_of_the_charge(shop: StudyShop) -> None:
    assert solved_build(shop.scope, shop.build, charge_frac=1.0) == solved_build(shop.scope, shop.build)
    told = solved_build(shop.scope, shop.build).battery
    assert told.name == told.label
    assert "charged" not in told.words


def test_less_charge_is_less_voltage_at_the_board(shop: StudyShop) -> None:
    battery = shop.battery("B7", 30.0)
    for curve in ([], CURVE):
        model_has(shop, rest_curve=curve)
        battery.refresh_from_db()
        for which in (None, battery):
            volts = [board(shop, charge, which) for charge in (1.0, 0.8, 0.5, 0.3, 0.2)]
            assert volts == sorted(volts, reverse=True)
            assert len(set(volts)) == len(volts)


def test_a_curve_that_ends_above_the_full_voltage_gives_no_more_than_full(shop: StudyShop) -> None:
    model_has(shop, rest_curve=[[0.9, 13.1], [0.5, 12.2]])  # full by the model: 12.8 V
    assert board(shop, 0.95) == board(shop, 1.0)


def test_every_study_takes_the_charge(shop: StudyShop) -> None:
    battery = shop.battery("B7", 30.0)
    fix = [cheapest_fix(shop.scope, shop.build, battery, charge_frac=c).before_v for c in (1.0, 0.25)]
    limit = [current_limits(shop.scope, shop.build, battery, charge_frac=c).before for c in (1.0, 0.25)]
    carts = [batteries_for(shop.scope, shop.build, charge_frac=c) for c in (1.0, 0.25)]
    assert (fix[0] or 0) > (fix[1] or 0) > 0
    assert limit[0] is not None
    assert limit[1] is not None
    assert (limit[0].load_v or 0) > (limit[1].load_v or 0) > 0
    assert (carts[0].resistance_limit_mohm or 0) > (carts[1].resistance_limit_mohm or 0) > 0
    assert carts[1].rows[0].code == "B7"
    assert carts[1].rows[0].board_v == pytest.approx(board(shop, 0.25, battery))


@pytest.mark.parametrize(
    "values", [{"chemistry": "lfp"}, {"rest_curve": [[1.0, 12.9], [0.6, 12.4]]}], ids=["lithium", "short"]
)
def test_without_a_curve_down_to_it_only_full_can_be_told(shop: StudyShop, values: dict[str, Any]) -> None:
    model_has(shop, **values)
    battery = shop.battery("B7", 15.0)
    for which in (None, battery):
        assert solved_build(shop.scope, shop.build, which).cannot == ""
        told = solved_build(shop.scope, shop.build, which, charge_frac=0.5)
        assert "Enter for the battery model" in told.cannot
        assert told.battery.open_v is None
        assert cheapest_fix(shop.scope, shop.build, which, charge_frac=0.5).cannot == told.cannot
        assert current_limits(shop.scope, shop.build, which, charge_frac=0.5).cannot == told.cannot
    study = batteries_for(shop.scope, shop.build, charge_frac=0.5)
    assert study.as_new is not None
    assert [(row.verdict, row.open_v) for row in (study.as_new, *study.rows)] == [(Runs.UNKNOWN, None)] * 2
    assert study.rows[0].reason == told.cannot
    assert study.resistance_limit_mohm is None


def test_a_build_without_a_battery_model_is_told_full_only(shop: StudyShop) -> None:
    shop.build.battery_model, shop.build.source_mohm = None, 20.0
    shop.build.save()
    assert solved_build(shop.scope, shop.build).cannot == ""
    assert "state of charge" in solved_build(shop.scope, shop.build, charge_frac=0.5).cannot


# --- over the API ----------------------------------------------------------------------------------------
@pytest.fixture
def client(shop: StudyShop) -> APIClient:
    user = User.objects.create_user(username="auditor", password="long enough for tests")
    Membership.objects.create(user=user, team=shop.wiring.team, role=Role.AUDITOR)
    client = APIClient()
    client.force_authenticate(user)
    return client


def ask(client: APIClient, shop: StudyShop, what: str, **query: Any) -> Any:
    return client.get(f"/api/v1/t/{shop.wiring.team.slug}/builds/{shop.build.pk}/{what}/", query)


def test_the_api_takes_percent(client: APIClient, shop: StudyShop) -> None:
    battery = shop.battery("B1", 20.0)
    body = ask(client, shop, "network", battery=battery.pk, charge=50).json()
    assert body["battery"]["charge_frac"] == 0.5
    assert body["scenarios"][1]["board_v"] == pytest.approx(board(shop, 0.5, battery))
    rows = ask(client, shop, "batteries", charge=50).json()["rows"]
    assert rows[0]["board_v"] == pytest.approx(board(shop, 0.5, battery))
    full = ask(client, shop, "network").json()
    assert ask(client, shop, "network", charge=100).json() == full
    model_has(shop, chemistry="lfp")
    for what in ("network", "cheapest-fix", "current-limits"):
        body = ask(client, shop, what, charge=50).json()
        assert body["battery"]["open_v"] is None
        assert "state of charge" in body["cannot"]


@pytest.mark.parametrize("what", ["network", "cheapest-fix", "batteries", "current-limits"])
@pytest.mark.parametrize("wrong", ["0", "101", "half", "nan", "50.5"])
def test_the_api_names_a_wrong_charge(client: APIClient, shop: StudyShop, what: str, wrong: str) -> None:
    answer = ask(client, shop, what, charge=wrong)
    assert answer.status_code == 400
    assert list(answer.json()) == ["charge"]
