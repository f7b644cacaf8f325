"""Pages of a battery's life: intake, chargers, incidents, retirement."""

from __future__ import annotations

from datetime import timedelta

import pytest
from django.utils import timezone

from inventory.models import Battery, BatteryIncident, Charge, Charger, Reading
from inventory.services.batteries import charge_start
from inventory.services.incidents import incident_log
from shared.access import Scope
from shared.models import Role
from tests.inventory.pages import address, make_battery, text_of
from tests.inventory.stockroom import make_scope, make_team

pytestmark = pytest.mark.django_db


@pytest.fixture
def member() -> Scope:
    return make_scope(make_team("Gull Point"))


@pytest.fixture
def battery(client, member) -> Battery:
    client.force_login(member.user)
    return make_battery(member)


def new(battery, **more) -> dict[str, object]:
    return {
        "code": "B50", "model": battery.model_id, "acquired_on": "2026-02-01", "cycles_at_intake": "0", **more,
    }  # fmt: skip


MEASURED = {
    "rest_v": "12,81", "rest_h": "8", "resistance_mohm": "14.2", "instrument_new": "Bench 1", "method": "ac1k",
    "temperature_c": "21",
}  # fmt: skip


def test_a_battery_joins_with_its_first_reading_and_charge_in_one_go(client, member, battery):
    page = address(member, "battery-new")
    given = new(battery, **MEASURED, charger_new="Pit 1")
    for _ in range(2):
        answer = client.post(page, given, follow=True)
        assert answer.status_code == 200, answer.context["form"].errors
    made = Battery.objects.get(code="B50")
    reading, charge = Reading.objects.get(battery=made), Charge.objects.get(battery=made)
    assert (reading.rest_v, reading.resistance_mohm, reading.instrument) == (12.81, 14.2, "Bench 1")
    assert (charge.charger.name, charge.purpose, charge.ended_at) == ("Pit 1", "first", None)
    assert "Battery B50 added, 14.2 mΩ noted, on Pit 1." in answer.content.decode()


def test_a_battery_that_served_before_is_not_on_its_first_charge(client, member, battery):
    given = new(battery, cycles_at_intake="40", charger_new="Pit 1")
    assert client.post(address(member, "battery-new"), given).status_code == 302
    assert Charge.objects.get().purpose == "use"


def test_a_rest_voltage_alone_is_kept_as_a_note(client, member, battery):
    given = new(battery, rest_v="12.4", rest_h="24", notes="From the sponsor")
    assert client.post(address(member, "battery-new"), given).status_code == 302
    notes = Battery.objects.get(code="B50").notes
    assert notes == f"From the sponsor\nOn arrival, {timezone.localdate()}: 12.4 V at rest after 24 h."
    assert not Reading.objects.exists()


@pytest.mark.parametrize(
    ("given", "field", "words"),
    [
        ({"resistance_mohm": "0.0142"}, "resistance_mohm", "Was it in ohm? 0.0142 ohm is 14.2 mohm"),
        ({"rest_v": "128"}, "rest_v", "Was it 12.8 V?"),
        ({"instrument_new": ""}, "instrument", "with which meter"),
        ({"method": ""}, "method", "how it was measured"),
        ({"code": "B01"}, "code", ""),
    ],
)
def test_a_slip_changes_nothing_and_stands_beside_its_field(client, member, battery, given, field, words):
    answer = client.post(
        address(member, "battery-new"), new(battery, **{**MEASURED, **given, "charger_new": "1"})
    )
    assert answer.status_code == 422
    errors = answer.context["form"].errors
    told = " ".join(errors.get(field) or errors.get("__all__", []))
    assert told
    assert words in told
    assert (Battery.objects.count(), Reading.objects.count(), Charger.objects.count()) == (1, 0, 0)


def test_a_taken_charger_is_not_offered_and_typing_it_adds_nothing(client, member, battery):
    charge_start(scope=member, battery=battery, charger="Pit 1")
    Charger.objects.create(team=member.team, name="Pit 2")
    page = address(member, "battery-new")
    offered = [value for value, _ in client.get(page).context["form"].fields["charger"].choices]
    assert offered == ["", "Pit 2"]
    refused = client.post(page, new(battery, charger_new="Pit 1"))
    assert "B01 is on Pit 1 since" in refused.content.decode()
    assert not Battery.objects.filter(code="B50").exists()


