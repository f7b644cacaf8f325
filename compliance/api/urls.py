"""API of flags, waivers, rules and rule packs, and of verdicts on batteries."""

from __future__ import annotations

from django.urls import URLPattern, URLResolver, include, path
from rest_framework.routers import SimpleRouter

from compliance.api.batteries import BatteryVerdictList
from compliance.api.flags import FlagViewSet, WaiverViewSet
from compliance.api.pit import PitMoveEntry, PitPullEntry, PitSwapEntry
from compliance.api.rotation import CalendarApi, CartApi, NextMatchApi, PlanApi, ReviewApi
from compliance.api.rules import RulePackViewSet, RuleSettingViewSet, RuleViewSet

router = SimpleRouter()
router.register("flags", FlagViewSet, basename="api-flag")
router.register("waivers", WaiverViewSet, basename="api-waiver")
router.register("rules", RuleViewSet, basename="api-rule")
router.register("rule-packs", RulePackViewSet, basename="api-rulepack")
router.register("rule-settings", RuleSettingViewSet, basename="api-rulesetting")
urlpatterns: list[URLPattern | URLResolver] = [
    path("rotation/<int:pk>/", PlanApi.as_view(), name="api-rotation-plan"),
    path("rotation/<int:pk>/cart/", CartApi.as_view(), name="api-rotation-cart"),
    path("rotation/<int:pk>/next/", NextMatchApi.as_view(), name="api-rotation-next"),
    path("rotation/<int:pk>/review/", ReviewApi.as_view(), name="api-rotation-review"),
    path("rotation/<int:pk>/schedule.ics", CalendarApi.as_view(), name="api-rotation-calendar"),
    path("pit/<int:pk>/swap/", PitSwapEntry.as_view(), name="api-pit-swap"),
    path("pit/<int:pk>/pull/", PitPullEntry.as_view(), name="api-pit-pull"),
    path("pit/<int:pk>/move/", PitMoveEntry.as_view(), name="api-pit-move"),
    path("battery-verdicts/", BatteryVerdictList.as_view(), name="api-battery-verdicts"),
    path("", include(router.urls)),
]
