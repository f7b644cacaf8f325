"""Forms of the ledger: one for each thing a person does with stock, and the entry of a spool."""

from __future__ import annotations

import uuid
from decimal import Decimal
from typing import Any

from django import forms
from django.db.models import Q

from inventory.models import Bin, MovementKind, Part, PartKind, Spool, StockItem, WireType
from inventory.services.quantities import shown
from shared.access import Scope
from shared.fields import QuantityField

#: What is asked about the place, by what is done.
PLACE_WORDS: dict[str, str] = {
    MovementKind.RECEIVE: "Into bin",
    MovementKind.USE: "Out of bin",
    MovementKind.RETURN: "Back into bin",
    MovementKind.SCRAP: "Out of bin",
    MovementKind.COUNT: "Counted in bin",
    MovementKind.MOVE: "From bin",
}
#: Kinds that put something in; the others can only reach for a bin that holds the part.
FILLS = (MovementKind.RECEIVE, MovementKind.RETURN, MovementKind.COUNT)


class BinChoice(forms.ModelChoiceField):  # type: ignore[type-arg]  # generic in the stubs only
    """Bins, each with how much of the part lies in it."""

    held: dict[int, str]

    def label_from_instance(self, obj: Any) -> str:
        name = f"{obj.code} {obj.name}".strip()
        return f"{name}: holds {self.held[obj.pk]}" if obj.pk in self.held else name


class SpoolChoice(forms.ModelChoiceField):  # type: ignore[type-arg]  # generic in the stubs only
    """Spools, each with its rest and its place."""

    def label_from_instance(self, obj: Any) -> str:
        return f"{obj.code}: {obj.remaining_m.normalize():f} m, in {obj.bin.code}"


class StockForm(forms.Form):
    """One movement of one part. ``request_id`` makes a second tap the same line of the ledger."""

    request_id = forms.UUIDField(widget=forms.HiddenInput)

    def __init__(self, data: Any = None, *, scope: Scope, part: Part, kind: str, start: str = "") -> None:
        super().__init__(data, initial={"request_id": uuid.uuid4()})
        self.scope, self.part, self.kind = scope, part, kind
        self._add_place(start)
        if kind == MovementKind.MOVE:
            bins = scope.rows(Bin).filter(archived=False)
            self.fields["to_bin"] = forms.ModelChoiceField(bins, label="Into bin")
        if not (kind == MovementKind.MOVE and self.is_wire):
            self._add_quantity()
        scrap = kind == MovementKind.SCRAP
        self.fields["reason"] = forms.CharField(
            max_length=200,
            required=scrap,
            label="What was wrong with it" if scrap else "What for",
            help_text="" if scrap else "Which robot, repair or order",
        )

    @property
    def is_wire(self) -> bool:
        return self.part.kind == PartKind.WIRE

    def _add_quantity(self) -> None:
        metres = self.part.unit == "m"
        counted = self.kind == MovementKind.COUNT
        field = QuantityField(
            unit="m" if metres else "",
            number=Decimal,
            places=3,
            label="Counted" if counted else ("Length" if metres else "How many"),
        )
        field.help_text = field.unit_hint if metres else ""
        if not metres:
            field.widget.attrs |= {"data-stepper": "1", "inputmode": "numeric", "min": "0"}
        self.fields["quantity"] = field

    def _add_place(self, start: str) -> None:
        if self.is_wire:
            rows = self.scope.rows(Spool).filter(wire_id=self.part.pk, archived=False).select_related("bin")
            self.fields["spool"] = SpoolChoice(rows.order_by("remaining_m", "code"), label="Spool")
            self.initial["spool"] = start or None
            return
        items = (
            self.scope.rows(StockItem)
            .filter(part=self.part, quantity__gt=0)
            .order_by("-quantity", "bin__code")
        )
        held = {item.bin_id: shown(self.part, item.quantity) for item in items}
        bins = self.scope.rows(Bin).filter(archived=False)
        if self.kind not in FILLS:
            bins = self.scope.rows(Bin).filter(pk__in=held)
        elif self.kind == MovementKind.COUNT:
            bins = self.scope.rows(Bin).filter(Q(archived=False) | Q(pk__in=held))
        field = BinChoice(bins, label=PLACE_WORDS[self.kind])
        field.held = held
        self.fields["bin"] = field
        self.initial["bin"] = start or next(iter(held), None)


class SpoolForm(forms.Form):
    """A new spool, or a part-used one."""

    request_id = forms.UUIDField(widget=forms.HiddenInput)
    code = forms.CharField(max_length=40, help_text="As written on the spool")
    wire = forms.ModelChoiceField(WireType.objects.none(), label="Wire type")
    bin = forms.ModelChoiceField(Bin.objects.none(), label="In bin")
    full_length_m = QuantityField(unit="m", number=Decimal, places=3, label="Full length (m)")
    remaining_m = QuantityField(unit="m", number=Decimal, places=3, label="Left on it (m)", required=False)
    reason = forms.CharField(max_length=200, required=False, label="Where it came from")

    def __init__(self, data: Any = None, *, scope: Scope, wire: str = "") -> None:
        super().__init__(data, initial={"request_id": uuid.uuid4(), "wire": wire or None})
        for name, model in (("wire", WireType), ("bin", Bin)):
            field = self.fields[name]
            assert isinstance(field, forms.ModelChoiceField)
            field.queryset = scope.rows(model).filter(archived=False)  # type: ignore[misc]  # both archive
        self.fields["remaining_m"].help_text = "Empty for a full spool"
