"""Readings, charges, capacity tests and states of batteries."""

from __future__ import annotations

from datetime import date, timedelta
from typing import Any

import pytest
from django.core.exceptions import ValidationError
from django.utils import timezone

from inventory.models import Battery, BatteryModel, Charge, Reading
from inventory.selectors.batteries import (
    battery_series,
    battery_table,
    chargers,
    cycles_since_intake,
    instruments_used,
)
from inventory.services.batteries import (
    battery_set_state,
    capacity_test_log,
    charge_end,
    charge_start,
    reading_log,
)
from shared.access import Scope
from shared.errors import Conflict, DomainError, NotAllowed
from shared.models import JobRun, Role
from tests.inventory.stockroom import make_scope, make_team

pytestmark = pytest.mark.django_db


def make_model(team) -> BatteryModel:
    model = BatteryModel(team=team, code="AGM18", name="AGM 18 Ah", chemistry="agm", capacity_ah=18)
    model.full_clean()
    model.save()
    return model


def make_battery(scope: Scope, code: str = "B01", **values: Any) -> Battery:
    model = BatteryModel.objects.filter(team=scope.team).first() or make_model(scope.team)
    return Battery.objects.create(
        team=scope.team, code=code, model=model, acquired_on=date(2025, 1, 1), **values
    )


@pytest.fixture
def scope() -> Scope:
    return make_scope(make_team())


@pytest.fixture
def battery(scope) -> Battery:
    return make_battery(scope)


def log(scope, battery, mohm, **more):
    return reading_log(
        **{"method": "ac1k", "instrument": "bridge 1", **more},
        scope=scope,
        battery=battery,
        resistance_mohm=mohm,
    )


def test_a_reading_keeps_who_and_when_and_sets_off_the_sweeps(scope, battery):
    reading = log(scope, battery, 14.2, rest_v=12.83)
    assert (reading.by, reading.battery) == (scope.user, battery)
    assert reading.history.get().history_user == scope.user
    assert {run.name for run in JobRun.objects.all()} == {
        "match.team",
        "rotation.look",
        "sweep.batteries",
        "sweep.loads",
    }


@pytest.mark.parametrize(
    ("typed", "remedy"),
    [
        (0.015, "Was it in ohm? 0.015 ohm is 15 mohm"),
        (15000, "Was it in microohm? 15000 microohm is 15 mohm"),
        (0, "between 1 and 500 mohm"),
        (-12, "between 1 and 500 mohm"),
    ],
)
def test_a_slip_of_the_unit_is_named_with_what_it_would_be(scope, battery, typed, remedy):
    with pytest.raises(DomainError) as refused:
        log(scope, battery, typed)
    assert remedy in refused.value.sentence
    assert refused.value.field == "resistance_mohm"
    assert not Reading.objects.exists()


def test_a_double_tap_is_one_reading_and_a_new_value_is_another(scope, battery):
    first = log(scope, battery, 14.2)
    assert log(scope, battery, 14.2) == first
    assert log(scope, battery, 14.4) != first
    assert log(scope, battery, 14.2, instrument="bridge 2") != first


def test_the_same_value_much_later_is_a_new_reading(scope, battery):
    now = timezone.now()
    first = log(scope, battery, 14.2, taken_at=now - timedelta(hours=2))
    assert log(scope, battery, 14.2, taken_at=now - timedelta(hours=1)) != first
    assert log(scope, battery, 14.2, taken_at=now - timedelta(hours=1)) != first
    assert Reading.objects.count() == 2


def test_two_values_for_one_moment_and_instrument_are_a_conflict(scope, battery):
    moment = timezone.now() - timedelta(hours=1)
    log(scope, battery, 14.2, taken_at=moment)
    with pytest.raises(Conflict, match=r"14\.2 mohm with bridge 1 at that moment"):
        log(scope, battery, 15.0, taken_at=moment)


def test_what_the_model_refuses_is_named_by_field(scope, battery):
    with pytest.raises(ValidationError) as refused:
        log(scope, battery, 14.2, method="guess")
    assert list(refused.value.message_dict) == ["method"]


def test_a_charge_is_started_once_and_ended_once(scope, battery):
    charge = charge_start(scope=scope, battery=battery, charger="bench left")
    assert charge_start(scope=scope, battery=battery, charger="bench left") == charge
    with pytest.raises(Conflict, match="B01 is on bench left since"):
        charge_start(scope=scope, battery=battery, charger="bench right")
    ended = charge_end(scope=scope, battery=battery, returned_ah=6.5)
    assert charge_end(scope=scope, battery=battery) == ended == Charge.objects.get()
    assert (ended.returned_ah, ended.ended_at is None) == (6.5, False)


