"""Admin for repair work: every row with its history. The ledger and its running totals are read only."""

from __future__ import annotations

from typing import Any

from django.contrib import admin
from django.http import HttpRequest
from simple_history.admin import SimpleHistoryAdmin

from inventory.models import (
    Battery,
    BatteryIncident,
    BatteryModel,
    Bin,
    CapacityTest,
    Charge,
    Charger,
    Component,
    DevicePoint,
    Movement,
    Offer,
    Part,
    ProtectiveDevice,
    Reading,
    Spool,
    StockItem,
    Supplier,
    TerminalType,
    WireType,
)

#: (model, columns, searched columns); the team of a row is set once and shown, never moved.
REPAIRED: tuple[tuple[type[Any], tuple[str, ...], tuple[str, ...]], ...] = (
    (Part, ("code", "name", "kind", "archived"), ("code", "name")),
    (WireType, ("code", "name", "size_typed", "archived"), ("code", "name")),
    (TerminalType, ("code", "name", "form", "archived"), ("code", "name")),
    (ProtectiveDevice, ("code", "name", "rating_a", "archived"), ("code", "name")),
    (DevicePoint, ("device", "multiple", "status"), ("device__code",)),
    (BatteryModel, ("code", "name", "chemistry", "archived"), ("code", "name")),
    (Component, ("code", "name", "role", "archived"), ("code", "name")),
    (Bin, ("code", "name", "travels", "archived"), ("code", "name")),
    (Spool, ("code", "wire", "bin", "remaining_m", "archived"), ("code", "wire__code")),
    (Supplier, ("name", "contact", "archived"), ("name",)),
    (Offer, ("part", "supplier", "price", "lead_time_days", "archived"), ("part__code", "supplier__name")),
    (Battery, ("code", "model", "state", "archived"), ("code", "serial")),
    (Reading, ("battery", "taken_at", "resistance_mohm", "method", "instrument"), ("battery__code",)),
    (Charger, ("name", "current_a", "absorption_min", "archived"), ("name",)),
    (Charge, ("battery", "charger", "started_at", "ended_at"), ("battery__code", "charger__name")),
    (BatteryIncident, ("battery", "happened_at", "kind", "looked_at"), ("battery__code", "note")),
    (CapacityTest, ("battery", "tested_at", "capacity_ah", "current_a"), ("battery__code",)),
)

#: Settled once a row stands: other rows rest on them.
FIXED = ("team", "kind", "unit", "created_at", "updated_at")


class RowAdmin(SimpleHistoryAdmin):  # type: ignore[misc]  # the library has no types
    """A row with its history; what other parts of the ledger rest on cannot be typed over."""

    list_filter = ("team",)
    list_per_page = 100

    def get_readonly_fields(self, request: HttpRequest, obj: Any = None) -> list[str]:
        names = {f.name for f in self.model._meta.fields}
        fixed = [name for name in FIXED if name in names]
        # Where a spool lies and which wire is on it is what its lines in the ledger say.
        return [*fixed, "wire", "bin", "remaining_m"] if self.model is Spool else fixed

    def has_add_permission(self, request: HttpRequest) -> bool:
        """Rows are entered on the pages, where services check them and say whose they are."""
        return False

    def has_delete_permission(self, request: HttpRequest, obj: Any = None) -> bool:
        """Nothing is lost: rows are archived."""
        return False


class ReadOnlyAdmin(admin.ModelAdmin):  # type: ignore[type-arg]  # generic in the stubs only
    """Shown for inspection only."""

    list_filter = ("team",)
    list_per_page = 100

    def has_add_permission(self, request: HttpRequest) -> bool:
        return False

    def has_change_permission(self, request: HttpRequest, obj: Any = None) -> bool:
        return False

    def has_delete_permission(self, request: HttpRequest, obj: Any = None) -> bool:
        return False


@admin.register(Movement)
class MovementAdmin(ReadOnlyAdmin):
    list_display = ("at", "kind", "part", "bin", "spool", "quantity", "balance", "by")
    list_select_related = ("part", "bin", "spool", "by")
    search_fields = ("part__code", "reason")


@admin.register(StockItem)
class StockItemAdmin(ReadOnlyAdmin):
    list_display = ("part", "bin", "quantity")
    list_select_related = ("part", "bin")
    search_fields = ("part__code", "bin__code")


for model, columns, searched in REPAIRED:
    admin.site.register(
        model,
        type(
            f"{model.__name__}Admin",
            (RowAdmin,),
            {"list_display": ("team", *columns), "search_fields": searched, "list_select_related": True},
        ),
    )
