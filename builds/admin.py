"""Repair work on robots and events; everyday work is done on the pages, which keep to the rules."""

from __future__ import annotations

from typing import Any, ClassVar

from django import forms
from django.contrib import admin
from simple_history.admin import SimpleHistoryAdmin

from builds.models import (
    Build,
    BuildLine,
    Circuit,
    DutyPhase,
    DutyProfile,
    Event,
    Handling,
    Match,
    Outing,
    Robot,
    Season,
)
from builds.services.circuits import check_feed
from shared.errors import DomainError
from shared.pages import show_refusal


class RepairAdmin(SimpleHistoryAdmin):  # type: ignore[misc]  # the library has no types
    """One row with its history. Related rows are looked up by id, so that a long list never loads."""

    list_filter = ("team",)
    list_select_related: ClassVar[Any] = ("team",)
    history_list_display = ("history_change_reason",)

    def get_list_display(self, request: object) -> tuple[str, ...]:
        return ("__str__", "team")


@admin.register(Season)
class SeasonAdmin(RepairAdmin):
    search_fields = ("name",)


@admin.register(Robot)
class RobotAdmin(RepairAdmin):
    search_fields = ("code", "name")
    raw_id_fields = ("season",)


@admin.register(Build)
class BuildAdmin(RepairAdmin):
    search_fields = ("label", "robot__code", "robot__name")
    list_select_related = ("team", "robot")
    raw_id_fields = ("robot", "battery_model")


@admin.register(BuildLine)
class BuildLineAdmin(RepairAdmin):
    search_fields = ("part__code", "note")
    list_select_related = ("team", "part")
    raw_id_fields = ("build", "part")


class CircuitForm(forms.ModelForm):  # type: ignore[type-arg]  # generic in the stubs only
    """A repair, too, may not feed circuits in a ring."""

    def _post_clean(self) -> None:
        super()._post_clean()  # type: ignore[misc]  # missing from the stubs
        try:
            check_feed(self.instance)
        except DomainError as refused:
            show_refusal(self, refused)


@admin.register(Circuit)
class CircuitAdmin(RepairAdmin):
    form = CircuitForm
    search_fields = ("code", "name", "build__robot__code")
    raw_id_fields = (
        "build",
        "fed_from",
        "device",
        "wire",
        "component",
        "terminal_source",
        "terminal_load",
        "profile",
    )


@admin.register(DutyProfile)
class DutyProfileAdmin(RepairAdmin):
    search_fields = ("code", "name")


@admin.register(DutyPhase)
class DutyPhaseAdmin(RepairAdmin):
    search_fields = ("profile__code", "name")
    list_select_related = ("team", "profile")
    raw_id_fields = ("profile",)


@admin.register(Event)
class EventAdmin(RepairAdmin):
    search_fields = ("name", "place")
    raw_id_fields = ("season", "robots", "batteries", "chargers")


@admin.register(Handling)
class HandlingAdmin(RepairAdmin):
    search_fields = ("event__name",)
    list_select_related = ("team", "event")
    raw_id_fields = ("event",)


@admin.register(Match)
class MatchAdmin(RepairAdmin):
    search_fields = ("number", "event__name")
    list_select_related = ("team", "event")
    raw_id_fields = ("event", "robot")


@admin.register(Outing)
class OutingAdmin(RepairAdmin):
    search_fields = ("battery__code", "note")
    list_select_related = ("team", "battery")
    raw_id_fields = ("battery", "robot", "match", "by")
