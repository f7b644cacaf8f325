"""Voltages as they are typed in the pit. Limits: common practice, no source."""

from __future__ import annotations

import pytest
from django.core.exceptions import ValidationError

from inventory.forms.volts import VoltsField
from inventory.services.volts import LOWEST, REST, checked_volts
from shared.errors import DomainError


@pytest.mark.parametrize(
    ("typed", "volts"),
    [("12.81", 12.81), ("12,81", 12.81), (" 12.8 V", 12.8), ("12,8v", 12.8), ("13", 13.0), ("", None)],
)
def test_comma_and_point_are_the_same(typed, volts):
    assert VoltsField(required=False).clean(typed) == volts


@pytest.mark.parametrize(
    ("typed", "meant"), [("128", "12.8 V"), ("1281", "12.81 V"), ("12810", "12.81 V"), ("125", "12.5 V")]
)
def test_a_missing_point_is_asked_about(typed, meant):
    with pytest.raises(ValidationError) as wrong:
        VoltsField().clean(typed)
    assert f"Was it {meant}?" in wrong.value.messages[0]
    assert f"{float(typed):g} V cannot be the rest voltage" in wrong.value.messages[0]


@pytest.mark.parametrize("typed", ["40", "1.28", "5.9", "15.1", "-12.8"])
def test_what_no_battery_shows_is_refused_with_the_range(typed):
    with pytest.raises(ValidationError, match="between 6 and 15 V"):
        VoltsField().clean(typed)


@pytest.mark.parametrize("typed", ["12.8.1", "1,2,8", "full", "12.8 A"])
def test_what_is_no_voltage_is_refused(typed):
    with pytest.raises(ValidationError):
        VoltsField().clean(typed)


@pytest.mark.parametrize(("volts", "span"), [(6.0, REST), (15.0, REST), (0.0, LOWEST), (15.0, LOWEST)])
def test_the_ends_of_the_range_belong_to_it(volts, span):
    assert checked_volts(volts, span, field="end_rest_v") == volts


def test_the_field_that_is_wrong_is_named():
    with pytest.raises(DomainError) as wrong:
        checked_volts(126.0, LOWEST, field="lowest_v")
    assert (wrong.value.field, wrong.value.value, wrong.value.remedy) == ("lowest_v", 126.0, "Was it 12.6 V?")


def test_the_keypad_is_the_numbers_and_the_browser_stops_three_figures():
    attrs = VoltsField().widget.attrs
    assert attrs["inputmode"] == "decimal"
    assert attrs["pattern"]
