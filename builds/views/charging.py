"""A battery goes on a charger, from its own page."""

from __future__ import annotations

from typing import Any

from django.forms import Form

from builds.forms.charging import ChargeStartForm
from builds.models import Outing
from builds.services.charging import put_on_charger
from inventory.models import BatteryState, Charge
from inventory.views.batteries import BatteryEntry, open_charge


class ChargeStart(BatteryEntry):
    """Tap the charger it hangs on; a battery noted as in a robot has come out."""

    title = "Put {} on a charger"
    submit = "On this charger"
    caution = "charging"
    template = "builds/charge_start.html"

    def form(self, data: Any = None) -> Form:
        return ChargeStartForm(data, scope=self.scope)

    def more(self) -> dict[str, Any]:
        inside = self.scope.rows(Outing).filter(battery=self.battery, in_robot=True).select_related("robot")
        return {
            "held": self.battery.state in (BatteryState.QUARANTINE, BatteryState.RETIRED),
            "open": open_charge(self),
            "inside": inside.first(),
        }

    def enter(self, given: dict[str, Any]) -> str:
        made = put_on_charger(
            scope=self.scope,
            battery=self.battery,
            charger=given["charger"],
            purpose=given["purpose"] or None,
        )
        top_up = " Noted as a storage top-up." if made.purpose == Charge.Purpose.TOP_UP else ""
        return f"{self.battery.code} is on {made.charger}.{top_up}"
