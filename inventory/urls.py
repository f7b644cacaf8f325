"""Pages about the stores and the entries made of batteries; what is judged of batteries lives in compliance."""

from __future__ import annotations

from django.urls import URLPattern, path

from inventory.views import batteries, chargers, incidents, intake, parts, spools, stock, supply

BATTERIES: list[URLPattern] = [
    path("batteries/new/", intake.BatteryNew.as_view(), name="battery-new"),
    path("batteries/<int:pk>/edit/", batteries.BatteryEdit.as_view(), name="battery-edit"),
    path("batteries/<int:pk>/state/", batteries.BatteryStatePage.as_view(), name="battery-state"),
    path("batteries/<int:pk>/archive/", batteries.BatteryArchive.as_view(), name="battery-archive"),
    path("batteries/<int:pk>/reading/", batteries.ReadingNew.as_view(), name="reading-new"),
    path("batteries/<int:pk>/charge/end/", batteries.ChargeEnd.as_view(), name="charge-end"),
    path("batteries/<int:pk>/capacity/", batteries.CapacityNew.as_view(), name="capacity-new"),
    path("batteries/<int:pk>/incident/", incidents.IncidentNew.as_view(), name="incident-new"),
    path("batteries/<int:pk>/retire/", incidents.BatteryRetire.as_view(), name="battery-retire"),
    path("incidents/<int:pk>/close/", incidents.IncidentClose.as_view(), name="incident-close"),
    path("chargers/", chargers.ChargerList.as_view(), name="charger-list"),
    path("chargers/new/", chargers.ChargerForm.as_view(), name="charger-new"),
    path("chargers/<int:pk>/edit/", chargers.ChargerForm.as_view(), name="charger-edit"),
    path("chargers/<int:pk>/archive/", chargers.ChargerArchive.as_view(), name="charger-archive"),
    path("readings/<int:pk>/edit/", batteries.ReadingEdit.as_view(), name="reading-edit"),
    path("readings/<int:pk>/delete/", batteries.ReadingDelete.as_view(), name="reading-delete"),
]
PARTS: list[URLPattern] = [
    path("parts/", parts.PartList.as_view(), name="part-list"),
    path("parts/new/<slug:kind>/", parts.PartNew.as_view(), name="part-new"),
    path("parts/<int:pk>/", parts.PartDetail.as_view(), name="part-detail"),
    path("parts/<int:pk>/edit/", parts.PartEdit.as_view(), name="part-edit"),
    path("parts/<int:pk>/archive/", parts.PartArchive.as_view(), name="part-archive"),
    path("parts/<int:pk>/stock/", stock.StockAct.as_view(), name="stock-act"),
    path("parts/<int:pk>/offers/new/", supply.OfferNew.as_view(), name="offer-new"),
    path("parts/<int:pk>/points/new/", parts.PointNew.as_view(), name="point-new"),
    path("points/<int:pk>/edit/", parts.PointEdit.as_view(), name="point-edit"),
]
STORES: list[URLPattern] = [
    path("spools/", spools.SpoolList.as_view(), name="spool-list"),
    path("spools/new/", spools.SpoolNew.as_view(), name="spool-new"),
    path("spools/<int:pk>/", spools.SpoolDetail.as_view(), name="spool-detail"),
    path("spools/<int:pk>/edit/", spools.SpoolEdit.as_view(), name="spool-edit"),
    path("spools/<int:pk>/archive/", spools.SpoolArchive.as_view(), name="spool-archive"),
    path("ledger/", stock.LedgerPage.as_view(), name="ledger"),
    path("ledger/<int:pk>/undo/", stock.MovementUndo.as_view(), name="movement-undo"),
    path("bins/", supply.BinList.as_view(), name="bin-list"),
    path("bins/new/", supply.BinForm.as_view(), name="bin-new"),
    path("bins/<int:pk>/", supply.BinDetail.as_view(), name="bin-detail"),
    path("bins/<int:pk>/edit/", supply.BinForm.as_view(), name="bin-edit"),
    path("bins/<int:pk>/archive/", supply.BinArchive.as_view(), name="bin-archive"),
    path("suppliers/", supply.SupplierList.as_view(), name="supplier-list"),
    path("suppliers/new/", supply.SupplierForm.as_view(), name="supplier-new"),
    path("suppliers/<int:pk>/edit/", supply.SupplierForm.as_view(), name="supplier-edit"),
    path("suppliers/<int:pk>/archive/", supply.SupplierArchive.as_view(), name="supplier-archive"),
    path("offers/", supply.OfferList.as_view(), name="offer-list"),
    path("offers/<int:pk>/edit/", supply.OfferEdit.as_view(), name="offer-edit"),
    path("offers/<int:pk>/archive/", supply.OfferArchive.as_view(), name="offer-archive"),
]
urlpatterns: list[URLPattern] = [*BATTERIES, *PARTS, *STORES]