def test_intake_says_what_comes_next_and_warns(client, member, battery):
    text = text_of(client, address(member, "battery-new"))
    for words in (
        "What comes next",
        "three readings for the baseline",
        "Charging gives off gas",
        "can hurt you",
    ):
        assert words in text


def test_chargers_are_listed_with_what_is_on_them(client, member, battery):
    page = address(member, "charger-list")
    assert "No charger." in text_of(client, page)
    given = {"name": "Pit 1", "current_a": "6", "absorption_min": "1 h"}
    assert client.post(address(member, "charger-new"), given).status_code == 302
    charge_start(scope=member, battery=battery, charger="Pit 2")
    text = text_of(client, page)
    assert "2 chargers, 1 in use." in text
    assert "1 tells no current" in text
    assert "B01" in text
    again = client.post(address(member, "charger-new"), given)
    assert again.status_code == 422
    semicolon = client.post(address(member, "charger-new"), {"name": "Pit; 1"})
    assert "has no semicolon" in str(semicolon.context["form"].errors["name"])
    row = Charger.objects.get(name="Pit 2")
    client.post(address(member, "charger-edit", row.pk), {"name": "Pit 2", "current_a": "5.4 A"})
    assert Charger.objects.get(pk=row.pk).current_a == pytest.approx(5.4)


def test_an_archived_charger_takes_no_battery(client, member, battery):
    row = Charger.objects.create(team=member.team, name="Pit 1")
    client.force_login(make_scope(member.team, Role.LEAD).user)
    client.post(address(member, "charger-archive", row.pk))
    refused = client.post(address(member, "charge-start", battery.pk), {"charger": "Pit 1"})
    assert "Pit 1 is not in use any more" in refused.content.decode()


def test_one_tap_notes_an_incident_and_quarantines(client, member, battery):
    charge_start(scope=member, battery=battery, charger="Pit 1")
    page = address(member, "incident-new", battery.pk)
    text = text_of(client, page)
    assert "Hands off first." in text
    assert "baking soda" in text
    for _ in range(2):
        answer = client.post(page, {"kind": "swollen", "note": "left side"}, follow=True)
    assert "It is in quarantine." in answer.content.decode()
    assert BatteryIncident.objects.count() == 1
    assert Charge.objects.get().ended_at is not None
    assert "Swollen" in text_of(client, page)


def test_an_incident_noted_later_has_its_time_and_a_slip_is_told(client, member, battery):
    page = address(member, "incident-new", battery.pk)
    when = timezone.localtime() - timedelta(hours=3)
    given = {"kind": "hot", "temperature_c": "61", "happened_at": f"{when:%Y-%m-%dT%H:%M}"}
    assert client.post(page, given).status_code == 302
    assert BatteryIncident.objects.get().happened_at == when.replace(second=0, microsecond=0)
    for wrong, field in (
        ({"kind": "other"}, "note"),
        ({"kind": "hot", "temperature_c": "610"}, "temperature_c"),
    ):
        answer = client.post(page, wrong)
        assert (answer.status_code, list(answer.context["form"].errors)) == (422, [field])


def test_a_lead_writes_down_what_was_found(client, member, battery):
    made = incident_log(scope=member, battery=battery, kind="dropped")
    page = address(member, "incident-close", made.pk)
    assert client.get(page).status_code == 403
    client.force_login(make_scope(member.team, Role.LEAD).user)
    assert "Dropped, " not in text_of(client, page)
    assert "What to look at" in text_of(client, page)
    assert client.post(page, {"finding": ""}).status_code == 422
    answer = client.post(page, {"finding": "whole, 14.1 mΩ", "back_in_service": "on"}, follow=True)
    assert "It is back in service." in answer.content.decode()
    battery.refresh_from_db()
    assert battery.state == "service"


def test_retirement_has_a_reason_and_says_where_it_goes(client, member, battery):
    page = address(member, "battery-retire", battery.pk)
    text = text_of(client, page)
    assert "lead recycler" in text
    assert "UN 2800" in text
    assert client.post(page, {"why": "Other"}).status_code == 422
    for _ in range(2):
        answer = client.post(page, {"why": "Capacity", "detail": "13.1 of 18 Ah"}, follow=True)
    assert "is retired (Capacity: 13.1 of 18 Ah)" in answer.content.decode()
    battery.refresh_from_db()
    assert (battery.state, battery.state_reason) == ("retired", "Capacity: 13.1 of 18 Ah")
