"""Entries about batteries by page: quick, remembered, refused with the remedy, and never twice."""

from __future__ import annotations

from datetime import timedelta

import pytest
from django.utils import timezone

from inventory.models import Battery, CapacityTest, Charge, Reading
from inventory.services.batteries import battery_set_state
from shared.models import Role
from tests.inventory.pages import address, make_battery, text_of
from tests.inventory.stockroom import make_scope, make_team

pytestmark = pytest.mark.django_db


@pytest.fixture
def member(client):
    scope = make_scope(make_team())
    client.force_login(scope.user)
    return scope


@pytest.fixture
def battery(member):
    return make_battery(member, readings=6)


def log(client, scope, battery, **given: object):
    data = {"resistance_mohm": "14.5", "instrument": "Meter A", "method": "ac1k", "rest_v": "12.9", **given}
    return client.post(address(scope, "reading-new", battery.pk), data)


def test_a_reading_is_logged_and_a_double_tap_is_one(client, member, battery):
    for _ in range(2):
        assert log(client, member, battery).status_code == 302
    reading = Reading.objects.get(by=member.user)
    assert (reading.resistance_mohm, reading.instrument, reading.rest_v) == (14.5, "Meter A", 12.9)


def test_meter_method_and_recent_temperature_are_remembered(client, member, battery):
    log(client, member, battery, instrument_new="Meter Z", method="step", temperature_c="68 °F")
    initial = client.get(address(member, "reading-new", battery.pk)).context["form"].initial
    assert (initial["instrument"], initial["method"]) == ("Meter Z", "step")
    assert initial["temperature_c"] == pytest.approx(20)
    Reading.objects.filter(by=member.user).update(taken_at=timezone.now() - timedelta(days=2))
    assert (
        "temperature_c" not in client.get(address(member, "reading-new", battery.pk)).context["form"].initial
    )


@pytest.mark.parametrize(
    ("given", "field", "told"),
    [
        ({"resistance_mohm": "0.015"}, "resistance_mohm", "Was it in ohm? 0.015 ohm is 15 mohm."),
        ({"resistance_mohm": "15000"}, "resistance_mohm", "Was it in microohm?"),
        ({"resistance_mohm": "many"}, "resistance_mohm", "many"),
        ({"instrument": ""}, "instrument", "Say which meter"),
        ({"method": "guess"}, "method", "guess"),
        ({"rest_v": "-3"}, "rest_v", "A meter shows between 6 and 15 V"),
        ({"rest_v": "128"}, "rest_v", "Was it 12.8 V?"),
    ],
)
def test_a_slip_is_told_beside_its_field(client, member, battery, given, field, told):
    answer = log(client, member, battery, **given)
    assert answer.status_code == 422
    assert told in " ".join(answer.context["form"].errors[field])
    assert not Reading.objects.filter(by=member.user).exists()


def test_the_first_reading_of_a_team_asks_for_the_meter(client, member):
    fresh = make_battery(member, "B09")
    answer = log(client, member, fresh, instrument_new="")
    assert "instrument_new" in answer.context["form"].errors
    assert log(client, member, fresh, instrument_new="Meter A").status_code == 302


def test_the_form_warns_of_what_a_battery_can_do(client, member, battery):
    for name in ("reading-new", "capacity-new", "battery-state", "battery-detail", "battery-list"):
        pk = () if name == "battery-list" else (battery.pk,)
        assert "A lead-acid battery can hurt you." in text_of(client, address(member, name, *pk))
    for name in ("charge-start", "charge-end"):
        assert "Charging gives off gas." in text_of(client, address(member, name, battery.pk))


def test_on_the_charger_and_off_again(client, member, battery):
    start, end = (address(member, name, battery.pk) for name in ("charge-start", "charge-end"))
    for _ in range(2):
        assert client.post(start, {"charger": "Charger 3"}).status_code == 302
    assert "On Charger 3 since" in text_of(client, address(member, "battery-detail", battery.pk))
    other = client.post(start, {"charger": "Charger 4"})
    assert other.status_code == 422
    assert "End that charge first" in other.content.decode()
    assert client.post(end, {"returned_ah": "9.5"}).status_code == 302
    assert Charge.objects.get().returned_ah == 9.5
    assert "Charger 3</button>" in text_of(client, start)
    assert client.post(start, {"charger": "Charger 3", "purpose": "topup"}).status_code == 302
    assert Charge.objects.get(ended_at=None).purpose == "topup"
    second = make_battery(member, "B09")
    taken = client.get(address(member, "charge-start", second.pk)).content.decode()
    assert "Charger 3 has B01 on it" in taken
    assert "Charger 3</button>" not in taken


