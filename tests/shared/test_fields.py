"""Fields that take quantities as typed, and the forms made with them, on the real models."""

from __future__ import annotations

from decimal import Decimal
from typing import Any

import pytest
from django import forms
from django.core.exceptions import ValidationError
from rest_framework import serializers

from builds.models import Circuit, Event
from inventory.models import Battery, BatteryModel, Bin, Offer, Reading, Spool, WireType
from shared.fields import (
    PointsField,
    QuantityField,
    QuantitySerializerField,
    WireSizeField,
    label_for,
    quantity_form,
)
from shared.models import Membership, Team, User


def test_a_quantity_field_cleans_to_its_unit_and_says_what_would_be_right() -> None:
    field = QuantityField(unit="m", required=False)
    assert field.clean("3 ft") == 0.9144
    assert field.clean("  ") is None
    with pytest.raises(ValidationError, match=r"not a length.*3 ft"):
        field.clean("20 A")
    assert QuantityField(unit="mm2").clean("2.5 mm2") == 2.5
    # ASTM B258: 12 AWG is 3.309 mm2.
    assert QuantityField(unit="mm2").clean("12 AWG") == pytest.approx(3.309, abs=5e-4)


def test_the_number_fits_what_the_model_stores() -> None:
    assert QuantityField(unit="m", number=Decimal, places=3).clean("10 ft") == Decimal("3.048")
    assert QuantityField(unit="m", number=Decimal, places=3).clean("3.1") == Decimal("3.1")
    assert QuantityField(unit="days", number=int).clean("2 weeks") == 14
    with pytest.raises(ValidationError, match="whole number"):
        QuantityField(unit="days", number=int).clean("36 h")


def test_what_a_form_shows_reads_back_unchanged() -> None:
    field = QuantityField(unit="v")
    for value in (12.0, 12.6, 1e-7, 0.1 + 0.2):
        assert field.clean(field.prepare_value(value)) == value
        assert not field.has_changed(value, field.prepare_value(value))
    assert field.has_changed(12.0, "12.1")
    assert field.has_changed(12.0, "nonsense")
    curve = [[1.0, 12.85], [0.5, 12.3]]
    assert PointsField().clean(PointsField().prepare_value(curve)) == curve
    with pytest.raises(ValidationError, match="pairs"):
        PointsField().clean("1.0; 12")


def test_a_wire_size_keeps_its_text_and_area() -> None:
    size = WireSizeField(max_length=20).clean(" 12 AWG ")
    assert (size.size_typed, size.system) == ("12 AWG", "awg")
    assert WireSizeField(required=False).clean("") is None
    with pytest.raises(ValidationError, match="12 AWG"):
        WireSizeField().clean("12")


def test_the_api_takes_text_or_numbers_and_answers_numbers() -> None:
    class Reading_(serializers.Serializer[Any]):
        resistance_mohm = QuantitySerializerField(unit="mohm")

    for given in (15, "15", "0.015 ohm"):
        read = Reading_(data={"resistance_mohm": given})
        assert read.is_valid()
        assert read.validated_data == {"resistance_mohm": 15.0}
    wrong = Reading_(data={"resistance_mohm": "15 A"})
    assert not wrong.is_valid()
    assert "15 mohm" in str(wrong.errors["resistance_mohm"][0])
    assert Reading_({"resistance_mohm": 15}).data == {"resistance_mohm": 15.0}


@pytest.mark.parametrize(
    ("model", "name", "label"),
    [(Reading, "rest_v", "Rest (V)"), (Reading, "charge_frac", "Charge"), (Circuit, "length_m", "Length (m)"),
     (Offer, "lead_time_days", "Lead time (days)"), (Bin, "code", "Code"),
     (WireType, "area_mm2", "Area (mm²)")],
)  # fmt: skip
def test_labels_carry_the_unit_as_a_sign(model: Any, name: str, label: str) -> None:
    assert label_for(model._meta.get_field(name)) == label


@pytest.fixture
def team() -> Team:
    return Team.objects.create(name="Gull Point", slug="gull")


