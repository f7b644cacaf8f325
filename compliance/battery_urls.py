"""Pages that show how the batteries are; entries about them are pages of inventory."""

from __future__ import annotations

from django.urls import URLPattern, path

from compliance.views.batteries import BatteryDetail, BatteryList
from compliance.views.top_ups import TopUpList

urlpatterns: list[URLPattern] = [
    path("batteries/", BatteryList.as_view(), name="battery-list"),
    path("batteries/top-ups/", TopUpList.as_view(), name="topup-list"),
    path("batteries/<int:pk>/", BatteryDetail.as_view(), name="battery-detail"),
]
