"""The schedule of an event, pasted or as a file: shown with every problem first, then all of it or nothing."""

from __future__ import annotations

from typing import Any

from django import forms
from django.core.files.uploadedfile import UploadedFile
from django.http import HttpRequest, HttpResponse, HttpResponseBase
from django.utils import timezone

from builds.models import Event, Match, RotationPlan
from builds.schedule_in import NAMES, as_text
from builds.selectors.events import matches_of
from builds.services.schedule import SAME, SchedulePlan, schedule_import, schedule_plan
from compliance.services.pit import replanned
from compliance.views.event_tabs import event_tabs
from shared.access import Can
from shared.errors import DomainError, NotAllowed
from shared.pages import TeamPage, show_refusal

#: A schedule is a page of text; anything larger is another file.
MOST_BYTES = 256 * 1024
#: How a file may be written down; the last one reads anything.
ENCODINGS = ("utf-8-sig", "utf-16", "latin-1")


class ScheduleForm(forms.Form):
    """The text, or a file with it."""

    schedule = forms.CharField(
        required=False,
        strip=False,
        max_length=MOST_BYTES,
        label="Schedule",
        widget=forms.Textarea({"rows": 12, "spellcheck": "false", "class": "fig"}),
        help_text="Copy the rows out of a table or a message. Tabs, semicolons, commas or strokes may separate them.",
    )
    file = forms.FileField(required=False, label="Or a file", help_text="CSV or text")

    def clean(self) -> dict[str, Any]:
        given = super().clean() or {}
        file: UploadedFile[Any] | None = given.get("file")
        if file is not None:
            given["schedule"] = self._text_of(file)
        elif not (given.get("schedule") or "").strip():
            self.add_error("schedule", "Paste the rows of the schedule, or choose a file.")
        return given

    def _text_of(self, file: UploadedFile[Any]) -> str:
        if (file.size or 0) > MOST_BYTES:
            self.add_error(
                "file", f"{file.name} is too large for a schedule: at most {MOST_BYTES // 1024} kB."
            )
            return ""
        data: bytes = file.read()
        # Without its mark, any even number of bytes would pass for UTF-16.
        marked = data[:2] in (b"\xff\xfe", b"\xfe\xff")
        for encoding in ENCODINGS if marked else ("utf-8-sig", "latin-1"):
            try:
                return data.decode(encoding)
            except UnicodeDecodeError:
                continue
        return ""


class SchedulePage(TeamPage):
    """Paste, look, bring in."""

    nav_key = "pit"
    read = Can.WORK

    def event(self) -> Event:
        return self.scope.get(Event, pk=self.kwargs["pk"])

    def get(self, request: HttpRequest, **kwargs: Any) -> HttpResponse:
        return self.show(self.event(), ScheduleForm())

    def show(
        self,
        event: Event,
        form: forms.Form,
        plan: SchedulePlan | None = None,
        text: str = "",
        status: int = 200,
    ) -> HttpResponse:
        context = {
            "event": event,
            "form": form,
            "plan": plan,
            "text": text,
            "changes": plan is not None and any(entry.what != SAME for entry in plan.entries),
            "tabs": event_tabs(self, event),
            "columns": NAMES.values(),
            "importances": Match.Importance.labels,
            "robots": list(event.robots.order_by("code")),
            "standing": self.scope.rows(Match).filter(event=event).count(),
        }
        return self.render("compliance/rotation/schedule.html", context, status=status)

    def post(self, request: HttpRequest, **kwargs: Any) -> HttpResponseBase:
        event = self.event()
        form = ScheduleForm(request.POST, request.FILES)
        if not form.is_valid():
            return self.show(event, form, status=422)
        text = form.cleaned_data["schedule"]
        if "bring" not in request.POST:
            plan = schedule_plan(scope=self.scope, event=event, text=text)
            # The text stands in the field again, so that it is mended where it is read.
            form = ScheduleForm(initial={"schedule": text})
            return self.show(event, form, plan, text)
        try:
            done = schedule_import(scope=self.scope, event=event, text=text)
        except NotAllowed:
            raise
        except DomainError as refused:
            show_refusal(form, refused)
            return self.show(event, form, status=422)
        self.say(done.headline)
        if any(entry.what != SAME for entry in done.entries):
            why = "The schedule was brought in."
            for sentence in replanned(self.scope, event, RotationPlan.Reason.MATCHES, why):
                self.say(sentence)
        return self.go("rotation", pk=event.pk)


class ScheduleOut(TeamPage):
    """The schedule as it stands, in the columns it comes in with; of an empty one, a row to start from."""

    nav_key = "pit"

    def get(self, request: HttpRequest, **kwargs: Any) -> HttpResponse:
        event = self.scope.get(Event, pk=self.kwargs["pk"])
        rows: list[tuple[object, ...]] = [
            (
                f"{timezone.localtime(match.starts_at):%Y-%m-%d}",
                f"{timezone.localtime(match.starts_at):%H:%M}",
                match.number,
                match.robot.code,
                match.get_importance_display(),
                match.strength or "",
                match.carrier,
            )
            for match in matches_of(self.scope, event)
            if not match.called_off
        ]
        if not rows:
            first = event.robots.order_by("code").first()
            code = first.code if first else ""
            rows = [(f"{event.starts_on:%Y-%m-%d}", "09:40", "1", code, "Round", 3, "")]
        answer = HttpResponse(as_text([tuple(NAMES.values()), *rows]), content_type="text/csv; charset=utf-8")
        answer["Content-Disposition"] = f'attachment; filename="schedule-{event.pk}.csv"'
        return answer
