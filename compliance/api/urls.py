"""API of flags, waivers, rules and rule packs."""

from __future__ import annotations

from rest_framework.routers import SimpleRouter

from compliance.api.flags import FlagViewSet, WaiverViewSet
from compliance.api.rules import RulePackViewSet, RuleSettingViewSet, RuleViewSet

router = SimpleRouter()
router.register("flags", FlagViewSet, basename="api-flag")
router.register("waivers", WaiverViewSet, basename="api-waiver")
router.register("rules", RuleViewSet, basename="api-rule")
router.register("rule-packs", RulePackViewSet, basename="api-rulepack")
router.register("rule-settings", RuleSettingViewSet, basename="api-rulesetting")
urlpatterns = router.urls
