"""Repair work on flags and rule packs. Flags are shown, not written: a sweep would write them again."""

from __future__ import annotations

from django.contrib import admin
from django.http import HttpRequest
from simple_history.admin import SimpleHistoryAdmin

from compliance.models import Flag, FlagEvent, RulePack, RuleSetting, Waiver


class ReadOnly:
    """Nobody adds, changes or deletes here."""

    def has_add_permission(self, request: HttpRequest, obj: object = None) -> bool:
        return False

    def has_change_permission(self, request: HttpRequest, obj: object = None) -> bool:
        return False

    def has_delete_permission(self, request: HttpRequest, obj: object = None) -> bool:
        return False


class EventInline(ReadOnly, admin.TabularInline):  # type: ignore[type-arg]  # no type arguments at run time
    model = FlagEvent


@admin.register(Flag)
class FlagAdmin(ReadOnly, admin.ModelAdmin):  # type: ignore[type-arg]  # no type arguments at run time
    list_display = ("rule_code", "subject_label", "severity", "state", "team", "opened_at")
    list_filter = ("state", "severity", "sweep", "team")
    search_fields = ("subject_label", "rule_code", "message")
    list_select_related = ("team",)
    inlines = (EventInline,)


@admin.register(Waiver)
class WaiverAdmin(SimpleHistoryAdmin):  # type: ignore[misc]  # ships no type information
    list_display = ("flag", "until", "by", "withdrawn_at", "team")
    list_filter = ("team",)
    list_select_related = ("flag", "by", "team")
    raw_id_fields = ("flag", "by")


class SettingInline(admin.TabularInline):  # type: ignore[type-arg]  # no type arguments at run time
    model = RuleSetting
    extra = 0


@admin.register(RulePack)
class RulePackAdmin(SimpleHistoryAdmin):  # type: ignore[misc]  # ships no type information
    list_display = ("name", "season", "team")
    list_filter = ("team",)
    list_select_related = ("season", "team")
    inlines = (SettingInline,)
