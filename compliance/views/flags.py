"""Flags: the list with its filters, one flag with its working and history, and waivers."""

from __future__ import annotations

from typing import Any

from django import forms
from django.http import HttpRequest, HttpResponse, HttpResponseBase
from django.utils import timezone

from builds.models import Robot
from compliance.models import Flag, FlagState, Severity, SubjectKind, Waiver
from compliance.rules.registry import RULES
from compliance.selectors.flag_filter import (
    ALL,
    CLEARED,
    OPEN,
    STANDINGS,
    SWEEPS,
    WAIVED,
    FlagFilter,
    flags_marked,
)
from compliance.selectors.flags import flag_counts, flag_history, flags_of
from compliance.selectors.subjects import ids_there
from compliance.services.flags import flag_waive, waiver_withdraw
from shared.access import Can
from shared.errors import DomainError
from shared.pages import TeamPage

ROWS = 50


class FlagList(TeamPage):
    nav_key = "flags"

    def get(self, request: HttpRequest, **kwargs: Any) -> HttpResponse:
        chosen = FlagFilter(request.GET, queryset=flags_marked(self.scope))
        flags = chosen.qs if chosen.is_valid() else flags_marked(self.scope).none()
        counts = flag_counts(self.scope, timezone.localdate())
        page = self.page_of(flags, ROWS)
        context = {
            "page_obj": page,
            "flags": page.object_list,
            "found": page.paginator.count,
            "wrong": [str(e) for errors in chosen.form.errors.values() for e in errors],
            "tabs": self.tabs(counts),
            "tab_key": request.GET.get("standing") or OPEN,
            "tally": [(s, counts[s]) for s in counts if s in Severity.values],
            "open_count": sum(number for word, number in counts.items() if word != WAIVED),
            "given": request.GET,
            "severities": Severity.choices,
            "sweeps": SWEEPS,
            "kinds": SubjectKind.choices,
            "robots": self.scope.rows(Robot).filter(archived=False).order_by("code"),
        }
        return self.render("compliance/flags/list.html", context)

    def tabs(self, counts: dict[str, int]) -> list[tuple[str, str, str, int | str]]:
        cleared = self.scope.rows(Flag).filter(state=FlagState.CLEARED).count()
        open_count = sum(number for word, number in counts.items() if word != WAIVED)
        numbers = {OPEN: open_count, WAIVED: counts[WAIVED], CLEARED: cleared}
        numbers[ALL] = sum(numbers.values())
        return [(label, f"?standing={value}", value, numbers[value]) for value, label in STANDINGS]


class WaiverForm(forms.Form):
    reason = forms.CharField(
        max_length=400,
        widget=forms.Textarea(attrs={"rows": 3}),
        help_text="Why it may stay as it is for now. It stays in the history under your name.",
    )
    until = forms.DateField(
        label="Last day",
        widget=forms.DateInput(attrs={"type": "date"}),
        help_text="After this day the flag counts again by itself.",
    )


class FlagDetail(TeamPage):
    nav_key = "flags"

    def get(self, request: HttpRequest, **kwargs: Any) -> HttpResponse:
        return self.show(self.scope.get(flags_marked(self.scope), pk=self.kwargs["pk"]), WaiverForm())

    def show(self, flag: Any, form: WaiverForm, status: int = 200) -> HttpResponse:
        history = flag_history(self.scope, flag)
        others = [f for f in flags_of(self.scope, flag.subject_kind, flag.subject_id) if f.pk != flag.pk]
        context = {
            "flag": flag,
            "rule": RULES.get(flag.rule_code),
            "subject_url": self.subject_url(flag),
            "standing": self.standing_waiver(flag),
            "form": form,
            "governs": self.scope.can(Can.GOVERN),
            "others": others,
            "entries": [
                {
                    "when": e.at,
                    "who": e.by.display_name if e.by else "",
                    "what": e.get_kind_display(),
                    "detail": e.detail,
                }
                for e in history
            ],
        }
        return self.render("compliance/flags/detail.html", context, status=status)

    def standing_waiver(self, flag: Flag) -> Waiver | None:
        waivers = self.scope.rows(Waiver).filter(flag=flag, withdrawn_at__isnull=True)
        return waivers.filter(until__gte=timezone.localdate()).select_related("by").first()

    def subject_url(self, flag: Flag) -> str:
        """The page of what the flag is about, while it exists."""
        if not ids_there(flag.subject_kind, [flag.subject_id]):
            return ""
        return self.url(f"{flag.subject_kind}-detail", pk=flag.subject_id)


class FlagWaive(FlagDetail):
    """A mentor takes responsibility for a flag until a day."""

    write = Can.GOVERN
    http_method_names = ["post"]

    def post(self, request: HttpRequest, **kwargs: Any) -> HttpResponseBase:
        flag = self.scope.get(flags_marked(self.scope), pk=self.kwargs["pk"])
        form = WaiverForm(request.POST)
        if form.is_valid():
            try:
                flag_waive(scope=self.scope, flag=flag, **form.cleaned_data)
            except DomainError as refused:
                if refused.field not in form.fields:
                    raise
                form.add_error(refused.field, refused.sentence)
            else:
                self.say(f"Waived until {form.cleaned_data['until']}.")
                return self.go("flag-detail", pk=flag.pk)
        return self.show(flag, form, status=422)


class WaiverWithdraw(TeamPage):
    """End a waiver before its day."""

    nav_key = "flags"
    write = Can.GOVERN
    http_method_names = ["post"]

    def post(self, request: HttpRequest, **kwargs: Any) -> HttpResponseBase:
        waiver = waiver_withdraw(scope=self.scope, waiver=self.scope.get(Waiver, pk=self.kwargs["pk"]))
        self.say("The waiver is withdrawn; the flag counts again.")
        return self.go("flag-detail", pk=waiver.flag_id)
