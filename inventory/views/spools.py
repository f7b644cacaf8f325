"""Spools of wire: how much is left on each."""

from __future__ import annotations

from typing import Any

from django.core.exceptions import ValidationError
from django.db.models import F
from django.http import HttpRequest, HttpResponse, HttpResponseBase

from inventory.forms.stock import SpoolForm
from inventory.models import Spool, WireType
from inventory.selectors.history import history_of
from inventory.selectors.stock import ledger, spools
from inventory.services.spools import spool_create
from shared.access import Can
from shared.errors import DomainError, NotAllowed
from shared.models import TeamOwned
from shared.pages import ArchivePage, RowFormPage, TeamPage, show_refusal


class SpoolList(TeamPage):
    nav_key = "stores"

    def get(self, request: HttpRequest, **kwargs: Any) -> HttpResponse:
        archived = request.GET.get("archived") == "yes"
        wire = request.GET.get("wire", "").strip()
        rows = spools(self.scope, archived=archived)
        if wire:
            rows = rows.filter(wire__code__iexact=wire)
        context = {
            "page_obj": self.page_of(rows),
            "count": rows.count(),
            "total_m": sum(rows.order_by().values_list("remaining_m", flat=True)),
            "short": rows.filter(remaining_m__lt=F("full_length_m") / 10).count(),
            "wires": self.scope.rows(WireType).filter(archived=False).order_by("code"),
            "wire": wire,
            "archived": archived,
        }
        return self.render("inventory/spool_list.html", context)


class SpoolDetail(TeamPage):
    nav_key = "stores"

    def get(self, request: HttpRequest, **kwargs: Any) -> HttpResponse:
        spool = self.scope.get(Spool.objects.select_related("wire", "bin"), pk=self.kwargs["pk"])
        context = {
            "spool": spool,
            "page_obj": self.page_of(ledger(self.scope, spool=spool)),
            "history": history_of(spool),
            "works": self.scope.can(Can.WORK),
            "supplies": self.scope.can(Can.SUPPLY),
        }
        return self.render("inventory/spool_detail.html", context)


class SpoolNew(TeamPage):
    """A spool that came in, or one that is entered part-used."""

    nav_key = "stores"
    read = Can.WORK

    def get(self, request: HttpRequest, **kwargs: Any) -> HttpResponse:
        wire = request.GET.get("wire", "")
        return self.show(SpoolForm(scope=self.scope, wire=wire if wire.isdecimal() else ""))

    def show(self, form: SpoolForm, status: int = 200) -> HttpResponse:
        context = {"form": form, "title": "New spool", "back_url": self.url("spool-list")}
        return self.render("inventory/form.html", context, status=status)

    def post(self, request: HttpRequest, **kwargs: Any) -> HttpResponseBase:
        form = SpoolForm(request.POST, scope=self.scope)
        if form.is_valid():
            try:
                spool = spool_create(scope=self.scope, **form.cleaned_data)
            except NotAllowed:
                raise
            except (DomainError, ValidationError) as refused:
                show_refusal(form, refused)
            else:
                self.say(f"Spool {spool.code} entered with {spool.remaining_m.normalize():f} m.")
                return self.go("spool-detail", pk=spool.pk)
        return self.show(form, status=422)


class SpoolEdit(RowFormPage):
    """Its code and full length; where it lies and what is on it change through the ledger."""

    nav_key = "stores"
    model = Spool
    fields = ("code", "full_length_m")
    list_url = "spool-list"
    template = "inventory/form.html"

    def after_url(self, row: TeamOwned) -> str:
        return self.url("spool-detail", pk=row.pk)


class SpoolArchive(ArchivePage):
    nav_key = "stores"
    model = Spool
    list_url = "spool-list"
