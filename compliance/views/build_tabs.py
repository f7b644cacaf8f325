"""The tabs that lead from one page of a build to the others."""

from __future__ import annotations

from builds.models import Build
from shared.pages import TeamPage

BUILD_TABS = (
    ("Circuits", "build-detail", "circuits"),
    ("Power", "build-power", "power"),
    ("Cheapest fix", "build-fixes", "fixes"),
    ("Which battery", "build-cart", "cart"),
    ("Current limits", "build-limits", "limits"),
    ("Compare", "build-compare", "compare"),
)


def build_tabs(page: TeamPage, build: Build) -> list[tuple[str, str, str]]:
    """Label, address and key of every page of the build."""
    return [(label, page.url(name, pk=build.pk), key) for label, name, key in BUILD_TABS]
