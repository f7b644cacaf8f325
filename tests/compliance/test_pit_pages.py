"""The event page: what it says, the swap, a battery pulled, a match moved or added; roles, empty pages, queries."""

from __future__ import annotations

import json
from datetime import timedelta

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext
from django.urls import reverse
from django.utils import timezone

from builds.models import Match, Outing, RotationPlan
from inventory.models import BatteryIncident, BatteryState, Charge
from shared.labels.codes import Kind, label_text
from shared.models import Role
from tests.compliance.pit_shop import PitShop, busy_pit, make_pit

pytestmark = pytest.mark.django_db


@pytest.fixture
def busy(client) -> PitShop:
    made = busy_pit(now=timezone.now())
    client.force_login(made.scope.user)
    return made


def url(shop: PitShop, name: str = "pit") -> str:
    return reverse(name, kwargs={"team": shop.scope.team.slug, "pk": shop.event.pk})


def text(answer) -> str:
    return " ".join(answer.content.decode().split())


def enter(client, shop: PitShop, name: str, **data):
    return client.post(url(shop, name), data, follow=True)


def swap(client, shop: PitShop, code: str = "GP-01", match: str = "9", **data):
    return enter(client, shop, "pit-swap", code=code, match=shop.matches[match].pk, **data)


def current(shop: PitShop) -> RotationPlan:
    return RotationPlan.objects.get(event=shop.event, current=True)


def test_the_page_answers_which_battery_when_and_whether_it_is_ready(client, busy):
    page = text(client.get(url(busy)))
    assert "GP-01 goes into Heron for match 9." in page
    assert 'id="next-start"' in page
    assert "Ready" in page
    assert f"{timezone.localtime(busy.at(25)):%H:%M}" in page
    assert "GP-02 came out at" in page
    assert 'inputmode="decimal"' in page


def test_the_live_part_renews_itself_and_leaves_the_fields_alone(client, busy):
    part = text(client.get(url(busy), headers={"HX-Request": "true"}))
    assert 'id="pit-answer" hx-swap-oob="true"' in part
    assert 'id="pit-later" hx-swap-oob="innerHTML"' in part
    assert 'name="start_rest_v"' not in part
    assert "<html" not in part


def test_what_is_known_of_each_battery_comes_with_the_page(client, busy):
    context = client.get(url(busy)).context
    known = {entry["code"]: entry for entry in json.loads(context["known"])}
    assert known["GP-01"]["planned"]
    assert known["GP-06"]["cautions"][0]["stops"]


def test_a_swap_is_logged_with_both_voltages(client, busy):
    answer = swap(client, busy, start_rest_v="12,86", out_end_rest_v="12.41", out_lowest_v="9,9")
    assert "GP-01 is in Heron for match 9 at 12.86 V. GP-02 came out at 12.41 V." in text(answer)
    went = Outing.objects.get(match=busy.matches["9"])
    assert (went.battery.code, went.start_rest_v, went.in_robot) == ("GP-01", 12.86, True)
    out = Outing.objects.get(match=busy.matches["8"])
    assert (out.end_rest_v, out.lowest_v, out.in_robot) == (12.41, 9.9, False)
    assert current(busy).reason == RotationPlan.Reason.SWAP


@pytest.mark.parametrize("typed", ["gp-01", "GP01", "label"])
def test_a_code_may_be_scanned_or_typed(client, busy, typed):
    swap(client, busy, label_text(Kind.BATTERY, "GP-01") if typed == "label" else typed)
    assert Outing.objects.get(match=busy.matches["9"]).battery.code == "GP-01"


def test_a_second_tap_is_no_second_swap(client, busy):
    for _ in range(2):
        swap(client, busy, start_rest_v="12.86")
    assert Outing.objects.filter(match=busy.matches["9"]).count() == 1


def test_128_for_12_8_is_caught_and_what_was_typed_stays(client, busy):
    answer = swap(client, busy, start_rest_v="128", out_end_rest_v="12.4")
    assert answer.status_code == 422
    page = text(answer)
    assert "Was it 12.8 V?" in page
    assert 'value="128"' in page
    assert 'value="12.4"' in page
    assert not Outing.objects.filter(match=busy.matches["9"]).exists()


