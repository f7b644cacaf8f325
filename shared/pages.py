"""Page views of a team: resolve who is asking, refuse in plain words, call one service or selector, render.

A page view subclasses ``TeamPage`` (or one of the row pages below) and holds no rule of its own.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from typing import Any, ClassVar, cast

from django.contrib import messages
from django.contrib.auth.views import redirect_to_login
from django.core.exceptions import ValidationError
from django.core.paginator import Paginator
from django.db.models import QuerySet
from django.forms import BaseForm, ModelForm
from django.http import HttpRequest, HttpResponse, HttpResponseBase, HttpResponseRedirect
from django.shortcuts import render
from django.urls import reverse
from django.utils.text import capfirst
from django.views.generic import View

from shared.access import Can, Scope, scope_for
from shared.errors import DomainError
from shared.fields import quantity_form
from shared.models import TeamOwned
from shared.records import errors_by_field, record_archive, record_save

PAGE_ROWS = 100


class TeamPage(View):
    """A page under /t/<team>/. GET needs ``read``, any other method ``write``; a stranger gets 404."""

    nav_key: ClassVar[str] = ""
    read: ClassVar[Can] = Can.READ
    write: ClassVar[Can] = Can.WORK
    scope: Scope

    def dispatch(self, request: HttpRequest, *args: Any, **kwargs: Any) -> HttpResponseBase:
        if not request.user.is_authenticated:
            return redirect_to_login(request.get_full_path())
        self.scope = scope_for(request.user, kwargs.pop("team"))
        self.kwargs = kwargs
        request.scope = self.scope  # type: ignore[attr-defined]  # the context processor reads it
        request.nav_key = self.nav_key  # type: ignore[attr-defined]
        try:
            self.scope.require(self.read if request.method in ("GET", "HEAD", "OPTIONS") else self.write)
            return super().dispatch(request, *args, **kwargs)
        except DomainError as refused:
            return self.refuse(refused)

    def refuse(self, error: DomainError) -> HttpResponse:
        return render(self.request, "web/refused.html", {"error": error}, status=error.status_code)

    def render(self, template: str, context: dict[str, Any], status: int = 200) -> HttpResponse:
        return render(self.request, template, context, status=status)

    def url(self, name: str, **kwargs: Any) -> str:
        return reverse(name, kwargs={"team": self.scope.team.slug, **kwargs})

    def go(self, name: str, **kwargs: Any) -> HttpResponseRedirect:
        return HttpResponseRedirect(self.url(name, **kwargs))

    def say(self, sentence: str) -> None:
        messages.success(self.request, sentence)

    def page_of(self, rows: QuerySet[Any] | Sequence[Any], size: int = PAGE_ROWS) -> Any:
        return Paginator(rows, size).get_page(self.request.GET.get("page"))


class RowFormPage(TeamPage):
    """Create or edit one row with a form made from its model. ``pk`` in the URL means edit."""

    model: ClassVar[type[TeamOwned]]
    fields: ClassVar[Sequence[str]]
    template = "web/row_form.html"
    list_url: ClassVar[str] = ""
    need: ClassVar[Can] = Can.WORK
    save: ClassVar[Callable[..., Any]] = staticmethod(record_save)

    def instance(self) -> TeamOwned:
        if "pk" in self.kwargs:
            return self.scope.get(self.model, pk=self.kwargs["pk"])
        row = self.model(team=self.scope.team)
        for name, value in self.initial().items():
            setattr(row, name, value)
        return row

    def initial(self) -> dict[str, Any]:
        """Values a new row starts with."""
        return {}

    def form(self, instance: TeamOwned, data: Any = None) -> ModelForm[Any]:
        made: ModelForm[Any] = quantity_form(self.model, self.fields)(
            data=data, instance=instance, team=self.scope.team
        )
        return made

    def after_url(self, row: TeamOwned) -> str:
        """Where to go once the row is saved."""
        return self.url(self.list_url)

    def context(self, form: ModelForm[Any], row: TeamOwned) -> dict[str, Any]:
        name = self.model._meta.verbose_name or ""
        title = f"Edit {row}" if row.pk else f"New {name}"
        return {
            "form": form,
            "row": row,
            "title": title,
            "back_url": self.url(self.list_url) if self.list_url else "",
        }

    def get(self, request: HttpRequest, **kwargs: Any) -> HttpResponse:
        self.scope.require(self.need)
        row = self.instance()
        return self.render(self.template, self.context(self.form(row), row))

    def post(self, request: HttpRequest, **kwargs: Any) -> HttpResponseBase:
        self.scope.require(self.need)
        row = self.instance()
        is_new = row.pk is None
        form = self.form(row, request.POST)
        if form.is_valid():
            try:
                saved = self.save(scope=self.scope, instance=form.instance)
            except (ValidationError, DomainError) as refused:
                show_refusal(form, refused)
            else:
                self.say(
                    f"{capfirst(str(self.model._meta.verbose_name))} {saved} {'added' if is_new else 'saved'}."
                )
                return HttpResponseRedirect(self.after_url(saved))
        return self.render(self.template, self.context(form, row), status=422)


class ArchivePage(TeamPage):
    """Archive a row, or bring it back: POST only, and undone by the same button."""

    model: ClassVar[type[TeamOwned]]
    list_url: ClassVar[str]
    write = Can.SUPPLY
    http_method_names = ["post"]

    def post(self, request: HttpRequest, **kwargs: Any) -> HttpResponseBase:
        row = cast(Any, self.scope.get(self.model, pk=self.kwargs["pk"]))
        record_archive(scope=self.scope, instance=row, archived=not row.archived)
        self.say(f"{row} {'archived' if row.archived else 'back in use'}. The same button undoes it.")
        return self.go(self.list_url)


def show_refusal(form: BaseForm, refused: DomainError | ValidationError) -> None:
    """Put a service's refusal on the form: beside its field where the form has one, else above all fields."""
    if isinstance(refused, DomainError):
        form.add_error(refused.field if refused.field in form.fields else None, refused.sentence)
        return
    for name, sentences in errors_by_field(refused).items():
        for sentence in sentences:
            shown = name in form.fields
            form.add_error(name if shown else None, sentence if shown or not name else f"{name}: {sentence}")
