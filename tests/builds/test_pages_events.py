"""Events, matches and outings by page: what comes next, what it will eat, which battery went out."""

from __future__ import annotations

from datetime import timedelta
from decimal import Decimal

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext
from django.urls import reverse
from django.utils import timezone

from builds.models import Event, Match, Outing
from inventory.models import BatteryState, Charger, Offer, Supplier
from shared.models import Role
from tests.builds.workshop import make_build, make_circuit, make_event, make_robot, make_workshop
from tests.compliance.flagged import make_battery
from tests.inventory.stockroom import make_scope

pytestmark = pytest.mark.django_db


@pytest.fixture
def shop(client):
    made = make_workshop(Role.LEAD)
    client.force_login(made.scope.user)
    return made


@pytest.fixture
def event(shop):
    today = timezone.localdate()
    robot = make_build(shop).robot
    return make_event(
        shop, "Estuary Open", today + timedelta(days=12), [robot], goods_by=today + timedelta(days=9)
    )


def url(shop, name, **kwargs):
    return reverse(name, kwargs={"team": shop.team.slug, **kwargs})


def make_match(shop, event, number="1", **values):
    given = {"starts_at": timezone.now() - timedelta(hours=1), **values}
    return Match.objects.create(team=shop.team, event=event, robot=event.robots.get(), number=number, **given)


def queries(client, where):
    with CaptureQueriesContext(connection) as asked:
        assert client.get(where).status_code == 200
    return len(asked)


def test_the_next_event_stands_first_with_its_countdown(client, shop, event):
    today = timezone.localdate()
    make_event(shop, "Later", today + timedelta(days=40), [])
    make_event(shop, "Over", today - timedelta(days=40), [])
    answer = client.get(url(shop, "event-list"))
    assert "Estuary Open starts in 12 days." in answer.content.decode()
    assert [(e.name, days) for e, days in answer.context["ahead"]] == [("Estuary Open", 12), ("Later", 40)]
    assert [e.name for e in answer.context["page_obj"]] == ["Over"]


def test_without_events_the_list_says_what_one_is_good_for(client, shop):
    text = client.get(url(shop, "event-list")).content.decode()
    assert "No event is planned." in text
    assert url(shop, "event-new") in text


def test_an_event_shows_what_is_short_and_by_when_to_order_it(client, shop, event):
    make_circuit(shop, event.robots.get().builds.get(), "C1", device_fitted=False)
    answer = client.get(url(shop, "event-detail", pk=event.pk))
    text = answer.content.decode()
    assert "1 of 1 part it will eat is short" in text
    assert "no offer known" in text
    assert "Repairs cannot be judged" in text
    supplier = Supplier.objects.create(team=shop.team, name="Harbour Supplies")
    Offer.objects.create(
        team=shop.team, part=shop.fuse, supplier=supplier, price=Decimal(3), pack_size=Decimal(5),
        lead_time_days=4,
    )  # fmt: skip
    answer = client.get(url(shop, "event-detail", pk=event.pk))
    row = answer.context["needs"].rows[0]
    assert (row.part.code, row.short, row.advice.packs) == ("F30", 1, 1)
    assert row.advice.last_day == event.goods_by - timedelta(days=4)
    assert f"{row.advice.last_day:%Y-%m-%d}" in answer.content.decode()


def test_a_past_event_tells_what_was_done_instead(client, shop):
    today = timezone.localdate()
    over = make_event(shop, "Over", today - timedelta(days=40), [make_robot(shop)])
    match = make_match(shop, over, starts_at=timezone.now() - timedelta(days=40))
    Outing.objects.create(
        team=shop.team, battery=make_battery(shop.team, "B01"), match=match, started_at=match.starts_at
    )
    answer = client.get(url(shop, "event-detail", pk=over.pk))
    assert "1 outing in 1 match" in answer.content.decode()
    assert answer.context["needs"] is None


