"""Columns read straight from the cursor hold what the models hold."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta

import numpy as np
import pytest

from inventory.models import Battery, BatteryModel, Reading, TerminalType
from shared.columns import NO_ID, EpochSeconds, code_of, fetch
from tests.inventory.stockroom import make_team

pytestmark = pytest.mark.django_db

START = datetime(2026, 11, 25, 8, 30, 15, 250_000, tzinfo=UTC)
METHODS = ("ac1k", "pulse2", "step")


@pytest.fixture
def readings():
    """Six hundred readings, more than one block: every third without a rest voltage, two meters, two methods."""
    team = make_team("Gull Point")
    model = BatteryModel.objects.create(
        team=team, kind="battery", code="AGM18", name="AGM", chemistry="agm", capacity_ah=18
    )
    battery = Battery.objects.create(team=team, code="A1", model=model, acquired_on=START.date())
    Reading.objects.bulk_create(
        Reading(
            team=team, battery=battery, taken_at=START + timedelta(hours=n), resistance_mohm=10 + n / 7,
            method=METHODS[n % 2], instrument=("Bench 1", "Élan")[n % 5 == 0], rest_v=12.8 if n % 3 else None,
        )
        for n in range(600)
    )  # fmt: skip
    return Reading.objects.order_by("pk")


def test_numbers_are_the_models_own_to_the_last_bit(readings):
    table = fetch(readings, "id", "battery_id", "resistance_mohm", "rest_v", "charge_frac")
    rows = list(readings)
    assert table.size == 600
    assert table.ids("id").tolist() == [row.pk for row in rows]
    assert table.ids("battery_id").tolist() == [row.battery_id for row in rows]
    assert table.floats("resistance_mohm").tolist() == [row.resistance_mohm for row in rows]
    assert np.isnan(table.floats("rest_v")).tolist() == [row.rest_v is None for row in rows]
    assert np.isnan(table.floats("charge_frac")).all()
    assert list(table.raw["rest_v"]) == [row.rest_v for row in rows]
    assert {type(value) for value in table.raw["id"]} == {int}


def test_words_come_as_codes_or_as_they_are(readings):
    numbered = readings.annotate(code=code_of("method", METHODS))
    table = fetch(numbered, "note", "code", coded=("instrument",))
    instrument = table.coded("instrument")
    assert [instrument.words[code] for code in instrument.code] == [row.instrument for row in readings]
    assert [METHODS[code] for code in table.ids("code")] == [row.method for row in readings]
    assert list(table.texts("note")) == [""] * 600
    assert fetch(readings.annotate(code=code_of("method", METHODS[1:])), "code").ids("code")[0] == NO_ID


def test_moments_come_as_seconds(readings):
    table = fetch(readings.annotate(at_s=EpochSeconds("taken_at")), "at_s")
    assert np.round(table.floats("at_s"), 3).tolist() == [row.taken_at.timestamp() for row in readings]


def test_a_mask_keeps_the_rows_of_every_column(readings):
    table = fetch(readings, "id", "rest_v", "note", coded=("instrument",))
    mask = np.arange(600) % 3 == 0
    kept = table.where(mask)
    assert kept.size == 200
    assert kept.ids("id").tolist() == table.ids("id")[mask].tolist()
    assert np.isnan(kept.floats("rest_v")).all()
    assert kept.coded("instrument").code.tolist() == table.coded("instrument").code[mask].tolist()
    assert table.where(np.ones(600, dtype=bool)) is table


def test_what_a_relation_holds_and_truth_are_numbers_too(readings):
    table = fetch(Battery.objects.all(), "model__capacity_ah", "model__code", "archived", "model__end_v")
    assert table.floats("model__capacity_ah").tolist() == [18.0]
    assert list(table.raw["archived"]) == [False]
    assert table.bools("archived").tolist() == [False]
    assert list(table.raw["model__end_v"]) == [BatteryModel.objects.get().end_v]
    assert dict(table.raw) == {name: table.raw[name] for name in table.raw}


@pytest.mark.parametrize("none", [TerminalType.objects.all(), TerminalType.objects.none()])
def test_no_rows_make_empty_columns(none):
    table = fetch(none, "id", "code", "hole_mm", coded=("form",))
    assert (table.size, table.ids("id").size, table.floats("hole_mm").size) == (0, 0, 0)
    assert list(table.texts("code")) == []
    assert table.coded("form").code.size == 0