@pytest.mark.django_db
def test_a_form_made_from_a_model_stores_quantities_and_the_area_of_a_size(team: Team) -> None:
    fields = ["code", "name", "size_typed", "area_mm2", "insulation_class_c"]
    made = quantity_form(WireType, fields)
    data = {"code": "W12", "name": "Red", "size_typed": "12 AWG", "insulation_class_c": "221 °F"}
    form = made(data, team=team)
    assert form.errors == {}
    row = form.save()
    assert (row.team, row.size_typed, row.insulation_class_c) == (team, "12 AWG", 105.0)
    assert row.area_mm2 == pytest.approx(3.309, abs=5e-4)
    # The size changes and the area shown beside it does not: the area follows.
    form = made({**data, "size_typed": "2.5 mm2", "area_mm2": repr(row.area_mm2)}, instance=row, team=team)
    assert form.save().area_mm2 == 2.5
    form = made({**data, "size_typed": "2.5 mm2", "area_mm2": "2.4"}, instance=row, team=team)
    assert form.save().area_mm2 == 2.4  # its own data sheet says so


@pytest.mark.django_db
def test_unique_per_team_is_told_at_the_form(team: Team) -> None:
    Bin.objects.create(team=team, code="A1")
    other = Team.objects.create(name="Other", slug="other")
    made = quantity_form(Bin, ["code"])
    assert not made({"code": "A1"}, team=team).is_valid()
    assert made({"code": "A1"}, team=other).is_valid()


@pytest.mark.django_db
def test_choices_are_the_teams_own_rows_in_use(team: Team) -> None:
    other = Team.objects.create(name="Other", slug="other")
    wire: dict[str, Any] = {
        "size_typed": "12 AWG",
        "area_mm2": 3.3,
        "insulation_class_c": 105.0,
        "kind": "wire",
    }
    ours = WireType.objects.create(team=team, code="W1", name="Ours", **wire)
    WireType.objects.create(team=other, code="W1", name="Theirs", **wire)
    old = WireType.objects.create(team=team, code="W2", name="Old", archived=True, **wire)
    bin_ = Bin.objects.create(team=team, code="A1")

    def choices(form: forms.ModelForm[Any], name: str) -> set[Any]:
        field = form.fields[name]
        assert isinstance(field, forms.ModelChoiceField)
        assert field.queryset is not None
        return set(field.queryset)

    made = quantity_form(Spool, ["code", "wire", "bin", "full_length_m"])
    assert choices(made(team=team), "wire") == {ours}
    spool = Spool.objects.create(team=team, code="S1", wire=old, bin=bin_, full_length_m=10)
    assert choices(made(instance=spool, team=team), "wire") == {ours, old}
    form = made({"code": "S2", "wire": ours.pk, "bin": bin_.pk, "full_length_m": "10 ft"}, team=team)
    assert form.save().full_length_m == Decimal("3.048")


@pytest.mark.django_db
def test_people_and_several_rows_are_limited_to_the_team_too(team: Team) -> None:
    ours = User.objects.create(username="ada")
    User.objects.create(username="stranger")
    Membership.objects.create(team=team, user=ours)
    form = quantity_form(Reading, ["by", "resistance_mohm"])(team=team)
    assert list(form.fields["by"].queryset) == [ours]  # type: ignore[attr-defined]
    assert "15 mohm" in str(form.fields["resistance_mohm"].help_text)
    assert list(quantity_form(Event, ["robots"])(team=team).fields["robots"].queryset) == []  # type: ignore[attr-defined]


@pytest.mark.django_db
def test_dates_use_the_browsers_pickers_and_curves_are_typed(team: Team) -> None:
    form = quantity_form(Battery, ["acquired_on"])(team=team)
    assert 'type="date"' in str(form["acquired_on"])
    assert 'type="datetime-local"' in str(quantity_form(Reading, ["taken_at"])(team=team)["taken_at"])
    data = {"code": "A18", "name": "AGM", "chemistry": "agm", "capacity_ah": "18 Ah",
            "rest_curve": "1.0:12.85; 0.5:12.3", "full_rest_v": "12.8", "mass_g": "13 lb"}  # fmt: skip
    row = quantity_form(BatteryModel, list(data))(data, team=team).save()
    assert row.rest_curve == [[1.0, 12.85], [0.5, 12.3]]
    assert row.mass_g == pytest.approx(5896.70081)  # 13 x 453.592 37 g, NIST SP 811


@pytest.mark.django_db
def test_a_share_above_one_is_refused_in_words(team: Team) -> None:
    """The sentence holds percent signs, which the framework would take for a format."""
    with pytest.raises(ValidationError, match="between 0 and 1"):
        Reading(team=team, charge_frac=1.5).validate_constraints()
    with pytest.raises(ValidationError, match="0 % and 100 %"):
        WireType(team=team, service_frac=2).validate_constraints()
