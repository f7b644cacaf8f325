"""Chargers: what each gives, and what is on it now."""

from __future__ import annotations

from typing import Any

from django.http import HttpRequest, HttpResponse

from inventory.models import Charger
from inventory.selectors.batteries import open_charges
from inventory.services.chargers import charger_save
from shared.access import Can, Scope
from shared.models import TeamOwned
from shared.pages import ArchivePage, RowFormPage, TeamPage


class ChargerList(TeamPage):
    nav_key = "batteries"

    def get(self, request: HttpRequest, **kwargs: Any) -> HttpResponse:
        archived = request.GET.get("archived") == "yes"
        on = {charge.charger_id: charge for charge in open_charges(self.scope)}
        rows = list(self.scope.rows(Charger).filter(archived=archived).order_by("name"))
        context = {
            "page_obj": self.page_of([(row, on.get(row.pk)) for row in rows]),
            "count": len(rows),
            "busy": sum(row.pk in on for row in rows),
            "unknown": sum(row.current_a is None for row in rows),
            "archived": archived,
            "works": self.scope.can(Can.WORK),
            "supplies": self.scope.can(Can.SUPPLY),
        }
        return self.render("inventory/charger_list.html", context)


def save_charger(*, scope: Scope, instance: Charger) -> Charger:
    return charger_save(scope=scope, charger=instance)


class ChargerForm(RowFormPage):
    """New or changed; what it gives decides when a battery will be ready."""

    nav_key = "batteries"
    model = Charger
    fields = ("name", "current_a", "absorption_min", "notes")
    list_url = "charger-list"
    template = "inventory/charger_form.html"
    save = staticmethod(save_charger)

    def context(self, form: Any, row: TeamOwned) -> dict[str, Any]:
        return {**super().context(form, row), "caution": "charging"}


class ChargerArchive(ArchivePage):
    nav_key = "batteries"
    model = Charger
    list_url = "charger-list"