def test_another_battery_than_planned_goes_in_and_the_plan_follows(client, busy):
    answer = swap(client, busy, "GP-04")
    page = text(answer)
    assert "The plan has GP-01 for match 9." in page
    assert "GP-04 is in Heron for match 9." in page
    step = current(busy).steps.get(match=busy.matches["9"])
    assert step.battery == busy.batteries["GP-04"]
    # It comes back 10 minutes into match 9 and cools for 20: match 10, 45 minutes later, needs it 15 before.
    assert current(busy).steps.get(match=busy.matches["10"]).battery != busy.batteries["GP-04"]


@pytest.mark.parametrize(("code", "words"), [("GP-06", "must not go out"), ("GP-05", "on Charger B")])
def test_what_is_not_fit_or_not_charged_goes_in_only_if_it_went_in_anyway(client, busy, code, words):
    refused = swap(client, busy, code)
    assert refused.status_code == 422
    assert words in text(refused)
    assert 'name="although_unfit" required' in text(refused)
    assert not Outing.objects.filter(match=busy.matches["9"]).exists()
    swap(client, busy, code, although_unfit="on")
    assert Outing.objects.get(match=busy.matches["9"]).battery.code == code
    assert not Charge.objects.filter(battery__code=code, ended_at=None).exists()


def test_a_low_start_voltage_is_said_and_logged(client, busy):
    assert "12.1 V at rest is not a charged battery." in text(swap(client, busy, start_rest_v="12.1"))
    assert Outing.objects.get(match=busy.matches["9"]).start_rest_v == 12.1


@pytest.mark.parametrize("code", ["GP-99", "", "heron"])
def test_a_code_of_no_battery_changes_nothing(client, busy, code):
    assert swap(client, busy, code).status_code == 422
    assert not Outing.objects.filter(match=busy.matches["9"]).exists()


def test_a_battery_comes_out_and_its_voltage_may_follow(client, busy):
    outing = Outing.objects.get(match=busy.matches["8"])
    assert "GP-02 came out of Heron." in text(enter(client, busy, "pit-out", outing=outing.pk))
    assert "Still to measure" in text(client.get(url(busy)))
    answer = enter(client, busy, "pit-out", outing=outing.pk, end_rest_v="12,44", lowest_v="10.1")
    assert "12.44 V at rest" in text(answer)
    outing.refresh_from_db()
    assert (outing.end_rest_v, outing.lowest_v, outing.in_robot) == (12.44, 10.1, False)


def test_who_carries_it_is_one_tap(client, busy):
    enter(client, busy, "pit-carrier", match=busy.matches["9"].pk, carrier="Wren")
    page = text(client.get(url(busy)))
    assert "<b>Wren</b> carries it." in page


@pytest.mark.parametrize("kind", ["hot", "lug"])
def test_a_pulled_battery_leaves_the_plan_whatever_the_reason(client, busy, kind):
    answer = enter(client, busy, "pit-pull", code="GP-01", kind=kind)
    assert "GP-01 is pulled" in text(answer)
    battery = busy.batteries["GP-01"]
    battery.refresh_from_db()
    assert battery.state == BatteryState.QUARANTINE
    assert BatteryIncident.objects.get(battery=battery).kind == kind
    step = current(busy).steps.get(match=busy.matches["9"])
    assert step.battery is None or step.battery.code != "GP-01"
    assert current(busy).reason == RotationPlan.Reason.BATTERIES
    assert "instead of GP-01" in text(answer)


def test_something_else_needs_words(client, busy):
    assert enter(client, busy, "pit-pull", code="GP-01", kind="other").status_code == 422
    assert "Say what happened" in text(enter(client, busy, "pit-pull", code="GP-01", kind="other"))
    assert enter(client, busy, "pit-pull", code="GP-01", kind="other", note="Smells").status_code == 200


def test_a_match_moves_alone_or_with_all_later_ones(client, busy):
    start = {number: match.starts_at for number, match in busy.matches.items()}
    answer = enter(client, busy, "pit-move", match=busy.matches["9"].pk, minutes="-20")
    assert "Match 9: 20 min earlier." in text(answer)
    now = {match.number: match.starts_at for match in Match.objects.filter(event=busy.event)}
    assert now["9"] == start["9"] - timedelta(minutes=20)
    assert now["10"] == start["10"]
    enter(client, busy, "pit-move", match=busy.matches["10"].pk, minutes="5", later="on")
    now = {match.number: match.starts_at for match in Match.objects.filter(event=busy.event)}
    assert now["10"] == start["10"] + timedelta(minutes=5)
    assert now["9"] == start["9"] - timedelta(minutes=20)


