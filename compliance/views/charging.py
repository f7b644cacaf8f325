"""The charging board: scan a battery, tap its charger, done."""

from __future__ import annotations

from typing import Any

from django.core.exceptions import ValidationError
from django.http import HttpRequest, HttpResponse, HttpResponseBase, HttpResponseRedirect
from django.utils import timezone

from builds.services.charging import charging_undo, put_on_charger
from compliance.selectors.charging import (
    Board,
    battery_by_code,
    chargeable,
    charging_board,
    event_on,
    free_chargers,
    must_not_charge,
)
from compliance.views.event_tabs import event_tabs
from inventory.models import Battery, Charge, Charger
from inventory.selectors.batteries import open_charges
from inventory.services.batteries import charge_end
from shared.access import Can
from shared.errors import DomainError, NotAllowed
from shared.pages import TeamPage


class BoardPage(TeamPage):
    """What every page of the board shows; htmx gets the board alone, which renews itself."""

    nav_key = "pit"

    def board(self) -> Board:
        now = timezone.now()
        return charging_board(self.scope, event_on(self.scope, timezone.localdate(now)), now)

    def show(self, code: str = "", refused: str = "", status: int = 200) -> HttpResponse:
        board = self.board()
        context: dict[str, Any] = {
            "board": board,
            "charger_count": len(board.places) + len(board.free),
            "works": self.scope.can(Can.WORK),
            "api": f"/api/v1/t/{self.scope.team.slug}/",
        }
        if self.request.headers.get("HX-Request") == "true":
            return self.render("compliance/charging/_board.html", {**context, "part": True})
        context |= {"free": list(free_chargers(board)), "chargeable": chargeable(board)}
        if code:
            context |= self.picked(board, code)
        if refused:
            context["refused"] = refused
        context["tabs"] = event_tabs(self, board.event) if board.event else []
        return self.render("compliance/charging/board.html", context, status=status)

    def picked(self, board: Board, code: str) -> dict[str, Any]:
        """The battery that was scanned, with what can be done with it."""
        try:
            battery = battery_by_code(self.scope, code)
        except DomainError as refused:
            return {"refused": refused.sentence}
        row = board.rows.get(battery.pk)
        if row is None:
            return {
                "refused": f"{battery.code} is not on this cart. Add it on the event, or charge it elsewhere."
            }
        return {
            "picked": row,
            "charge": open_charges(self.scope).filter(battery=battery).first(),
            "must_not": must_not_charge(battery),
        }


class ChargingBoard(BoardPage):
    def get(self, request: HttpRequest, **kwargs: Any) -> HttpResponse:
        return self.show(request.GET.get("code", "").strip())


class BoardAct(BoardPage):
    """One tap on the board; refused taps show the board with the reason."""

    http_method_names = ["post"]

    def act(self, data: Any) -> str:
        raise NotImplementedError

    def post(self, request: HttpRequest, **kwargs: Any) -> HttpResponseBase:
        try:
            said = self.act(request.POST)
        except NotAllowed:
            raise
        except DomainError as refused:
            return self.show(refused=refused.sentence, status=refused.status_code)
        except ValidationError as wrong:
            return self.show(refused=" ".join(wrong.messages), status=422)
        self.say(said)
        return HttpResponseRedirect(self.url("charging-board"))

    def battery(self, data: Any) -> Battery:
        return self.scope.get(Battery, pk=number(data.get("battery"), "battery"))


class ChargingOn(BoardAct):
    def act(self, data: Any) -> str:
        named = data.get("charger_name", "").strip()
        charger: Charger | str = named
        if not named:
            charger = self.scope.get(Charger, pk=number(data.get("charger"), "charger"))
        made = put_on_charger(scope=self.scope, battery=self.battery(data), charger=charger)
        return f"{made.battery.code} is on {made.charger}."


class ChargingOff(BoardAct):
    def act(self, data: Any) -> str:
        made = charge_end(scope=self.scope, battery=self.battery(data))
        return f"{made.battery.code} is off {made.charger}."


class ChargingUndo(BoardAct):
    def act(self, data: Any) -> str:
        charge = self.scope.rows(Charge).filter(pk=number(data.get("charge"), "charge")).first()
        if charge is None:
            return "It was taken back already."
        return charging_undo(scope=self.scope, charge=charge, end=data.get("what") == "end")


def number(text: Any, field: str) -> int:
    """An id as a form sends it; anything else is refused in words."""
    if not str(text or "").isdecimal():
        raise DomainError(f"Say which {field}", field=field, value=text, remedy="Scan the battery again")
    return int(text)