def test_a_charge_that_was_not_started_cannot_end(scope, battery):
    with pytest.raises(Conflict, match="not on a charger"):
        charge_end(scope=scope, battery=battery)


@pytest.mark.parametrize("state", ["quarantine", "retired"])
def test_a_quarantined_or_retired_battery_is_not_charged(scope, battery, state):
    battery_set_state(scope=scope, battery=battery, state=state, reason="swollen case")
    with pytest.raises(DomainError, match="swollen case"):
        charge_start(scope=scope, battery=battery, charger="bench")
    assert not Charge.objects.exists()


def test_out_of_service_needs_a_reason_and_a_lead_brings_it_back(scope, battery):
    with pytest.raises(DomainError, match="Say why"):
        battery_set_state(scope=scope, battery=battery, state="practice")
    battery_set_state(scope=scope, battery=battery, state="practice", reason="38 mohm")
    with pytest.raises(NotAllowed):
        battery_set_state(scope=scope, battery=battery, state="service", reason="post cleaned")
    lead = Scope(scope.user, scope.team, Role.LEAD)
    back = battery_set_state(scope=lead, battery=battery, state="service", reason="post cleaned")
    assert (back.state, back.state_reason) == ("service", "")
    reasons = battery.history.values_list("state", "history_change_reason")
    assert list(reasons)[:2] == [("service", "post cleaned"), ("practice", "38 mohm")]


def test_a_capacity_test_is_logged_once(scope, battery):
    given: dict[str, Any] = {"capacity_ah": 15.1, "current_a": 5.0, "end_v": 10.5}
    first = capacity_test_log(scope=scope, battery=battery, **given)
    assert capacity_test_log(scope=scope, battery=battery, **given) == first


def test_a_battery_of_another_team_is_not_found(scope):
    from django.http import Http404

    stranger = make_battery(make_scope(make_team()))
    with pytest.raises(Http404):
        log(scope, stranger, 14.0)


def test_the_table_shows_last_reading_cycles_and_charger(scope):
    worn = make_battery(scope, "B02", cycles_at_intake=40)
    new = make_battery(scope, "B03")
    now = timezone.now()
    log(scope, worn, 19.0, taken_at=now - timedelta(days=1))
    newest = log(scope, worn, 20.0, taken_at=now)
    log(scope, worn, 18.0, taken_at=now - timedelta(days=30))
    charge_start(scope=scope, battery=worn, charger="bench", started_at=now - timedelta(hours=5))
    charge_end(scope=scope, battery=worn, ended_at=now - timedelta(hours=1))
    charge_start(scope=scope, battery=new, charger="bench 2")
    rows = {row.battery.code: row for row in battery_table(scope)}
    assert (rows["B02"].last_reading, rows["B02"].readings, rows["B02"].cycles) == (newest, 3, 41)
    assert (rows["B03"].last_reading, rows["B03"].readings, rows["B03"].cycles) == (None, 0, 0)
    assert rows["B03"].on_charger is not None
    assert rows["B02"].on_charger is None
    assert cycles_since_intake(scope) == {worn.pk: 1}
    assert [charger.name for charger in chargers(scope)] == ["bench", "bench 2"]


def test_series_are_kept_apart_by_method_and_instrument(scope, battery):
    now = timezone.now()
    for days, method, instrument, mohm in [
        (3, "ac1k", "bridge", 10.0),
        (1, "ac1k", "bridge", 11.0),
        (2, "pulse2", "tester", 20.0),
    ]:
        log(scope, battery, mohm, method=method, instrument=instrument, taken_at=now - timedelta(days=days))
    series = battery_series(scope, battery)
    assert [(s.instrument, [p.resistance_mohm for p in s.points]) for s in series] == [
        ("tester", [20.0]),
        ("bridge", [10.0, 11.0]),
    ]
    assert instruments_used(scope) == ["bridge", "tester"]


@pytest.mark.parametrize("count", [2, 50])
def test_the_table_takes_six_queries_however_many_batteries(scope, count, django_assert_num_queries):
    for i in range(count):
        battery = make_battery(scope, f"N{i}")
        log(scope, battery, 12.0 + i / 100)
        capacity_test_log(scope=scope, battery=battery, capacity_ah=15, current_a=5, end_v=10.5)
    with django_assert_num_queries(6):
        rows = battery_table(scope)
        assert [str(row.last_reading) for row in rows]
        assert [(row.battery.model.name, str(row.last_test and row.last_test.capacity_ah)) for row in rows]
    assert len(rows) == count
