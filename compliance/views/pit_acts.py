"""What is logged in the pit: swaps, voltages, who carries, a battery pulled, matches moved, added, called off."""

from __future__ import annotations

from typing import Any

from django import forms

from builds.models import Match, RotationPlan
from builds.services.events import match_call_off, match_save
from builds.services.outings import outing_end
from compliance.pit_forms import AddForm, CarrierForm, MatchForm, MoveForm, OutForm, PullForm, SwapForm
from compliance.selectors.charging import battery_by_code
from compliance.services.pit import battery_pull, match_move, replanned, swap
from compliance.services.rotation import plan_ask
from compliance.views.pit import PitAct

Reason = RotationPlan.Reason


class PitSwap(PitAct):
    """A battery went in, with the voltages of it and of the one that came out."""

    def form(self, data: Any) -> SwapForm:
        return SwapForm(data, scope=self.scope, event=self.event)

    def again(self, form: forms.Form) -> dict[str, Any]:
        return {"swap": form}

    def act(self, given: dict[str, Any]) -> list[str]:
        battery = battery_by_code(self.scope, given.pop("code"))
        done = swap(scope=self.scope, event=self.event, battery=battery, **given)
        return [done.sentence, *(caution.sentence for caution in done.cautions), *done.changes]


class PitOut(PitAct):
    """A battery came out, or what the meter read some minutes later."""

    def form(self, data: Any) -> OutForm:
        return OutForm(data, scope=self.scope, event=self.event)

    def act(self, given: dict[str, Any]) -> list[str]:
        outing = outing_end(scope=self.scope, **given)
        volts = f", {outing.end_rest_v:g} V at rest" if outing.end_rest_v is not None else ""
        where = f" of {outing.robot.name}" if outing.robot else ""
        changes = replanned(self.scope, self.event, Reason.SWAP)
        return [f"{outing.battery.code} came out{where}{volts}.", *changes]


class PitCarrier(PitAct):
    """Who carries the battery to a match."""

    def form(self, data: Any) -> CarrierForm:
        return CarrierForm(data, scope=self.scope, event=self.event)

    def act(self, given: dict[str, Any]) -> list[str]:
        match: Match = given["match"]
        match.carrier = given["carrier"].strip()
        match_save(scope=self.scope, match=match)
        return [f"{match.carrier} carries the battery for match {match.number}."]


class PitPull(PitAct):
    """A battery leaves the rotation, with the reason."""

    def form(self, data: Any) -> PullForm:
        return PullForm(data)

    def act(self, given: dict[str, Any]) -> list[str]:
        battery = battery_by_code(self.scope, given.pop("code"))
        done = battery_pull(scope=self.scope, event=self.event, battery=battery, **given)
        return [done.sentence, *done.changes]


class PitMove(PitAct):
    """A match is earlier or later than scheduled, alone or with all later ones."""

    def form(self, data: Any) -> MoveForm:
        return MoveForm(data, scope=self.scope, event=self.event)

    def act(self, given: dict[str, Any]) -> list[str]:
        done = match_move(scope=self.scope, event=self.event, **given)
        return [done.sentence, *done.changes]


class PitAdd(PitAct):
    """A match that was not on the schedule."""

    def form(self, data: Any) -> AddForm:
        return AddForm(data, scope=self.scope, event=self.event)

    def again(self, form: forms.Form) -> dict[str, Any]:
        return {"add": form}

    def act(self, given: dict[str, Any]) -> list[str]:
        match = match_save(scope=self.scope, match=Match(team=self.scope.team, event=self.event, **given))
        return [f"Match {match.number} is added.", *replanned(self.scope, self.event, Reason.MATCHES)]


class PitOff(PitAct):
    """A match is not played."""

    def form(self, data: Any) -> MatchForm:
        return MatchForm(data, scope=self.scope, event=self.event)

    def act(self, given: dict[str, Any]) -> list[str]:
        match = match_call_off(scope=self.scope, match=given["match"])
        changes = replanned(self.scope, self.event, Reason.MATCHES)
        return [f"Match {match.number} is called off; its battery is free.", *changes]


class PitPlan(PitAct):
    """The first plan of an event, or a new one."""

    def form(self, data: Any) -> forms.Form:
        return forms.Form(data)

    def act(self, given: dict[str, Any]) -> list[str]:
        plan_ask(scope=self.scope, event=self.event)
        return ["The plan is made. A better one is looked for in the background."]
