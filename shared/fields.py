"""Fields of forms and of the API that take quantities as people type them, and forms made with them."""

from __future__ import annotations

from collections.abc import Sequence
from decimal import Decimal
from typing import Any, cast

from django import forms
from django.core.exceptions import ValidationError
from django.db import models
from django.db.models import Q
from drf_spectacular.utils import extend_schema_field
from rest_framework import serializers

from shared.electrical.gauges import ConductorSize, SizeError, parse_size
from shared.models import Team, User
from shared.points import format_points, parse_points
from shared.unit_names import UNITS
from shared.units import UnitError, parse_decimal, parse_quantity, unit_for_field

SIZE_FIELD, AREA_FIELD = "size_typed", "area_mm2"  # a wire size as typed, and the area worked out from it


def parse_area_or_quantity(value: object, unit: str) -> float:
    """A quantity; where an area is asked for, a wire size such as 12 AWG is one too."""
    if unit == "mm2" and isinstance(value, str):
        try:
            return parse_size(value).area_mm2
        except SizeError:
            pass  # a plain number is an area; what is neither is refused below
    return parse_quantity(value, unit)


class QuantityField(forms.Field):
    """Text such as “3 ft” or “3.5”, cleaned to a number in the unit of the field.

    ``number`` is what the model stores: float, Decimal (rounded to ``places``) or int.
    """

    widget = forms.TextInput

    def __init__(self, *, unit: str, number: type = float, places: int | None = None, **kwargs: Any) -> None:
        self.unit = unit
        self.number = number
        self.places = places
        super().__init__(**kwargs)

    @property
    def unit_hint(self) -> str:
        """What may be typed, for the line under the field."""
        return UNITS[self.unit].hint

    def widget_attrs(self, widget: forms.Widget) -> dict[str, Any]:
        # Not a number input: it would refuse “3 ft”. The hint is in the help text.
        attrs = {"autocomplete": "off", "data-unit": UNITS[self.unit].symbol}
        # A keypad without letters is enough where nothing but the stored unit is ever typed.
        return attrs | ({"inputmode": "decimal"} if self.unit in ("mohm", "v", "") else {})

    def prepare_value(self, value: Any) -> Any:
        if isinstance(value, float):
            return repr(int(value)) if value.is_integer() and abs(value) < 1e15 else repr(value)
        return f"{value.normalize():f}" if isinstance(value, Decimal) else value

    def to_python(self, value: Any) -> Any:
        if value in self.empty_values or (isinstance(value, str) and not value.strip()):
            return None
        try:
            return self._number(value)
        except UnitError as error:
            raise ValidationError(str(error), code="quantity") from error

    def _number(self, value: Any) -> float | Decimal | int:
        if self.number is Decimal:
            return self._decimal(value)
        quantity = parse_area_or_quantity(value, self.unit)
        if self.number is int:
            if not quantity.is_integer():
                raise UnitError(value, "a whole number", "Write a whole number.")
            return int(quantity)
        return quantity

    def _decimal(self, value: Any) -> Decimal:
        try:
            return parse_decimal(value)
        except UnitError:
            if not self.unit:
                raise
        converted = Decimal(f"{parse_quantity(value, self.unit):.12g}")
        return converted if self.places is None else round(converted, self.places)

    def has_changed(self, initial: Any, data: Any) -> bool:
        try:
            return bool(self.to_python(data) != initial)
        except ValidationError:
            return True


class WireSizeField(forms.CharField):
    """“12 AWG”, “SAE 16” or “2.5 mm2”, cleaned to a ``ConductorSize`` (None when left empty)."""

    def to_python(self, value: Any) -> Any:
        if isinstance(value, ConductorSize):
            return value
        text = super().to_python(value)
        if not text:
            return None
        try:
            return parse_size(text)
        except SizeError as error:
            raise ValidationError(str(error), code="size") from error

    def run_validators(self, value: Any) -> None:
        """The limits of the text (length) are for the text, not for the size it means."""
        super().run_validators(value.size_typed if isinstance(value, ConductorSize) else value)


class PointsField(forms.CharField):
    """A curve, “1.0:12.85; 0.5:12.30”, cleaned to the list of pairs that is stored."""

    def prepare_value(self, value: Any) -> Any:
        return format_points(value) if isinstance(value, list | tuple) else value

    def to_python(self, value: Any) -> Any:
        if isinstance(value, list | tuple):
            return list(value)
        try:
            return [list(pair) for pair in parse_points(super().to_python(value) or "")]
        except UnitError as error:
            raise ValidationError(str(error), code="points") from error


@extend_schema_field({"oneOf": [{"type": "number"}, {"type": "string", "example": "3 ft"}]})
class QuantitySerializerField(serializers.Field):  # type: ignore[type-arg]  # generic in the stubs only
    """A number in the unit of the field, or text that names its own; always answered as a number."""

    def __init__(self, *, unit: str, **kwargs: Any) -> None:
        self.unit = unit
        kwargs.setdefault("help_text", UNITS[unit].hint)
        super().__init__(**kwargs)

    def to_internal_value(self, data: Any) -> float:
        try:
            return parse_area_or_quantity(data, self.unit)
        except UnitError as error:
            raise serializers.ValidationError(str(error), code="quantity") from error

    def to_representation(self, value: Any) -> float:
        return float(value)