def test_an_event_is_saved_with_the_robots_that_go(client, shop):
    robot = make_robot(shop)
    given = {
        "name": "Harbour Cup", "starts_on": "2027-03-01", "ends_on": "2027-03-02", "matches_planned": "8",
        "robots": [robot.pk],
    }  # fmt: skip
    answer = client.post(url(shop, "event-new"), given)
    made = Event.objects.get()
    assert answer.url == url(shop, "event-detail", pk=made.pk)
    assert list(made.robots.all()) == [robot]
    client.post(url(shop, "event-edit", pk=made.pk), {**given, "robots": []})
    assert not made.robots.exists()


@pytest.mark.parametrize(
    ("wrong", "told"),
    [
        ({"ends_on": "2027-02-01"}, "cannot end before it starts"),
        ({"goods_by": "2027-04-01"}, "Goods must be here before the event starts"),
        ({"matches_planned": "many"}, "whole number"),
    ],
)
def test_a_wrong_event_is_told_in_words(client, shop, wrong, told):
    given = {"name": "Cup", "starts_on": "2027-03-01", "ends_on": "2027-03-02", "matches_planned": "8"}
    answer = client.post(url(shop, "event-new"), {**given, **wrong})
    assert answer.status_code == 422
    assert told in answer.content.decode()
    assert not Event.objects.exists()


def test_events_are_for_the_lead_and_matches_for_members(client, shop, event):
    client.force_login(make_scope(shop.team, Role.MEMBER).user)
    assert client.get(url(shop, "event-edit", pk=event.pk)).status_code == 403
    given = {"robot": event.robots.get().pk, "number": "7", "starts_at": "2027-03-01T10:00:00"}
    answer = client.post(url(shop, "match-new", pk=event.pk), {**given, "importance": "round"})
    assert answer.status_code == 302
    assert Match.objects.get().number == "7"
    client.force_login(make_scope(shop.team, Role.AUDITOR).user)
    assert client.get(url(shop, "match-new", pk=event.pk)).status_code == 403


def test_only_robots_that_go_have_matches(client, shop, event):
    stays = make_robot(shop)
    given = {"robot": stays.pk, "number": "7", "starts_at": "2027-03-01T10:00:00", "importance": "round"}
    answer = client.post(url(shop, "match-new", pk=event.pk), given)
    assert answer.status_code == 422
    assert "robot" in answer.context["form"].errors


def test_a_battery_goes_out_for_a_match(client, shop, event):
    match, battery = make_match(shop, event), make_battery(shop.team, "B01")
    page = client.get(url(shop, "outing-new"), {"match": match.pk})
    assert page.context["form"]["match"].value() == str(match.pk)
    answer = client.post(
        url(shop, "outing-new"), {"match": match.pk, "battery": battery.pk, "start_rest_v": "12.9 V"}
    )
    made = Outing.objects.get()
    assert answer.url == url(shop, "event-detail", pk=event.pk)
    assert (made.robot, made.start_rest_v, made.by) == (match.robot, 12.9, shop.scope.user)
    assert battery.code in client.get(answer.url).content.decode()
    later = client.post(url(shop, "outing-edit", pk=made.pk), {"end_rest_v": "12.4", "start_rest_v": "12.9"})
    made.refresh_from_db()
    assert (later.status_code, made.end_rest_v) == (302, 12.4)


def test_a_battery_out_of_service_is_refused_unless_it_has_been_out(client, shop, event):
    match, battery = make_match(shop, event), make_battery(shop.team, "B01")
    battery.state, battery.state_reason = BatteryState.QUARANTINE, "swollen"
    battery.save()
    given = {"match": match.pk, "battery": battery.pk}
    assert "B01, quarantine" in client.get(url(shop, "outing-new")).content.decode()
    refused = client.post(url(shop, "outing-new"), given)
    assert refused.status_code == 422
    assert "swollen" in str(refused.context["form"].errors["battery"])
    client.post(url(shop, "outing-new"), {**given, "although_out_of_service": "on"})
    assert Outing.objects.get().battery == battery