def test_two_people_move_a_match_once(client, busy):
    match = busy.matches["9"]
    match.save()  # its history begins
    seen, start = timezone.now().isoformat(), match.starts_at
    for _ in range(2):
        answer = enter(client, busy, "pit-move", match=match.pk, minutes="-20", seen=seen)
    assert "Somebody moved it already" in text(answer)
    match.refresh_from_db()
    assert match.starts_at == start - timedelta(minutes=20)


@pytest.mark.parametrize("minutes", ["0", "soon", "99999", ""])
def test_minutes_that_cannot_be_right_are_refused(client, busy, minutes):
    assert enter(client, busy, "pit-move", match=busy.matches["9"].pk, minutes=minutes).status_code == 422


def test_a_match_is_added_and_gets_a_battery(client, busy):
    at = timezone.localtime(busy.at(180))
    answer = enter(
        client, busy, "pit-add", number="F1", robot=busy.robot.pk, starts_at=f"{at:%Y-%m-%dT%H:%M}",
        importance="final",
    )  # fmt: skip
    assert "Match F1 is added." in text(answer)
    assert current(busy).steps.filter(match__number="F1").exists()
    twice = enter(
        client, busy, "pit-add", number="F1", robot=busy.robot.pk, starts_at=f"{at:%Y-%m-%dT%H:%M}",
        importance="final",
    )  # fmt: skip
    assert twice.status_code == 422


def test_a_match_is_called_off(client, busy):
    assert "Match 9 is called off" in text(enter(client, busy, "pit-off", match=busy.matches["9"].pk))
    assert "for match 10." in text(client.get(url(busy)))


def test_the_first_plan_is_one_tap(client):
    shop = make_pit(now=timezone.now())
    shop.match("1", 40)
    shop.ready("GP-01")
    client.force_login(shop.scope.user)
    assert "nothing is planned" in text(client.get(url(shop)))
    enter(client, shop, "pit-plan")
    assert current(shop).steps.get().battery == shop.batteries["GP-01"]


def test_an_auditor_looks_and_does_not_enter(client):
    shop = busy_pit(Role.AUDITOR, now=timezone.now())
    client.force_login(shop.scope.user)
    page = text(client.get(url(shop)))
    assert "Your role looks on" in page
    assert "/swap/" not in page
    assert "Plan anew" not in page
    for name in (
        "pit-swap",
        "pit-out",
        "pit-carrier",
        "pit-pull",
        "pit-move",
        "pit-add",
        "pit-off",
        "pit-plan",
    ):
        assert client.post(url(shop, name), {}).status_code == 403


def test_rows_of_another_team_are_no_choice(client, busy):
    other = busy_pit(now=timezone.now())
    taken = enter(client, busy, "pit-swap", code="GP-01", match=other.matches["9"].pk)
    assert taken.status_code == 422
    assert client.get(url(other)).status_code == 404


def test_the_list_goes_to_the_event_that_is_on(client, busy):
    where = reverse("pit-list", kwargs={"team": busy.scope.team.slug})
    assert client.get(where).headers["Location"] == url(busy)
    busy.event.starts_on = busy.event.ends_on = timezone.localdate() + timedelta(days=3)
    busy.event.save()
    assert "in 3 days" in text(client.get(where))
    busy.event.starts_on = busy.event.ends_on = timezone.localdate() - timedelta(days=3)
    busy.event.save()
    assert "No event is planned." in text(client.get(where))


def test_empty_pages_say_what_to_do(client):
    shop = make_pit(now=timezone.now(), batteries=0)
    client.force_login(shop.scope.user)
    assert "No match is entered." in text(client.get(url(shop)))
    shop.match("1", 30)
    page = text(client.get(url(shop)))
    assert "No battery is on the cart." in page
    assert "There is no plan yet." in page
    shop.matches["1"].starts_at = shop.at(-120)
    shop.matches["1"].save()
    over = text(client.get(url(shop)))
    assert "all matches are played" in over
    assert "See what was learned of each battery" in over


def test_the_queries_do_not_grow_with_the_event(client):
    small, large = busy_pit(now=timezone.now()), busy_pit(now=timezone.now())
    for i in range(20, 40):
        large.match(str(i), 200 + 10 * i)

    def count(shop: PitShop) -> int:
        client.force_login(shop.scope.user)
        client.get(url(shop))
        with CaptureQueriesContext(connection) as asked:
            client.get(url(shop))
        return len(asked)

    assert count(large) == count(small)
    assert count(small) <= 48
