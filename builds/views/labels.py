"""Labels of batteries, spools, bins and robots: choose, look at the sheet, take the PDF."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

from django.http import HttpRequest, HttpResponse, QueryDict
from django.utils import timezone

from builds.forms.labels import KINDS, LabelForm
from builds.selectors.labels import labels_of, thing_key, things_chosen
from builds.selectors.scan import Thing, things
from shared.access import Scope
from shared.errors import DomainError
from shared.labels.art import Label
from shared.labels.codes import Kind
from shared.labels.layouts import LAYOUTS, Layout
from shared.labels.pdf import labels_pdf
from shared.pages import TeamPage, show_refusal
from shared.web.charts import LabelSheet


@dataclass(frozen=True)
class Choice:
    """What was asked for, looked up; ``labels`` is empty while nothing is chosen or something is wrong."""

    form: LabelForm
    known: tuple[Thing, ...]
    chosen: tuple[Thing, ...] = ()
    labels: tuple[Label, ...] = ()

    @property
    def layout(self) -> Layout:
        return LAYOUTS.get(self.form.cleaned_data.get("layout", ""), next(iter(LAYOUTS.values())))

    def pdf(self, team_name: str) -> bytes:
        given = self.form.cleaned_data
        return labels_pdf(
            self.labels,
            self.layout,
            start=given["start"],
            shift_x_mm=given["shift_x_mm"],
            shift_y_mm=given["shift_y_mm"],
            title=f"Labels of {team_name}, {timezone.localdate()}",
        )


def read_choice(scope: Scope, data: QueryDict) -> Choice:
    """Look up what a query string asks for; what is wrong with it stands on the form."""
    known = things(scope)
    form = LabelForm(known, data)
    if not form.is_valid():
        return Choice(form, known)
    given = form.cleaned_data
    try:
        chosen = things_chosen(known, [Kind(letter) for letter in given["kind"]], given["thing"])
        return Choice(form, known, chosen, labels_of(scope, chosen, given["copies"]))
    except DomainError as refused:
        show_refusal(form, refused)
        return Choice(form, known)


def pdf_answer(choice: Choice, team_name: str, slug: str) -> HttpResponse:
    answer = HttpResponse(choice.pdf(team_name), content_type="application/pdf")
    answer["Content-Disposition"] = f'inline; filename="labels-{slug}.pdf"'
    return answer


class LabelList(TeamPage):
    """Choose things and a sheet; below, the first sheet as it will be printed."""

    nav_key = "stores"

    def get(self, request: HttpRequest, **kwargs: Any) -> HttpResponse:
        return self.show(read_choice(self.scope, request.GET))

    def show(self, choice: Choice) -> HttpResponse:
        sheet = None
        if choice.labels:
            start = choice.form.cleaned_data["start"]
            sheet = LabelSheet(choice.layout, choice.labels, start, self.start_url)
        context = {
            "form": choice.form,
            "groups": self.groups(choice),
            "chosen": choice.chosen,
            "sheet": sheet,
            "query": self.request.GET.urlencode(),
        }
        return self.render("builds/labels.html", context, status=422 if choice.form.errors else 200)

    def start_url(self, place: int) -> str:
        query = self.request.GET.copy()
        query["start"] = str(place)
        return f"?{query.urlencode()}"

    def groups(self, choice: Choice) -> list[dict[str, Any]]:
        """Kinds with their things, and what of them is ticked."""
        kinds, keys = self.request.GET.getlist("kind"), self.request.GET.getlist("thing")
        return [
            {
                "kind": kind,
                "label": label,
                "whole": kind.value in kinds,
                "things": [
                    (thing_key(thing), thing, thing_key(thing) in keys)
                    for thing in choice.known
                    if thing.kind == kind and (not thing.archived or thing_key(thing) in keys)
                ],
                "some": any(key.startswith(kind.value) for key in keys),
            }
            for kind, label in KINDS.items()
        ]


class LabelPdf(LabelList):
    """The PDF of the same query; what is wrong with it is shown on the page."""

    def get(self, request: HttpRequest, **kwargs: Any) -> HttpResponse:
        choice = read_choice(self.scope, request.GET)
        if not choice.labels:
            if not choice.form.errors:
                choice.form.add_error(None, "Nothing is chosen. Tick a kind, or things one by one.")
            return self.show(choice)
        return pdf_answer(choice, self.scope.team.name, self.scope.team.slug)
