"""What went wrong with batteries: two things that were looked at, and one that nobody has looked at yet."""

from __future__ import annotations

from datetime import datetime, timedelta

from compliance.demo.batteries import Cart
from compliance.demo.clock import PAST_EVENT, Clock
from compliance.demo.people import GULL, TERN
from compliance.demo.rows import put_many
from inventory.models import Battery, BatteryIncident, BatteryState
from shared.access import Scope

Kind = BatteryIncident.Kind


def make_incidents(scope: Scope, cart: Cart, clock: Clock) -> None:
    """A battery of Gull Point fell at the past event and was looked at; one of Tern Rock lies waiting for that."""
    if scope.team.slug == GULL:
        fell = clock.at(PAST_EVENT[0], 15, 40)
        _log(
            scope, cart.batteries["GP-08"], Kind.DROPPED, fell, "Slid off the cart, 40 cm",
            looked_at=fell + timedelta(hours=3), finding="No crack, no leak, posts straight, reads as before",
        )  # fmt: skip
    if scope.team.slug == TERN:
        battery = cart.batteries["TR-1"]
        _log(scope, battery, Kind.DROPPED, clock.at(-3, 18, 10), "Fell off the bench onto a corner")
        Battery.objects.filter(pk=battery.pk).update(
            state=BatteryState.QUARANTINE, state_reason="Dropped; nobody has looked at it yet"
        )


def log_loose_lug(scope: Scope, cart: Cart, found: datetime) -> None:
    """Seen in the pit and mended there."""
    _log(
        scope, cart.batteries["GP-02"], Kind.LOOSE_LUG, found, "The red lead turned by hand when it came back",
        looked_at=found + timedelta(minutes=20),
        finding="Disconnected, lug tightened to the torque on its sheet, reads as before",
    )  # fmt: skip


def _log(
    scope: Scope, battery: Battery, kind: str, at: datetime, note: str, *, looked_at: datetime | None = None,
    finding: str = "",
) -> None:  # fmt: skip
    put_many(scope, [
        BatteryIncident(
            team=scope.team, battery=battery, kind=kind, happened_at=at, note=note, by=scope.user,
            looked_at=looked_at, finding=finding,
        ),
    ])  # fmt: skip
