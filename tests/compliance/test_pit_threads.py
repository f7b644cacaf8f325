"""Two phones in one pit at once, on PostgreSQL: no deadlock, each entry once, and one battery is in the robot."""

from __future__ import annotations

from collections.abc import Callable

import pytest
from django.urls import reverse
from django.utils import timezone
from rest_framework.test import APIClient

from builds.models import Match, Outing, RotationPlan
from builds.services.outings import outing_start
from compliance.services.pit import match_move, swap
from tests.compliance.pit_shop import PitShop, busy_pit
from tests.inventory.test_ledger_threads import together

pytestmark = [pytest.mark.postgres, pytest.mark.django_db(transaction=True)]


@pytest.fixture
def busy() -> PitShop:
    return busy_pit(now=timezone.now())


def test_the_same_swap_from_two_phones_is_one(busy):
    def act() -> object:
        return swap(
            scope=busy.scope, event=busy.event, battery=busy.batteries["GP-01"], match=busy.matches["9"],
            start_rest_v=12.8, out_end_rest_v=12.4,
        )  # fmt: skip

    assert together([act] * 4) == {"done": 4}
    assert Outing.objects.filter(match=busy.matches["9"]).count() == 1
    assert Outing.objects.get(match=busy.matches["8"]).end_rest_v == 12.4


def test_two_batteries_into_one_robot_by_page_and_api_leave_one_in_it(busy):
    match = busy.matches["9"]
    first, second = busy.batteries["GP-01"], busy.batteries["GP-04"]
    ends = together(
        [
            lambda: swap(scope=busy.scope, event=busy.event, battery=first, match=match, although_unfit=True),
            lambda: outing_start(scope=busy.scope, battery=second, match=match),
            lambda: swap(
                scope=busy.scope, event=busy.event, battery=second, match=match, although_unfit=True
            ),
        ]
    )
    assert ends["OperationalError"] == 0  # a deadlock
    assert Outing.objects.filter(in_robot=True).count() == 1


def test_one_announcement_heard_by_four_moves_a_match_once(busy):
    match = busy.matches["9"]
    match.save()  # its history begins
    seen, start = timezone.now(), match.starts_at
    ends = together(
        [lambda: match_move(scope=busy.scope, event=busy.event, match=match, minutes=-20, seen=seen)] * 4
    )
    assert ends == {"done": 4}
    assert round((start - Match.objects.get(pk=match.pk).starts_at).total_seconds()) == 20 * 60


def entry(
    shop: PitShop, name: str, body: dict[str, object], key: str, **where: object
) -> Callable[[], object]:
    """An entry as the phone's outbox sends it: under a key, so all it does is one transaction."""

    def act() -> object:
        client = APIClient()
        client.force_authenticate(shop.scope.user)
        url = reverse(name, kwargs={"team": shop.scope.team.slug, **where})
        answer = client.post(url, body, format="json", headers={"Idempotency-Key": key})
        assert answer.status_code < 300, answer.data
        return answer

    return act


@pytest.mark.parametrize("turn", range(3))
def test_entries_of_several_phones_under_keys_do_not_lock_each_other_out(busy, turn):
    """A plan is written with each, while others hold batteries, and the newest jobs, of the same event."""
    busy.ready("GP-07")
    pit, key = {"pk": busy.event.pk}, f"phone-entry-{turn:08d}"
    swap_in = {"code": "GP-01", "match": busy.matches["9"].pk, "out_end_rest_v": "12.4"}
    move = {"match": busy.matches["11"].pk, "minutes": -20}
    acts = [
        entry(busy, "api-pit-swap", swap_in, f"{key}-a", **pit),
        entry(busy, "api-pit-move", move, f"{key}-b", **pit),
        entry(busy, "api-battery-charge-end", {}, f"{key}-c", pk=busy.batteries["GP-03"].pk),
        entry(busy, "api-battery-charge-end", {}, f"{key}-d", pk=busy.batteries["GP-05"].pk),
        entry(busy, "api-pit-pull", {"code": "GP-07", "kind": "dropped"}, f"{key}-e", **pit),
    ]
    assert together(acts) == {"done": len(acts)}
    assert Outing.objects.get(in_robot=True).battery.code == "GP-01"
    assert RotationPlan.objects.filter(current=True).count() == 1
