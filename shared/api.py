"""The base of the REST API: team scoping, roles, quantities as people type them, domain errors as clear answers.

A viewset names its model, fields and filters; rows are read through the scope and written through ``record_save`` or
the service given as ``save``. Nothing is deleted over the API unless the viewset says so.
"""

from __future__ import annotations

import types
from collections.abc import Callable
from dataclasses import fields as fields_of
from decimal import Decimal
from enum import IntEnum
from functools import cache
from typing import Any, ClassVar, Union, get_args, get_origin, get_type_hints

from django.core.exceptions import ValidationError as DjangoValidationError
from django.db import models
from django.db.models import QuerySet
from rest_framework import serializers, viewsets
from rest_framework.exceptions import ValidationError
from rest_framework.request import Request
from rest_framework.response import Response
from rest_framework.views import APIView, exception_handler

from shared import receipts
from shared.access import Can, Scope, scope_for
from shared.errors import DomainError
from shared.fields import QuantitySerializerField
from shared.models import TeamOwned
from shared.records import errors_by_field, record_save
from shared.units import unit_for_field


def handle_error(error: Exception, context: dict[str, Any]) -> Response | None:
    """Domain refusals as {detail, field, value, remedy}; model validation as {field: [sentences]}."""
    if isinstance(error, DomainError):
        body = {
            "detail": error.sentence,
            "field": error.field,
            "value": None if error.value is None else str(error.value),
            "remedy": error.remedy,
        }
        return Response(body, status=error.status_code)
    if isinstance(error, DjangoValidationError):
        by_field = errors_by_field(error)
        error = ValidationError({(f or "non_field_errors"): e for f, e in by_field.items()})
    return exception_handler(error, context)


class TeamScoped(APIView):
    """Any API view under /api/v1/t/<team>/. Safe methods need ``read``, others ``write``."""

    read: ClassVar[Can] = Can.READ
    write: ClassVar[Can] = Can.WORK
    scope: Scope

    def initial(self, request: Request, *args: Any, **kwargs: Any) -> None:
        super().initial(request, *args, **kwargs)
        self.scope = scope_for(request.user, kwargs["team"])
        self.scope.require(self.read if request.method in ("GET", "HEAD", "OPTIONS") else self.write)
        self._write_once(request)

    def _write_once(self, request: Request) -> None:
        """Let a request that names an Idempotency-Key through to its handler once (shared.receipts)."""
        name = str(request.method).lower()
        handler = getattr(self, name, None)
        if receipts.HEADER in request.headers and handler is not None:

            def handle(request: Request, *args: Any, **kwargs: Any) -> Any:
                return receipts.once(
                    scope=self.scope, request=request, write=lambda: handler(request, *args, **kwargs)
                )

            setattr(self, name, handle)


class TeamSerializer(serializers.ModelSerializer[Any]):
    """Floats with a unit in their name accept '15 mohm' or 15; related rows must be of the same team."""

    def build_standard_field(self, field_name: str, model_field: Any) -> tuple[Any, dict[str, Any]]:
        field_class, kwargs = super().build_standard_field(field_name, model_field)
        unit = unit_for_field(field_name) if isinstance(model_field, models.FloatField) else None
        if unit is None:
            return field_class, kwargs
        kept = {k: v for k, v in kwargs.items() if k in ("required", "allow_null", "help_text", "label")}
        return QuantitySerializerField, {**kept, "unit": unit}

    def get_fields(self) -> dict[str, Any]:
        fields = super().get_fields()
        scope = getattr(self.context.get("view"), "scope", None)
        for field in fields.values():
            related: Any = getattr(field, "child_relation", field)
            queryset = getattr(related, "queryset", None)
            if isinstance(queryset, models.Manager):
                queryset = queryset.all()
            if isinstance(queryset, QuerySet) and issubclass(queryset.model, TeamOwned):
                related.queryset = queryset.filter(team=scope.team) if scope else queryset.none()
        return fields

    def get_unique_together_validators(self) -> list[Any]:
        """The model's own validation answers, so that page, import and API say the same sentence."""
        return []


