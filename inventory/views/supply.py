"""Bins, suppliers and their offers."""

from __future__ import annotations

from typing import Any, cast

from django.db.models import Count, Q
from django.forms import ModelForm
from django.http import HttpRequest, HttpResponse

from inventory.models import Bin, Offer, Part, Spool, StockItem, Supplier
from inventory.selectors.history import history_of
from shared.access import Can
from shared.models import TeamOwned
from shared.pages import ArchivePage, RowFormPage, TeamPage


class BinList(TeamPage):
    nav_key = "stores"

    def get(self, request: HttpRequest, **kwargs: Any) -> HttpResponse:
        archived = request.GET.get("archived") == "yes"
        rows = (
            self.scope.rows(Bin)
            .filter(archived=archived)
            .annotate(
                parts_held=Count("stock", filter=Q(stock__quantity__gt=0), distinct=True),
                spools_held=Count("spools", filter=Q(spools__archived=False), distinct=True),
            )
            .order_by("code")
        )
        context = {"page_obj": self.page_of(rows), "count": rows.count(), "archived": archived}
        return self.render("inventory/bin_list.html", context)


class BinDetail(TeamPage):
    """What lies in one bin; a scan of its label comes here."""

    nav_key = "stores"

    def get(self, request: HttpRequest, **kwargs: Any) -> HttpResponse:
        bin_ = self.scope.get(Bin, pk=self.kwargs["pk"])
        items = self.scope.rows(StockItem).filter(bin=bin_, quantity__gt=0).select_related("part")
        spools = self.scope.rows(Spool).filter(bin=bin_, archived=False).select_related("wire")
        context = {
            "bin": bin_,
            "page_obj": self.page_of(items.order_by("part__code")),
            "spools": spools.order_by("code"),
            "history": history_of(bin_),
            "supplies": self.scope.can(Can.SUPPLY),
        }
        return self.render("inventory/bin_detail.html", context)


class BinForm(RowFormPage):
    nav_key = "stores"
    model = Bin
    fields = ("code", "name", "travels")
    list_url = "bin-list"
    template = "inventory/form.html"


class BinArchive(ArchivePage):
    nav_key = "stores"
    model = Bin
    list_url = "bin-list"


class SupplierList(TeamPage):
    nav_key = "stores"

    def get(self, request: HttpRequest, **kwargs: Any) -> HttpResponse:
        archived = request.GET.get("archived") == "yes"
        standing = Count("offers", filter=Q(offers__archived=False))
        rows = self.scope.rows(Supplier).filter(archived=archived).annotate(offers_standing=standing)
        context = {
            "page_obj": self.page_of(rows.order_by("name")),
            "count": rows.count(),
            "archived": archived,
            "supplies": self.scope.can(Can.SUPPLY),
        }
        return self.render("inventory/supplier_list.html", context)


class SupplierForm(RowFormPage):
    nav_key = "stores"
    model = Supplier
    fields = ("name", "contact", "notes")
    list_url = "supplier-list"
    template = "inventory/form.html"
    read = need = write = Can.SUPPLY


class SupplierArchive(ArchivePage):
    nav_key = "stores"
    model = Supplier
    list_url = "supplier-list"


class OfferList(TeamPage):
    nav_key = "stores"

    def get(self, request: HttpRequest, **kwargs: Any) -> HttpResponse:
        archived = request.GET.get("archived") == "yes"
        rows = self.scope.rows(Offer).filter(archived=archived).select_related("part", "supplier")
        supplier = request.GET.get("supplier", "")
        if supplier.isdecimal():
            rows = rows.filter(supplier_id=int(supplier))
        context = {
            "page_obj": self.page_of(rows.order_by("part__code", "price", "pk")),
            "count": rows.count(),
            "suppliers": self.scope.rows(Supplier).order_by("name"),
            "supplier": supplier,
            "archived": archived,
            "supplies": self.scope.can(Can.SUPPLY),
        }
        return self.render("inventory/offer_list.html", context)


class OfferPage(RowFormPage):
    """A supplier's price for a part; buying is for the logistics lead or a mentor."""

    nav_key = "stores"
    model = Offer
    fields = ("supplier", "supplier_code", "price", "pack_size", "minimum_packs", "lead_time_days")
    list_url = "offer-list"
    template = "inventory/form.html"
    read = need = write = Can.SUPPLY

    def after_url(self, row: TeamOwned) -> str:
        return self.url("part-detail", pk=cast(Offer, row).part_id)

    def context(self, form: ModelForm[Any], row: TeamOwned) -> dict[str, Any]:
        offer = cast(Offer, row)
        title = f"{'Edit the' if offer.pk else 'New'} offer for {offer.part.code}"
        return {**super().context(form, row), "title": title, "back_url": self.after_url(row)}


class OfferNew(OfferPage):
    def instance(self) -> TeamOwned:
        return Offer(team=self.scope.team, part=self.scope.get(Part, pk=self.kwargs["pk"]))


class OfferEdit(OfferPage):
    pass


class OfferArchive(ArchivePage):
    nav_key = "stores"
    model = Offer
    list_url = "offer-list"
