"""The charging board: what it shows, one tap on and off, taken back within a minute."""

from __future__ import annotations

from datetime import timedelta

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext
from django.urls import reverse
from django.utils import timezone

from builds.models import Outing
from builds.services.outings import outing_start
from compliance.selectors.charging import charging_board
from inventory.models import Battery, Charge, Charger
from inventory.services.charge_undo import charge_undo
from inventory.services.incidents import incident_log
from shared.errors import Conflict
from shared.labels.codes import Kind, label_text
from shared.models import Role
from tests.compliance.pit_shop import PitShop, busy_pit, make_pit

pytestmark = pytest.mark.django_db


@pytest.fixture
def busy(client) -> PitShop:
    made = busy_pit(now=timezone.now())
    Charge.objects.update(created_at=made.at(-30), updated_at=made.at(-30))
    client.force_login(made.scope.user)
    return made


def url(shop: PitShop, name: str = "charging-board") -> str:
    return reverse(name, kwargs={"team": shop.scope.team.slug})


def text(answer) -> str:
    return " ".join(answer.content.decode().split())


def tap(client, shop: PitShop, name: str, **data):
    return client.post(url(shop, name), data, follow=True)


def test_every_battery_stands_in_one_place_only(busy):
    board = charging_board(busy.scope, busy.event, busy.now)
    places = [row.battery.code for row in (*board.go, *board.waits, *board.in_robots)]
    places += [held.row.battery.code for held in board.held]
    places += [place.battery.code for place in board.places if place.battery]
    assert sorted(places) == sorted(busy.batteries)


def test_chargers_by_what_is_ready_next_and_the_free_ones(busy):
    board = charging_board(busy.scope, busy.event, busy.now)
    ready = [place.ready_at for place in board.places if place.ready_at]
    assert len(ready) == 2
    assert ready == sorted(ready)
    assert [charger.name for charger in board.free] == ["Charger C"]
    assert board.next_ready == board.places[0]


def test_the_page_answers_at_the_top_and_shows_clock_times(client, busy):
    page = text(client.get(url(busy)))
    assert "2 batteries may go out now." in page
    board = charging_board(busy.scope, busy.event, busy.now)
    assert f"{timezone.localtime(board.places[0].ready_at):%H:%M}" in page
    assert "Dropped at load-in" in page
    assert "do not charge" in page
    assert 'name="code"' in page
    assert "data-countdown" in page


def test_the_board_renews_itself_without_the_scan_field(client, busy):
    part = text(client.get(url(busy), headers={"HX-Request": "true"}))
    assert 'id="board-answer" hx-swap-oob="true"' in part
    assert "<html" not in part
    assert 'name="code"' not in part


@pytest.mark.parametrize("typed", ["GP-07", "gp07", "label"])
def test_scan_a_battery_tap_a_charger_done(client, busy, typed):
    code = label_text(Kind.BATTERY, "GP-07") if typed == "label" else typed
    page = text(client.get(url(busy), {"code": code}))
    assert "Tap the charger it hangs on" in page
    battery, charger = busy.batteries["GP-07"], busy.chargers["C"]
    answer = tap(client, busy, "charging-on", battery=battery.pk, charger=charger.pk)
    assert "GP-07 is on Charger C." in text(answer)
    assert Charge.objects.get(battery=battery, ended_at=None).charger == charger


def test_a_second_tap_is_no_second_charge(client, busy):
    battery, charger = busy.batteries["GP-07"], busy.chargers["C"]
    for _ in range(2):
        tap(client, busy, "charging-on", battery=battery.pk, charger=charger.pk)
    assert Charge.objects.filter(battery=battery).count() == 1


def test_a_new_charger_is_made_by_the_name_on_it(client, busy):
    tap(client, busy, "charging-on", battery=busy.batteries["GP-07"].pk, charger_name="Blue one")
    assert Charger.objects.get(name="Blue one").charges.get().battery.code == "GP-07"


def test_one_that_hangs_on_a_charger_is_taken_off(client, busy):
    assert "Take it off Charger A" in text(client.get(url(busy), {"code": "GP-03"}))
    answer = tap(client, busy, "charging-off", battery=busy.batteries["GP-03"].pk)
    assert "GP-03 is off Charger A." in text(answer)
    assert not Charge.objects.filter(battery__code="GP-03", ended_at=None).exists()


def test_one_that_the_log_has_in_a_robot_counts_as_taken_out(client, busy):
    assert "The log has it in Heron" in text(client.get(url(busy), {"code": "GP-02"}))
    tap(client, busy, "charging-on", battery=busy.batteries["GP-02"].pk, charger=busy.chargers["C"].pk)
    outing = Outing.objects.get(battery__code="GP-02", match__number="8")
    assert not outing.in_robot
    assert outing.ended_at is not None


def test_what_must_not_be_charged_has_no_button(client, busy):
    page = text(client.get(url(busy), {"code": "GP-06"}))
    assert "Must not be charged" in page
    assert "Tap the charger" not in page
    answer = tap(
        client, busy, "charging-on", battery=busy.batteries["GP-06"].pk, charger=busy.chargers["C"].pk
    )
    assert answer.status_code == 400
    assert "must not be charged" in text(answer)


def test_a_charger_that_is_taken_is_refused_in_words(client, busy):
    answer = tap(
        client, busy, "charging-on", battery=busy.batteries["GP-07"].pk, charger=busy.chargers["A"].pk
    )
    assert answer.status_code == 409
    assert "GP-03 is on Charger A" in text(answer)


