"""Duty profiles: how loads are used over a match, drawn as they are entered."""

from __future__ import annotations

from typing import Any

from django.core.exceptions import ValidationError
from django.http import HttpRequest, HttpResponse, HttpResponseBase

from builds.duty_starters import STARTERS
from builds.forms.duties import PhaseTable, ProfileForm, phase_table
from builds.models import DutyPhase, DutyProfile
from builds.selectors.duties import CIRCUITS_SHOWN, duty_picture, followers, profile_rows
from builds.services.duties import profile_delete, profile_save
from shared.access import Can
from shared.errors import DomainError
from shared.pages import TeamPage, show_refusal


class DutyList(TeamPage):
    """The team's profiles, and those to start from that it does not have yet."""

    nav_key = "robots"

    def get(self, request: HttpRequest, **kwargs: Any) -> HttpResponse:
        rows = profile_rows(self.scope)
        taken = {row.profile.code for row in rows}
        starters = [
            (starter, duty_picture(starter.name, starter.rows()))
            for code, starter in STARTERS.items()
            if code not in taken
        ]
        context = {"rows": rows, "starters": starters, "works": self.scope.can(Can.WORK)}
        return self.render("builds/duty_list.html", context)


class DutyDetail(TeamPage):
    """One round of a profile as a picture, and the circuits that follow it."""

    nav_key = "robots"

    def get(self, request: HttpRequest, **kwargs: Any) -> HttpResponse:
        profile = self.scope.get(DutyProfile, pk=self.kwargs["pk"])
        circuits = followers(self.scope, profile)
        context = {
            "profile": profile,
            "chart": duty_picture(profile.name, list(profile.phases.all())),
            "circuits": circuits[:CIRCUITS_SHOWN],
            "count": circuits.count(),
            "works": self.scope.can(Can.WORK),
        }
        return self.render("builds/duty_detail.html", context)


class DutyPage(TeamPage):
    """A profile with its phases, saved together; ``draw`` in the answer only draws what was typed."""

    nav_key = "robots"
    read = Can.WORK

    def profile(self) -> DutyProfile:
        if "pk" in self.kwargs:
            return self.scope.get(DutyProfile, pk=self.kwargs["pk"])
        starter = STARTERS.get(self.request.GET.get("starter", ""))
        made = DutyProfile(team=self.scope.team)
        if starter:
            made.code, made.name = starter.code, starter.name
        return made

    def phases(self, profile: DutyProfile) -> list[DutyPhase]:
        if profile.pk:
            return list(profile.phases.all())
        starter = STARTERS.get(self.request.GET.get("starter", ""))
        return starter.rows() if starter else []

    def get(self, request: HttpRequest, **kwargs: Any) -> HttpResponse:
        profile = self.profile()
        phases = self.phases(profile)
        form = ProfileForm(instance=profile, team=self.scope.team)
        return self.show(profile, form, phase_table(self.scope.team, phases=phases), phases)

    def post(self, request: HttpRequest, **kwargs: Any) -> HttpResponseBase:
        profile = self.profile()
        form = ProfileForm(request.POST, instance=profile, team=self.scope.team)
        table = phase_table(self.scope.team, request.POST)
        right = table.is_valid() and form.is_valid()
        phases = table.rows() if table.is_valid() else []
        if right and "draw" not in request.POST:
            try:
                profile_save(scope=self.scope, profile=form.instance, phases=phases)
            except (ValidationError, DomainError) as refused:
                show_refusal(form, refused)
            else:
                self.say(f"Duty profile {form.instance} saved.")
                return self.go("duty-detail", pk=form.instance.pk)
        drawn = right and "draw" in request.POST
        return self.show(profile, form, table, phases, status=200 if drawn else 422)

    def show(
        self, profile: DutyProfile, form: Any, table: PhaseTable, phases: list[DutyPhase], status: int = 200
    ) -> HttpResponse:
        context = {
            "title": f"Edit {profile}" if profile.pk else "New duty profile",
            "form": form,
            "table": table,
            "chart": duty_picture(profile.name or "As typed", phases) if phases else None,
            "back_url": self.url("duty-detail", pk=profile.pk) if profile.pk else self.url("duty-list"),
        }
        return self.render("builds/duty_form.html", context, status=status)


class DutyDelete(TeamPage):
    """Asks once more; a profile that circuits follow is refused with their names."""

    nav_key = "robots"
    read = Can.WORK

    def get(self, request: HttpRequest, **kwargs: Any) -> HttpResponse:
        profile = self.scope.get(DutyProfile, pk=self.kwargs["pk"])
        context = {
            "question": f"Delete duty profile {profile}?",
            "consequence": "Its history stays.",
            "confirm_label": "Delete the profile",
            "cancel_url": self.url("duty-detail", pk=profile.pk),
            "danger": True,
        }
        return self.render("web/_confirm.html", context)

    def post(self, request: HttpRequest, **kwargs: Any) -> HttpResponseBase:
        profile = self.scope.get(DutyProfile, pk=self.kwargs["pk"])
        name = str(profile)
        profile_delete(scope=self.scope, profile=profile)
        self.say(f"Duty profile {name} deleted.")
        return self.go("duty-list")
