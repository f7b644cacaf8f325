"""Pages of a team about what was found and why: home, flags, methods, rule packs."""

from __future__ import annotations

from django.urls import URLPattern, path

from compliance.views.home import TeamHome

urlpatterns: list[URLPattern] = [path("", TeamHome.as_view(), name="team-home")]