@pytest.mark.parametrize("code", ["GP-99", "B:GP-07:0", "heron", "?"])
def test_what_is_no_battery_is_said_so(client, busy, code):
    answer = client.get(url(busy), {"code": code})
    assert answer.status_code == 200
    assert 'role="alert"' in text(answer)


def test_undo_of_a_start_and_of_an_end(client, busy):
    tap(client, busy, "charging-on", battery=busy.batteries["GP-07"].pk, charger=busy.chargers["C"].pk)
    made = Charge.objects.get(battery__code="GP-07")
    assert "GP-07 went on Charger C just now" in text(client.get(url(busy)))
    answer = tap(client, busy, "charging-undo", charge=made.pk)
    assert "GP-07 was not put on Charger C." in text(answer)
    assert not Charge.objects.filter(pk=made.pk).exists()
    assert "taken back already" in text(tap(client, busy, "charging-undo", charge=made.pk))

    tap(client, busy, "charging-off", battery=busy.batteries["GP-03"].pk)
    ended = Charge.objects.filter(battery__code="GP-03").latest("started_at")
    tap(client, busy, "charging-undo", charge=ended.pk, what="end")
    ended.refresh_from_db()
    assert ended.ended_at is None


def test_a_second_tap_on_undo_of_an_end_does_not_take_back_the_whole_charge(client, busy):
    charge = Charge.objects.get(battery__code="GP-03", ended_at=None)
    tap(client, busy, "charging-off", battery=charge.battery_id)
    for _ in range(2):
        answer = tap(client, busy, "charging-undo", charge=charge.pk, what="end")
        assert "GP-03 is still on Charger A." in text(answer)
    # Back on since a quarter of an hour: nothing of a moment ago is left to take back.
    assert "GP-03 went on Charger A just now" not in text(client.get(url(busy)))
    assert tap(client, busy, "charging-undo", charge=charge.pk, what="start").status_code == 409
    assert Charge.objects.get(pk=charge.pk).ended_at is None


def test_a_charge_that_ended_by_a_swap_or_an_incident_is_not_taken_back(client, busy):
    swapped, hot = (Charge.objects.get(battery__code=code, ended_at=None) for code in ("GP-03", "GP-05"))
    outing_start(scope=busy.scope, battery=swapped.battery, match=busy.matches["9"])
    incident_log(scope=busy.scope, battery=hot.battery, kind="hot")
    page = text(client.get(url(busy)))
    for charge, why in ((swapped, "GP-03 went out at"), (hot, "must not be charged")):
        assert f"{charge.battery.code} came off" not in page
        answer = tap(client, busy, "charging-undo", charge=charge.pk, what="end")
        assert answer.status_code == 409
        assert why in text(answer)
        assert Charge.objects.get(pk=charge.pk).ended_at is not None


def test_no_undo_after_a_minute_nor_onto_a_charger_that_is_taken(busy):
    charge = Charge.objects.get(battery__code="GP-03", ended_at=None)
    with pytest.raises(Conflict, match="more than a minute ago"):
        charge_undo(scope=busy.scope, charge=charge, end=False, now=charge.updated_at + timedelta(minutes=2))
    charge.ended_at = busy.now
    charge.save()
    busy.charge("GP-07", "A", -1)
    with pytest.raises(Conflict, match="GP-07 is on Charger A by now"):
        charge_undo(scope=busy.scope, charge=charge, end=True, now=busy.at(0.5))


def test_an_auditor_looks_and_does_not_enter(client):
    shop = busy_pit(Role.AUDITOR, now=timezone.now())
    client.force_login(shop.scope.user)
    page = text(client.get(url(shop), {"code": "GP-07"}))
    assert "Your role may look, not enter" in page
    assert "/charging/on/" not in page
    assert "/charging/undo/" not in page
    answer = tap(
        client, shop, "charging-on", battery=shop.batteries["GP-07"].pk, charger=shop.chargers["C"].pk
    )
    assert answer.status_code == 403
    assert not Charge.objects.filter(battery__code="GP-07").exists()


def test_another_teams_battery_is_not_found(client, busy):
    other = make_pit()
    answer = tap(
        client, busy, "charging-on", battery=other.batteries["GP-01"].pk, charger=busy.chargers["C"].pk
    )
    assert answer.status_code == 404


def test_nothing_entered_says_what_to_do(client):
    empty = make_pit(batteries=0)
    client.force_login(empty.scope.user)
    assert "There is no battery on this cart." in text(client.get(url(empty)))
    some = make_pit(now=timezone.now())
    Charger.objects.all().delete()
    client.force_login(some.scope.user)
    assert "No charger is entered." in text(client.get(url(some)))


def test_the_queries_do_not_grow_with_the_cart(client):
    small, large = busy_pit(now=timezone.now()), busy_pit(now=timezone.now())
    for i in range(10, 30):
        Battery.objects.create(
            team=large.scope.team, code=f"X-{i}", model=large.shop.block, acquired_on=large.now.date()
        )

    def count(shop: PitShop) -> int:
        client.force_login(shop.scope.user)
        client.get(url(shop))
        with CaptureQueriesContext(connection) as asked:
            client.get(url(shop))
        return len(asked)

    assert count(large) == count(small)
    assert count(small) <= 40