def test_the_outing_page_carries_the_battery_caution_and_says_when_there_is_none(client, shop):
    text = client.get(url(shop, "outing-new")).content.decode()
    assert "No battery is entered yet." in text
    assert "A lead-acid battery can hurt you." in text


def test_long_lists_take_no_more_queries(client, shop, event):
    today = timezone.localdate()
    build = event.robots.get().builds.get()

    def grow(first, last):
        for n in range(first, last):
            make_event(shop, f"Ahead {n}", today + timedelta(days=50 + n), [build.robot])
            make_event(shop, f"Past {n}", today - timedelta(days=50 + n), [build.robot])
            match = make_match(shop, event, f"M{n}")
            battery = make_battery(shop.team, f"B{n}")
            Outing.objects.create(
                team=shop.team, battery=battery, match=match, started_at=match.starts_at, robot=build.robot
            )
            make_circuit(shop, build, f"C{n}", device_fitted=False)

    grow(0, 2)
    pages = [url(shop, "event-list"), url(shop, "event-detail", pk=event.pk), url(shop, "outing-new")]
    for page in pages:
        client.get(page)
    two = [queries(client, page) for page in pages]
    grow(2, 50)
    assert [queries(client, page) for page in pages] == two


def test_just_now_into_a_robot_is_a_swap_and_comes_out_again(client, shop):
    robot = make_robot(shop)
    battery = make_battery(shop.team, "B01")
    given = {"battery": battery.pk, "robot": robot.pk, "start_rest_v": "12,81"}
    for _ in range(2):
        answer = client.post(url(shop, "outing-new"), given, follow=True)
    made = Outing.objects.get()
    assert (made.in_robot, made.start_rest_v) == (True, 12.81)
    assert f"B01 is in {robot}." in answer.content.decode()
    end = url(shop, "outing-end", pk=made.pk)
    assert f"B01 comes out of {robot}" in client.get(end).content.decode()
    slip = client.post(end, {"end_rest_v": "124"})
    assert "Was it 12.4 V?" in str(slip.context["form"].errors["end_rest_v"])
    assert client.post(end, {"lowest_v": "9.1"}).status_code == 302
    assert client.post(end, {"end_rest_v": "12.4"}).status_code == 302
    made.refresh_from_db()
    assert (made.in_robot, made.lowest_v, made.end_rest_v) == (False, 9.1, 12.4)
    assert "is out" in client.get(end).content.decode()


def test_what_goes_and_how_it_is_handled_stands_on_the_event(client, shop):
    event = make_event(shop, "Open", timezone.localdate(), [make_robot(shop)])
    page = url(shop, "event-detail", pk=event.pk)
    assert "all in service" in client.get(page).content.decode()
    assert "common practice, nothing entered" in client.get(page).content.decode()
    battery, charger = make_battery(shop.team, "B01"), Charger.objects.create(team=shop.team, name="Pit 1")
    given = {
        "name": "Open", "starts_on": event.starts_on, "ends_on": event.ends_on, "matches_planned": 10,
        "batteries": [battery.pk], "chargers": [charger.pk],
    }  # fmt: skip
    assert client.post(url(shop, "event-edit", pk=event.pk), given).status_code == 302
    assert (list(event.batteries.all()), list(event.chargers.all())) == ([battery], [charger])
    handling = url(shop, "handling-edit", pk=event.pk)
    fields = {"ready_before_min": 15, "back_after_min": 10, "absorption_min": 60, "rest_min": 5}
    refused = client.post(handling, {**fields, "cool_min": 9999, "least_charge_frac": "90 %"})
    assert "cannot be right" in str(refused.context["form"].errors["cool_min"])
    for _ in range(2):
        done = client.post(handling, {**fields, "cool_min": "30 min", "least_charge_frac": "90 %"})
        assert done.status_code == 302
    text = client.get(page).content.decode()
    assert "cools" in text
    assert "nothing entered" not in text
    assert "Pit 1" in text