def test_a_quarantined_battery_is_not_charged(client, member, battery):
    battery_set_state(scope=member, battery=battery, state="quarantine", reason="swollen case")
    text = text_of(client, address(member, "charge-start", battery.pk))
    assert "must not be charged" in text
    assert "swollen case" in text
    assert client.post(address(member, "charge-start", battery.pk), {"charger": "1"}).status_code == 422
    assert not Charge.objects.exists()


def test_anyone_takes_a_battery_out_and_a_lead_returns_it(client, member, battery):
    url = address(member, "battery-state", battery.pk)
    answer = client.post(url, {"state": "quarantine", "reason": ""})
    assert "Say why the battery leaves service" in str(answer.context["form"].errors["reason"])
    assert client.post(url, {"state": "quarantine", "reason": "reads 38 mohm"}).status_code == 302
    assert client.post(url, {"state": "service"}).status_code == 422
    client.force_login(make_scope(member.team, Role.LEAD).user)
    assert client.post(url, {"state": "service", "reason": "tested"}).status_code == 302
    assert Battery.objects.get(pk=battery.pk).state == "service"
    text = text_of(client, address(member, "battery-detail", battery.pk))
    assert "Quarantined → In service" in text


def test_a_capacity_test_starts_at_the_rated_rate(client, member, battery):
    url = address(member, "capacity-new", battery.pk)
    initial = client.get(url).context["form"].initial
    assert (initial["current_a"], initial["end_v"]) == (0.9, 10.5)
    assert (
        client.post(url, {"capacity_ah": "16.2", "current_a": "900 mA", "end_v": "10.5"}).status_code == 302
    )
    assert CapacityTest.objects.get().current_a == pytest.approx(0.9)
    assert client.post(url, {"capacity_ah": "", "current_a": "-1", "end_v": "10.5"}).status_code == 422


def test_a_mistyped_reading_is_corrected_or_taken_out_and_history_keeps_it(client, member, battery):
    reading = Reading.objects.latest("taken_at")
    given = {
        "taken_at": "2026-05-11T09:00:00",
        "resistance_mohm": "14.9",
        "method": "ac1k",
        "instrument": "Meter A",
    }
    assert client.post(address(member, "reading-edit", reading.pk), given).status_code == 302
    reading.refresh_from_db()
    assert reading.resistance_mohm == 14.9
    assert client.post(address(member, "reading-delete", reading.pk)).status_code == 302
    assert not Reading.objects.filter(pk=reading.pk).exists()
    assert Reading.history.filter(id=reading.pk, history_type="-").get().history_user == member.user


def test_a_battery_is_judged_in_words_and_each_reading_left_out_says_why(client, member, battery):
    log(client, member, battery, resistance_mohm="19", rest_v="12.1")
    text = text_of(client, address(member, "battery-detail", battery.pk))
    assert "B01: cannot judge." in text
    assert "days old" in text
    assert "left out: battery not full" in text
    assert "<svg" in text
    fresh = make_battery(member, "B02")
    assert "No readings: take one charged full" in text_of(
        client, address(member, "battery-detail", fresh.pk)
    )


def test_an_auditor_reads_and_does_not_enter(client, member, battery):
    client.force_login(make_scope(member.team, Role.AUDITOR).user)
    assert "Log a reading" not in text_of(client, address(member, "battery-detail", battery.pk))
    for name in (
        "reading-new",
        "charge-start",
        "charge-end",
        "battery-state",
        "capacity-new",
        "battery-edit",
    ):
        assert client.get(address(member, name, battery.pk)).status_code == 403
        assert client.post(address(member, name, battery.pk)).status_code == 403


def test_a_battery_is_entered_and_edited(client, member, battery):
    given = {"code": "B50", "model": battery.model_id, "acquired_on": "2026-02-01", "cycles_at_intake": "0"}
    assert client.post(address(member, "battery-new"), given).status_code == 302
    again = client.post(address(member, "battery-new"), {**given, "serial": "another"})
    assert again.status_code == 422
    assert Battery.objects.filter(code="B50").count() == 1
