"""Incidents of batteries: quarantine with the same entry, and what a qualified adult makes of it."""

from __future__ import annotations

from datetime import timedelta

import pytest
from django.utils import timezone

from inventory.models import Battery, BatteryIncident, Charge
from inventory.services.batteries import battery_set_state, charge_start
from inventory.services.incidents import incident_close, incident_log
from shared.access import Scope
from shared.errors import Conflict, DomainError, NotAllowed
from shared.models import Role
from tests.inventory.stockroom import make_scope, make_team
from tests.inventory.test_batteries import make_battery

pytestmark = pytest.mark.django_db


@pytest.fixture
def scope() -> Scope:
    return make_scope(make_team())


@pytest.fixture
def lead(scope) -> Scope:
    return Scope(scope.user, scope.team, Role.LEAD)


@pytest.fixture
def battery(scope) -> Battery:
    return make_battery(scope)


def log(scope, battery, kind="dropped", **more) -> BatteryIncident:
    return incident_log(scope=scope, battery=battery, kind=kind, **more)


@pytest.mark.parametrize("kind", sorted(BatteryIncident.QUARANTINES))
def test_after_a_grave_one_it_is_in_quarantine_and_off_its_charger(scope, battery, kind):
    charge_start(scope=scope, battery=battery, charger="1")
    made = log(scope, battery, kind, note="from the cart")
    battery.refresh_from_db()
    assert battery.state == "quarantine"
    assert battery.state_reason.startswith(made.get_kind_display())
    assert Charge.objects.get().ended_at is not None
    with pytest.raises(DomainError, match="must not be charged"):
        charge_start(scope=scope, battery=battery, charger="1")


@pytest.mark.parametrize("kind", ["flat", "lug", "other"])
def test_a_lesser_one_leaves_it_where_it_is(scope, battery, kind):
    charge_start(scope=scope, battery=battery, charger="1")
    log(scope, battery, kind, note="as seen")
    battery.refresh_from_db()
    assert battery.state == "service"
    assert Charge.objects.get().ended_at is None


def test_a_second_tap_is_one_incident(scope, battery):
    first = log(scope, battery)
    assert log(scope, battery) == first
    assert log(scope, battery, happened_at=first.happened_at) == first
    assert log(scope, battery, "hot", temperature_c=61) != first
    battery.refresh_from_db()
    assert "; Hot" in battery.state_reason


def test_a_retired_battery_stays_retired(scope, battery):
    battery_set_state(scope=scope, battery=battery, state="retired", reason="worn")
    log(scope, battery, "leaking")
    battery.refresh_from_db()
    assert (battery.state, battery.state_reason) == ("retired", "worn")


@pytest.mark.parametrize(
    ("given", "field", "words"),
    [
        ({"kind": "sad"}, "kind", "is no kind of incident"),
        ({"kind": "other"}, "note", "Say what happened"),
        ({"temperature_c": 450.0}, "temperature_c", "450 °C cannot be"),
        ({"happened_at": timezone.now() + timedelta(days=1)}, "at", "lies in the future"),
    ],
)
def test_what_cannot_be_is_refused_and_changes_nothing(scope, battery, given, field, words):
    with pytest.raises(DomainError, match=words) as refused:
        log(scope, battery, **{"kind": "hot", **given})
    assert refused.value.field == field
    battery.refresh_from_db()
    assert (BatteryIncident.objects.count(), battery.state) == (0, "service")


def test_a_lead_closes_it_with_what_was_found(scope, lead, battery):
    made = log(scope, battery)
    with pytest.raises(NotAllowed):
        incident_close(scope=scope, incident=made, finding="whole")
    with pytest.raises(DomainError, match="Say what was found"):
        incident_close(scope=lead, incident=made, finding=" ")
    closed = incident_close(scope=lead, incident=made, finding="whole, 14.1 mohm")
    battery.refresh_from_db()
    assert (closed.finding, closed.looked_at is None, battery.state) == (
        "whole, 14.1 mohm",
        False,
        "quarantine",
    )
    # The same said twice is one finding; the return may follow.
    incident_close(scope=lead, incident=made, finding="whole, 14.1 mohm", back_in_service=True)
    battery.refresh_from_db()
    assert (battery.state, battery.state_reason) == ("service", "")
    assert battery.history.first().history_change_reason == "whole, 14.1 mohm"
    with pytest.raises(Conflict, match="looked at on"):
        incident_close(scope=lead, incident=made, finding="cracked")


def test_nothing_goes_back_while_another_one_is_open(scope, lead, battery):
    first, second = log(scope, battery), log(scope, battery, "swollen")
    with pytest.raises(Conflict, match="another open incident: swollen"):
        incident_close(scope=lead, incident=first, finding="whole", back_in_service=True)
    first.refresh_from_db()
    assert first.looked_at is None
    with pytest.raises(Conflict, match="Nobody has looked at B01"):
        battery_set_state(scope=lead, battery=battery, state="service", reason="fine")
    incident_close(scope=lead, incident=first, finding="whole")
    incident_close(scope=lead, incident=second, finding="was always so", back_in_service=True)
    battery.refresh_from_db()
    assert battery.state == "service"


def test_quarantine_and_retirement_end_an_open_charge(scope, battery):
    charge_start(scope=scope, battery=battery, charger="1")
    battery_set_state(scope=scope, battery=battery, state="retired", reason="74 % capacity")
    assert Charge.objects.get().ended_at is not None
