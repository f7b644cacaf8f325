"""Parts: what a team keeps, each kind with its own figures."""

from __future__ import annotations

from typing import Any, ClassVar, cast
from urllib.parse import urlencode

from django.forms import ModelForm
from django.http import Http404, HttpRequest, HttpResponse, HttpResponseBase, HttpResponseRedirect

from inventory.kinds import KIND_FIELDS, KIND_MODELS
from inventory.models import DevicePoint, Part, PartKind, ProtectiveDevice
from inventory.selectors.history import history_of
from inventory.selectors.parts import ledger_picture, part_figures, part_stock, typed_part
from inventory.selectors.stock import ledger, spools, stock_table
from shared.access import Can
from shared.fields import quantity_form
from shared.models import TeamOwned
from shared.pages import ArchivePage, RowFormPage, TeamPage

#: Lines of the ledger on a part's own page; the ledger page has all of them.
LINES = 30


class PartList(TeamPage):
    """What is there, what is below its floor, and where it lies."""

    nav_key = "stores"

    def get(self, request: HttpRequest, **kwargs: Any) -> HttpResponseBase:
        asked = request.GET
        search = asked.get("q", "").strip()
        if search and "scan" in asked:
            return HttpResponseRedirect(f"{self.url('scan')}?{urlencode({'code': search, 'from': 'stores'})}")
        kind = asked.get("kind", "")
        archived = asked.get("archived") == "yes"
        rows = stock_table(
            self.scope, kinds=[kind] if kind in PartKind.values else [], archived=archived, search=search
        )
        below = [row for row in rows if row.below_floor]
        only_below = asked.get("below") == "yes"
        context = {
            "page_obj": self.page_of(below if only_below else rows),
            "count": len(rows),
            "below": len(below),
            "kinds": PartKind.choices,
            "kind": kind,
            "search": search,
            "archived": archived,
            "only_below": only_below,
            "filtered": bool(search or kind or archived or only_below),
        }
        return self.render("inventory/part_list.html", context)


class PartDetail(TeamPage):
    """One part: how many and where, its figures, its ledger as a picture, who sells it."""

    nav_key = "stores"

    def get(self, request: HttpRequest, **kwargs: Any) -> HttpResponse:
        part = self.scope.get(Part, pk=self.kwargs["pk"])
        typed = typed_part(part)
        lines = list(ledger(self.scope, part=part)[:LINES])
        is_wire = part.kind == PartKind.WIRE
        context = {
            "part": part,
            "typed": typed,
            "stock": part_stock(self.scope, part),
            "figures": part_figures(typed),
            "points": typed.points.all() if isinstance(typed, ProtectiveDevice) else None,
            "spools": spools(self.scope).filter(wire_id=part.pk) if is_wire else None,
            "lines": lines,
            "chart": ledger_picture(self.scope, part),
            "history": history_of(typed),
            "unit": "m" if part.unit == "m" else "count",
            "supplies": self.scope.can(Can.SUPPLY),
            "works": self.scope.can(Can.WORK),
        }
        return self.render("inventory/part_detail.html", context)


class PartForm(RowFormPage):
    """What new and edit share: the model and the fields of the kind."""

    nav_key = "stores"
    model = Part
    list_url = "part-list"
    template = "inventory/form.html"

    def form(self, instance: TeamOwned, data: Any = None) -> ModelForm[Any]:
        part = cast(Part, instance)
        # How a part is counted is settled once lines of the ledger say how many there were.
        fields = [f for f in KIND_FIELDS[part.KIND] if part._state.adding or f != "unit"]
        return quantity_form(type(part), fields)(data=data, instance=part, team=self.scope.team)

    def after_url(self, row: TeamOwned) -> str:
        return self.url("part-detail", pk=row.pk)

    def context(self, form: ModelForm[Any], row: TeamOwned) -> dict[str, Any]:
        part = cast(Part, row)
        words = {"title": f"Edit {part}" if part.pk else f"New {PartKind(part.KIND).label.lower()}"}
        return {**super().context(form, row), **words, "crimps": part.KIND == PartKind.TERMINAL}


class PartNew(PartForm):
    def instance(self) -> TeamOwned:
        model = KIND_MODELS.get(self.kwargs["kind"])
        if model is None:
            raise Http404("No such kind of part.")
        return model(team=self.scope.team)


class PartEdit(PartForm):
    def instance(self) -> TeamOwned:
        return typed_part(self.scope.get(Part, pk=self.kwargs["pk"]))


class PartArchive(ArchivePage):
    nav_key = "stores"
    model = Part
    list_url = "part-list"

    def post(self, request: HttpRequest, **kwargs: Any) -> HttpResponseBase:
        super().post(request, **kwargs)
        return self.go("part-detail", pk=self.kwargs["pk"])


class PointPage(RowFormPage):
    """A point of a protective device's time-current band."""

    nav_key = "stores"
    model = DevicePoint
    fields = ("multiple", "opens_min_s", "opens_max_s", "status", "source")
    template = "inventory/form.html"
    list_url = "part-list"

    def after_url(self, row: TeamOwned) -> str:
        return self.url("part-detail", pk=cast(DevicePoint, row).device_id)

    def context(self, form: ModelForm[Any], row: TeamOwned) -> dict[str, Any]:
        point = cast(DevicePoint, row)
        verb = "Edit a" if point.pk else "New"
        title = f"{verb} time-current point of {point.device.code}"
        return {**super().context(form, row), "title": title, "back_url": self.after_url(row)}


class PointNew(PointPage):
    subject_model: ClassVar[type[TeamOwned]] = ProtectiveDevice

    def instance(self) -> TeamOwned:
        device = self.scope.get(ProtectiveDevice, pk=self.kwargs["pk"])
        return DevicePoint(team=self.scope.team, device=device)


class PointEdit(PointPage):
    subject_model: ClassVar[type[TeamOwned]] = DevicePoint
