"""Receive, use, return, scrap, count, move: each one line of the ledger; and the ledger itself."""

from __future__ import annotations

from typing import Any

from django.http import HttpRequest, HttpResponse, HttpResponseBase, HttpResponseRedirect
from django.utils.http import url_has_allowed_host_and_scheme

from inventory.forms.stock import StockForm
from inventory.models import Movement, MovementKind, Part, PartKind
from inventory.selectors.parts import part_stock
from inventory.selectors.stock import ledger
from inventory.services.ledger import (
    movement_reverse,
    stock_count,
    stock_move,
    stock_receive,
    stock_return,
    stock_scrap,
    stock_use,
)
from inventory.services.quantities import shown
from inventory.services.spools import spool_move
from shared.access import Can, Scope
from shared.errors import DomainError, NotAllowed
from shared.pages import TeamPage

SERVICES: dict[str, Any] = {
    MovementKind.RECEIVE: stock_receive,
    MovementKind.USE: stock_use,
    MovementKind.RETURN: stock_return,
    MovementKind.SCRAP: stock_scrap,
    MovementKind.COUNT: stock_count,
    MovementKind.MOVE: stock_move,
}
VERBS: dict[str, str] = {
    MovementKind.RECEIVE: "Receive",
    MovementKind.USE: "Use",
    MovementKind.RETURN: "Put back",
    MovementKind.SCRAP: "Scrap",
    MovementKind.COUNT: "Count",
    MovementKind.MOVE: "Move",
}


class StockAct(TeamPage):
    """One form for everything that changes how much of a part there is."""

    nav_key = "stores"
    read = Can.WORK

    def get(self, request: HttpRequest, **kwargs: Any) -> HttpResponse:
        part = self.scope.get(Part, pk=self.kwargs["pk"])
        kind = self.kind(part, request.GET.get("do", ""))
        start = request.GET.get("spool" if part.kind == PartKind.WIRE else "bin", "")
        form = StockForm(scope=self.scope, part=part, kind=kind, start=start if start.isdecimal() else "")
        return self.show(form)

    def kind(self, part: Part, asked: str) -> str:
        return asked if asked in self.kinds(part) else str(MovementKind.USE)

    def kinds(self, part: Part) -> list[str]:
        """Wire that comes in is entered as a new spool, not received onto an old one."""
        wire = part.kind == PartKind.WIRE
        return [k for k in MovementKind.values if not (wire and k == MovementKind.RECEIVE)]

    def show(self, form: StockForm, status: int = 200) -> HttpResponse:
        part = form.part
        here = self.url("stock-act", pk=part.pk)
        context = {
            "form": form,
            "part": part,
            "stock": part_stock(self.scope, part),
            "kind": form.kind,
            "verb": VERBS[form.kind],
            "tabs": [(VERBS[k], f"{here}?do={k}", k) for k in self.kinds(part)],
            "back_url": self.url("part-detail", pk=part.pk),
            "unit": "m" if part.unit == "m" else "count",
            "nothing_there": part.kind != PartKind.WIRE and not form.fields["bin"].queryset.exists(),  # type: ignore[attr-defined]
        }
        return self.render("inventory/stock_act.html", context, status=status)

    def post(self, request: HttpRequest, **kwargs: Any) -> HttpResponseBase:
        part = self.scope.get(Part, pk=self.kwargs["pk"])
        kind = self.kind(part, request.POST.get("do") or request.GET.get("do", ""))
        form = StockForm(request.POST, scope=self.scope, part=part, kind=kind)
        if form.is_valid():
            try:
                self.say(post_movement(self.scope, part, kind, form.cleaned_data))
            except NotAllowed:
                raise
            except DomainError as refused:
                form.add_error(refused.field if refused.field in form.fields else None, refused.sentence)
            else:
                return self.go("part-detail", pk=part.pk)
        return self.show(form, status=422)


def post_movement(scope: Scope, part: Part, kind: str, given: dict[str, Any]) -> str:
    """Post what the form says and return the sentence that tells what happened."""
    spool = given.get("spool")
    common = {"scope": scope, "reason": given["reason"], "request_id": given["request_id"]}
    if kind == MovementKind.MOVE and spool is not None:
        moved = spool_move(spool=spool, to_bin=given["to_bin"], **common)
        return f"Spool {moved.code} lies in {given['to_bin'].code} now."
    place = {"bin": spool.bin if spool else given["bin"], "spool": spool}
    if kind == MovementKind.MOVE:
        place |= {"to_bin": given["to_bin"]}
    made = SERVICES[kind](part=part, quantity=given["quantity"], **place, **common)
    line = made[0] if isinstance(made, tuple) else made
    where = f"on spool {spool.code}" if spool else f"in bin {line.bin.code}"
    done = MovementKind(kind).label
    return f"{done} noted: {shown(part, abs(line.quantity))}. Now {shown(part, line.balance)} {where}."


class LedgerPage(TeamPage):
    """Every line, newest first."""

    nav_key = "stores"

    def get(self, request: HttpRequest, **kwargs: Any) -> HttpResponse:
        kind = request.GET.get("kind", "")
        code = request.GET.get("part", "").strip()
        rows = ledger(self.scope, kind=kind if kind in MovementKind.values else "")
        if code:
            rows = rows.filter(part__code__iexact=code)
        context = {
            "page_obj": self.page_of(rows),
            "kinds": MovementKind.choices,
            "kind": kind,
            "code": code,
            "works": self.scope.can(Can.WORK),
        }
        return self.render("inventory/ledger.html", context)


class MovementUndo(TeamPage):
    """Undo a line by a new line; asking twice undoes once."""

    nav_key = "stores"
    http_method_names = ["post"]

    def post(self, request: HttpRequest, **kwargs: Any) -> HttpResponseBase:
        line = self.scope.get(Movement.objects.select_related("part", "bin", "spool"), pk=self.kwargs["pk"])
        movement_reverse(scope=self.scope, movement=line)
        self.say(
            f"Undone by a new line: {line.get_kind_display().lower()} {shown(line.part, abs(line.quantity))}."
        )
        back = request.POST.get("back", "")
        if back and url_has_allowed_host_and_scheme(back, allowed_hosts=None):
            return HttpResponseRedirect(back)
        return self.go("part-detail", pk=line.part_id)
