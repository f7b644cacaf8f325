"""Bins, what lies in them, spools, and the append-only ledger of movements.

``StockItem.quantity`` and ``Spool.remaining_m`` are running totals of the ledger. They change only together
with a movement, by a conditional UPDATE, and a check constraint keeps them from going below zero.
"""

from __future__ import annotations

import uuid
from collections.abc import Iterable
from decimal import Decimal
from typing import Any, NoReturn, TypeVar

from django.core.exceptions import ValidationError
from django.db import models
from django.db.models import F, Q
from simple_history.models import HistoricalRecords

from inventory.models.catalogue import Part, PartKind, Unit, WireType
from shared.errors import Conflict
from shared.models.base import TeamOwned
from shared.models.constraints import not_negative, one_of, positive
from shared.models.people import CODE_VALIDATOR, Team, User

M = TypeVar("M", bound=models.Model, covariant=True)


class AppendOnlyQuerySet(models.QuerySet[M]):
    """A queryset that can only read and add; database triggers hold the same for those who go round it."""

    def update(self, **kwargs: Any) -> NoReturn:
        raise _append_only()

    def delete(self) -> NoReturn:
        raise _append_only()


def _append_only() -> Conflict:
    return Conflict(
        "The ledger is append-only: no line is changed or deleted", remedy="Post a new line that corrects it"
    )


class Bin(TeamOwned):
    """A storage place with a label."""

    code = models.CharField(max_length=40, validators=[CODE_VALIDATOR])
    name = models.CharField(max_length=120, blank=True)
    travels = models.BooleanField(default=False, help_text="Goes to events with the crate")
    archived = models.BooleanField(default=False)
    history = HistoricalRecords()

    class Meta:
        ordering = ["code"]
        constraints = [models.UniqueConstraint(fields=["team", "code"], name="bin_code_once_per_team")]

    def __str__(self) -> str:
        return self.code


class StockItem(TeamOwned):
    """How much of a counted part lies in a bin: the sum of its movements."""

    part = models.ForeignKey(Part, on_delete=models.PROTECT, related_name="stock")
    bin = models.ForeignKey(Bin, on_delete=models.PROTECT, related_name="stock")
    quantity = models.DecimalField(max_digits=12, decimal_places=3, default=Decimal(0))

    class Meta:
        ordering = ["part", "bin"]
        constraints = [
            models.UniqueConstraint(fields=["part", "bin"], name="stockitem_once_per_part_and_bin"),
            *not_negative("stockitem", "quantity"),
        ]

    def __str__(self) -> str:
        return f"{self.part.code} in {self.bin.code}"

    def clean(self) -> None:
        super().clean()
        if self.part.kind == PartKind.WIRE:
            raise ValidationError({"part": "Wire is kept on spools. Enter it as a spool."})
        if self.part.unit == Unit.EACH and self.quantity != self.quantity.to_integral_value():
            raise ValidationError({"quantity": "This part is counted each. Give a whole number."})


class Spool(TeamOwned):
    """A spool or remnant of wire with its remaining length."""

    code = models.CharField(max_length=40, validators=[CODE_VALIDATOR], help_text="As written on the spool")
    wire = models.ForeignKey(WireType, on_delete=models.PROTECT, related_name="spools")
    bin = models.ForeignKey(Bin, on_delete=models.PROTECT, related_name="spools")
    full_length_m = models.DecimalField(max_digits=9, decimal_places=3, help_text="Length when it came")
    remaining_m = models.DecimalField(max_digits=9, decimal_places=3, default=Decimal(0), editable=False)
    archived = models.BooleanField(default=False)
    history = HistoricalRecords()

    class Meta:
        ordering = ["code"]
        constraints = [
            models.UniqueConstraint(fields=["team", "code"], name="spool_code_once_per_team"),
            *positive("spool", "full_length_m"),
            *not_negative("spool", "remaining_m"),
            models.CheckConstraint(
                condition=Q(remaining_m__lte=F("full_length_m")),
                name="spool_remaining_within_full",
                violation_error_message="A spool cannot hold more than its full length.",
            ),
        ]

    def __str__(self) -> str:
        return self.code

    def save(self, *args: Any, update_fields: Iterable[str] | None = None, **kwargs: Any) -> None:
        """Save everything but the running total, which a form that was open for a while would overwrite."""
        if update_fields is None and not self._state.adding:
            update_fields = [
                f.name for f in self._meta.concrete_fields if not f.primary_key and f.name != "remaining_m"
            ]
        super().save(*args, update_fields=update_fields, **kwargs)


class MovementKind(models.TextChoices):
    RECEIVE = "receive", "Receive"
    USE = "use", "Use"
    RETURN = "return", "Return"
    SCRAP = "scrap", "Scrap"
    COUNT = "count", "Count correction"
    MOVE = "move", "Move"


class Movement(TeamOwned):
    """One line of the ledger. Never changed, never deleted: a mistake is corrected by a new line.

    A move is two lines with the same ``group``: out of one bin, into the other. ``request_id`` makes a
    repeated request (a retry, a double tap) the same line instead of a second one.
    """

    # A team with a ledger is archived, not deleted.
    team = models.ForeignKey(Team, on_delete=models.PROTECT, related_name="+", editable=False)
    kind = models.CharField(max_length=8, choices=MovementKind.choices)
    part = models.ForeignKey(Part, on_delete=models.PROTECT, related_name="movements")
    bin = models.ForeignKey(Bin, on_delete=models.PROTECT, related_name="movements")
    spool = models.ForeignKey(
        Spool, null=True, blank=True, on_delete=models.PROTECT, related_name="movements"
    )
    quantity = models.DecimalField(max_digits=12, decimal_places=3, help_text="Positive in, negative out")
    balance = models.DecimalField(
        max_digits=12, decimal_places=3, help_text="What the bin or spool held afterwards"
    )
    reason = models.CharField(max_length=200, blank=True, help_text="Which robot, repair or order it was for")
    at = models.DateTimeField()
    by = models.ForeignKey(User, null=True, on_delete=models.SET_NULL, related_name="+")
    request_id = models.UUIDField(default=uuid.uuid4, editable=False)
    group = models.UUIDField(default=uuid.uuid4, editable=False)

    objects = AppendOnlyQuerySet.as_manager()

    class Meta:
        ordering = ["-at", "-pk"]
        constraints = [
            models.UniqueConstraint(fields=["request_id"], name="movement_once_per_request"),
            one_of("movement", "kind", MovementKind.values),
            *not_negative("movement", "balance"),
            models.CheckConstraint(
                condition=Q(kind__in=["receive", "return"], quantity__gt=0)
                | Q(kind__in=["use", "scrap"], quantity__lt=0)
                | (Q(kind="move") & ~Q(quantity=0))
                | Q(kind="count"),
                name="movement_sign_fits_kind",
            ),
        ]
        indexes = [
            models.Index(fields=["team", "-at"], name="movement_team_recent"),
            models.Index(fields=["part", "-at"], name="movement_part_recent"),
        ]

    def __str__(self) -> str:
        return f"{self.get_kind_display()} {self.quantity} {self.part.code}"

    def save(self, *args: Any, **kwargs: Any) -> None:
        if not self._state.adding:
            raise _append_only()
        super().save(*args, **kwargs)

    def delete(self, *args: Any, **kwargs: Any) -> NoReturn:
        raise _append_only()
