"""Pages of a team about what was found and why: home, flags, methods, rule packs."""

from __future__ import annotations

from django.urls import URLPattern, path

from compliance.views import flags, methods, packs
from compliance.views.home import TeamHome

urlpatterns: list[URLPattern] = [
    path("", TeamHome.as_view(), name="team-home"),
    path("flags/", flags.FlagList.as_view(), name="flag-list"),
    path("flags/<int:pk>/", flags.FlagDetail.as_view(), name="flag-detail"),
    path("flags/<int:pk>/waive/", flags.FlagWaive.as_view(), name="flag-waive"),
    path("waivers/<int:pk>/withdraw/", flags.WaiverWithdraw.as_view(), name="waiver-withdraw"),
    path("methods/", methods.MethodList.as_view(), name="method-list"),
    path("methods/<slug:code>/", methods.MethodDetail.as_view(), name="method-detail"),
    path("packs/", packs.PackList.as_view(), name="pack-list"),
    path("packs/new/", packs.PackEdit.as_view(), name="pack-new"),
    path("packs/<int:pk>/", packs.PackDetail.as_view(), name="pack-detail"),
    path("packs/<int:pk>/edit/", packs.PackEdit.as_view(), name="pack-edit"),
    path("packs/<int:pk>/delete/", packs.PackDelete.as_view(), name="pack-delete"),
    path("packs/<int:pk>/rules/<slug:code>/", packs.SettingEdit.as_view(), name="pack-rule"),
]