class ScopedSerializer(serializers.Serializer[Any]):
    """Given to a service. Related rows are looked for in the team only."""

    def get_fields(self) -> dict[str, Any]:
        fields = super().get_fields()
        scope = getattr(self.context.get("view"), "scope", None)
        field: Any
        for field in fields.values():
            rows = getattr(field, "queryset", None)
            if rows is not None:
                field.queryset = rows.filter(team=scope.team) if scope else rows.none()
        return fields


class TeamReadViewSet(TeamScoped, viewsets.ReadOnlyModelViewSet[Any]):
    """List and detail of a team's rows."""

    queryset: QuerySet[Any]

    def get_queryset(self) -> QuerySet[Any]:
        queryset = super().get_queryset()
        if getattr(self, "swagger_fake_view", False):
            return queryset.none()
        return self.scope.rows(queryset)


class TeamViewSet(TeamReadViewSet, viewsets.ModelViewSet[Any]):
    """List, detail, create and change of a team's rows; no deletion unless ``http_method_names`` is widened."""

    http_method_names = ["get", "post", "put", "patch", "head", "options"]
    need: ClassVar[Can] = Can.WORK
    save: ClassVar[Callable[..., Any]] = staticmethod(record_save)

    def perform_create(self, serializer: Any) -> None:
        self._write(serializer, self.queryset.model(team=self.scope.team))

    def perform_update(self, serializer: Any) -> None:
        self._write(serializer, serializer.instance)

    def _write(self, serializer: Any, instance: Any) -> None:
        many: dict[str, Any] = {}
        for name, value in serializer.validated_data.items():
            if instance._meta.get_field(name).many_to_many:
                many[name] = value
            else:
                setattr(instance, name, value)
        serializer.instance = self.save(scope=self.scope, instance=instance, need=self.need)
        for name, value in many.items():
            getattr(serializer.instance, name).set(value)


def team_serializer(
    row_model: type[models.Model], *names: str, read_only: tuple[str, ...] = ()
) -> type[TeamSerializer]:
    """A serializer class of a model's named fields, with its id first."""

    class Meta:
        model = row_model
        fields = ("id", *names)
        read_only_fields = ("id", *read_only)

    return type(f"{row_model.__name__}Serializer", (TeamSerializer,), {"Meta": Meta})


def value_serializer(value: type, **helps: str) -> type[serializers.Serializer[Any]]:
    """A read-only serializer of a frozen dataclass, from its own types; ``helps`` explains fields.

    Money is printed with two places, a numbered kind by its name.
    """
    hints = get_type_hints(value)
    named = {f.name: _value_field(hints[f.name], helps.get(f.name, "")) for f in fields_of(value)}
    text = {"__doc__": (value.__doc__ or "").split("\n")[0]}
    return type(f"{value.__name__}Serializer", (serializers.Serializer,), {**text, **named})


#: Of a value inside others: one class each, or the schema would describe it several times.
_inner_serializer = cache(value_serializer)

_PLAIN: dict[type, type[serializers.Field[Any, Any, Any, Any]]] = {
    bool: serializers.BooleanField,
    int: serializers.IntegerField,
    float: serializers.FloatField,
    str: serializers.CharField,
}


def _value_field(hint: Any, help_text: str) -> serializers.Field[Any, Any, Any, Any]:
    more: dict[str, Any] = {"read_only": True, **({"help_text": help_text} if help_text else {})}
    if get_origin(hint) in (Union, types.UnionType):
        hint = next(h for h in get_args(hint) if h is not type(None))
        more["allow_null"] = True
    if get_origin(hint) is tuple:
        hint, more["many"] = get_args(hint)[0], True
    if hint is Decimal:
        return serializers.DecimalField(12, 2, **more)
    if issubclass(hint, IntEnum):
        return _NamedKindField(**more)
    plain = next((f for kind, f in _PLAIN.items() if issubclass(hint, kind)), None)
    return plain(**more) if plain else _inner_serializer(hint)(**more)


class _NamedKindField(serializers.CharField):
    def to_representation(self, value: Any) -> str:
        return str(value.name).lower()


__all__ = [
    "ScopedSerializer",
    "TeamReadViewSet",
    "TeamScoped",
    "TeamSerializer",
    "TeamViewSet",
    "handle_error",
    "team_serializer",
    "value_serializer",
]