def label_for(field: models.Field[Any, Any]) -> str:
    """What a person calls a field, its unit as a sign: ``rest_v`` is “Rest (V)”.

    A field named by the house rule carries its unit as a suffix; a verbose name of its own is kept.
    """
    unit = unit_for_field(field.name)
    name = str(field.verbose_name)
    if unit and name == field.name.replace("_", " "):
        name = name.rpartition(" ")[0]
    sign = UNITS[unit].symbol if unit else ""
    return f"{name[:1].upper()}{name[1:]}{f' ({sign})' if sign and sign not in name else ''}"


def form_field_for(field: models.Field[Any, Any], **kwargs: Any) -> forms.Field | None:
    """The form field of a model field: quantities by unit suffix, wire sizes, curves, days and times."""
    common: dict[str, Any] = {
        "label": label_for(field),
        "required": not field.blank,
        "help_text": field.help_text,
    }
    if field.has_default() and field.default is not list:
        common["initial"] = field.get_default()
    unit = unit_for_field(field.name)
    if isinstance(field, models.FloatField):
        return QuantityField(unit=unit or "", **common)
    if isinstance(field, models.DecimalField) and unit:
        return QuantityField(unit=unit, number=Decimal, places=field.decimal_places, **common)
    if isinstance(field, models.IntegerField) and unit and not field.flatchoices:
        return QuantityField(unit=unit, number=int, **common)
    if field.name == SIZE_FIELD:
        return WireSizeField(max_length=field.max_length, **common)
    if isinstance(field, models.JSONField) and field.name.endswith("_curve"):
        return PointsField(**common)
    if isinstance(field, models.DateTimeField):
        kwargs["widget"] = forms.DateTimeInput(
            {"type": "datetime-local", "step": 1}, format="%Y-%m-%dT%H:%M:%S"
        )
    elif isinstance(field, models.DateField):
        kwargs["widget"] = forms.DateInput({"type": "date"}, format="%Y-%m-%d")
    made = field.formfield(**{"label": label_for(field), **kwargs})
    assert made is None or isinstance(made, forms.Field)
    return made


class TeamModelForm(forms.ModelForm):  # type: ignore[type-arg]  # made for a model at run time
    """A form for one row of a team; ``team`` limits every choice of related rows to that team's."""

    team: Team

    def __init__(self, *args: Any, team: Team, **kwargs: Any) -> None:
        self.team = team
        super().__init__(*args, **kwargs)
        if self.instance.pk is None:
            self.instance.team = team
        for name, field in self.fields.items():
            if isinstance(field, forms.ModelChoiceField):
                field.queryset = self._choices(name, field)
            if isinstance(field, QuantityField):
                field.help_text = " ".join(
                    part for part in (_sentence(field.help_text), field.unit_hint) if part
                )
        if SIZE_FIELD in self.fields and AREA_FIELD in self.fields:
            self.fields[AREA_FIELD].required = False

    def _choices(self, name: str, field: forms.ModelChoiceField[Any]) -> models.QuerySet[Any]:
        """Rows of the team that are in use, and whatever the row points at already."""
        queryset = field.queryset
        assert queryset is not None
        names = {f.name for f in queryset.model._meta.get_fields()}
        if queryset.model is User:
            queryset = queryset.filter(memberships__team=self.team)
        if "team" in names:
            queryset = queryset.filter(team=self.team)
        if "archived" in names:
            now = Q(pk__in=self._chosen(name))
            queryset = queryset.filter(Q(archived=False) | now)
        return queryset

    def _chosen(self, name: str) -> list[Any]:
        if self.instance.pk is None:
            return []
        if self.instance._meta.get_field(name).many_to_many:
            return [row.pk for row in getattr(self.instance, name).all()]
        return [getattr(self.instance, f"{name}_id")]

    def clean(self) -> dict[str, Any] | None:
        """The size as typed is stored as text; the area follows from it unless one was given."""
        cleaned = super().clean() or self.cleaned_data
        size = cleaned.get(SIZE_FIELD)
        if isinstance(size, ConductorSize):
            cleaned[SIZE_FIELD] = size.size_typed
            stale = SIZE_FIELD in self.changed_data and AREA_FIELD not in self.changed_data
            if hasattr(self.instance, AREA_FIELD) and (stale or cleaned.get(AREA_FIELD) is None):
                cleaned[AREA_FIELD] = self.instance.area_mm2 = size.area_mm2
        return cleaned

    def _get_validation_exclusions(self) -> set[str]:
        """The team is no field of the form but part of what must be unique."""
        exclude: set[str] = super()._get_validation_exclusions()  # type: ignore[misc]
        return exclude - {"team"}


def quantity_form(
    model: type[models.Model], fields: Sequence[str], *, base: type[TeamModelForm] = TeamModelForm
) -> type[TeamModelForm]:
    """A form class for some fields of a model: quantities with their units, related rows of the team only.

    Make a form with ``quantity_form(Battery, ["code", "model"])(data, instance=row, team=team)``.
    """

    made = forms.modelform_factory(model, form=base, fields=list(fields), formfield_callback=form_field_for)
    return cast(type[TeamModelForm], made)


def _sentence(text: Any) -> str:
    plain = str(text).strip()
    return f"{plain.rstrip('.')}." if plain else ""
