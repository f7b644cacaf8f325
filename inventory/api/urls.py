"""API of catalogue, stores and batteries."""

from __future__ import annotations

from django.urls import URLPattern, URLResolver, include, path
from rest_framework.routers import SimpleRouter

from inventory.api import batteries, catalogue, stores

router = SimpleRouter()
router.register("parts", catalogue.PartViewSet, basename="api-part")
router.register("wire-types", catalogue.WireTypeViewSet, basename="api-wiretype")
router.register("terminals", catalogue.TerminalTypeViewSet, basename="api-terminaltype")
router.register("devices", catalogue.ProtectiveDeviceViewSet, basename="api-protectivedevice")
router.register("device-points", catalogue.DevicePointViewSet, basename="api-devicepoint")
router.register("battery-models", catalogue.BatteryModelViewSet, basename="api-batterymodel")
router.register("components", catalogue.ComponentViewSet, basename="api-component")
router.register("bins", catalogue.BinViewSet, basename="api-bin")
router.register("suppliers", catalogue.SupplierViewSet, basename="api-supplier")
router.register("offers", catalogue.OfferViewSet, basename="api-offer")
router.register("stock", stores.StockItemViewSet, basename="api-stockitem")
router.register("spools", stores.SpoolViewSet, basename="api-spool")
router.register("movements", stores.MovementViewSet, basename="api-movement")
router.register("batteries", batteries.BatteryViewSet, basename="api-battery")
router.register("readings", batteries.ReadingViewSet, basename="api-reading")
router.register("chargers", batteries.ChargerViewSet, basename="api-charger")
router.register("incidents", batteries.IncidentViewSet, basename="api-incident")
router.register("capacity-tests", batteries.CapacityTestViewSet, basename="api-capacitytest")
urlpatterns: list[URLPattern | URLResolver] = [path("", include(router.urls))]
