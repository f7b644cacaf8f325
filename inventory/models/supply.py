"""Who sells a part, in which packs, and how long it takes."""

from __future__ import annotations

from decimal import Decimal

from django.db import models
from simple_history.models import HistoricalRecords

from inventory.models.catalogue import Part
from shared.models.base import TeamOwned
from shared.models.constraints import not_negative, positive


class Supplier(TeamOwned):
    name = models.CharField(max_length=80)
    contact = models.CharField(max_length=200, blank=True)
    notes = models.TextField(blank=True)
    archived = models.BooleanField(default=False)
    history = HistoricalRecords()

    class Meta:
        ordering = ["name"]
        constraints = [models.UniqueConstraint(fields=["team", "name"], name="supplier_name_once_per_team")]

    def __str__(self) -> str:
        return self.name


class Offer(TeamOwned):
    """A supplier's price for one pack of a part, with its pack size and lead time."""

    part = models.ForeignKey(Part, on_delete=models.CASCADE, related_name="offers")
    supplier = models.ForeignKey(Supplier, on_delete=models.CASCADE, related_name="offers")
    supplier_code = models.CharField(max_length=60, blank=True)
    price = models.DecimalField(
        max_digits=10, decimal_places=2, help_text="For one pack, in the team's currency"
    )
    pack_size = models.DecimalField(
        max_digits=10, decimal_places=3, default=Decimal(1), help_text="How many (or metres) one pack holds"
    )
    minimum_packs = models.PositiveIntegerField(default=1)
    lead_time_days = models.PositiveIntegerField(help_text="From ordering to the shelf, in days")
    archived = models.BooleanField(default=False)
    history = HistoricalRecords()

    class Meta:
        ordering = ["part", "price"]
        constraints = [
            models.UniqueConstraint(
                fields=["part", "supplier", "pack_size"], name="offer_once_per_supplier_and_pack"
            ),
            *positive("offer", "pack_size", "minimum_packs"),
            *not_negative("offer", "price"),
        ]

    def __str__(self) -> str:
        return f"{self.part.code} from {self.supplier.name}"
