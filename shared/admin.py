"""Repair work on people, teams and job rows. Everyday work has its own pages."""

from __future__ import annotations

from django.contrib import admin
from django.contrib.auth.admin import UserAdmin
from django.http import HttpRequest
from simple_history.admin import SimpleHistoryAdmin

from shared.models import JobRun, Membership, Team, User

admin.site.site_header = "Loadstock: repair work"
admin.site.site_title = "Loadstock"
admin.site.register(User, UserAdmin)


class MembershipInline(admin.TabularInline):  # type: ignore[type-arg]  # no type arguments at run time
    model = Membership
    extra = 0
    raw_id_fields = ("user",)


@admin.register(Team)
class TeamAdmin(SimpleHistoryAdmin):  # type: ignore[misc]  # ships no type information
    list_display = ("name", "slug", "is_demo", "archived")
    list_filter = ("archived", "is_demo")
    search_fields = ("name", "slug")
    prepopulated_fields = {"slug": ("name",)}  # read once by the admin
    inlines = (MembershipInline,)

    def has_delete_permission(self, request: HttpRequest, obj: Team | None = None) -> bool:
        """A team is archived: deleting it would take its whole book along."""
        return False


@admin.register(JobRun)
class JobRunAdmin(admin.ModelAdmin):  # type: ignore[type-arg]  # no type arguments at run time
    list_display = ("name", "team", "state", "trigger", "asked_at", "finished_at", "attempts")
    list_filter = ("state", "name", "trigger")
    list_select_related = ("team",)
    raw_id_fields = ("team", "parent", "asked_by")
