"""Incidents of batteries as pages and services read them."""

from __future__ import annotations

from django.db.models import QuerySet

from inventory.models import Battery, BatteryIncident
from shared.access import Scope


def incidents(scope: Scope, battery: Battery | None = None) -> QuerySet[BatteryIncident]:
    """Incidents, newest first; of one battery, or of all."""
    rows = scope.rows(BatteryIncident).select_related("battery", "by").order_by("-happened_at", "-pk")
    return rows if battery is None else rows.filter(battery=battery)


def unlooked(scope: Scope, battery: Battery | None = None) -> QuerySet[BatteryIncident]:
    """Incidents nobody has looked at yet, lesser ones too."""
    return incidents(scope, battery).filter(looked_at=None)


def open_incidents(scope: Scope, battery: Battery | None = None) -> QuerySet[BatteryIncident]:
    """The grave ones nobody has looked at yet."""
    return unlooked(scope, battery).filter(kind__in=BatteryIncident.QUARANTINES)
