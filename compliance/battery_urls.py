"""Pages that show how the batteries are; entries about them are pages of inventory."""

from __future__ import annotations

from django.urls import URLPattern, path

from compliance.views.batteries import BatteryDetail, BatteryList

urlpatterns: list[URLPattern] = [
    path("batteries/", BatteryList.as_view(), name="battery-list"),
    path("batteries/<int:pk>/", BatteryDetail.as_view(), name="battery-detail"),
]
