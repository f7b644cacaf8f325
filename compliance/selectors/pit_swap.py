"""What to say of a battery that is about to go in: not the planned one, not fit, not charged."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

from builds.models import Match
from compliance.selectors.pit import Pit
from compliance.selectors.pit_ready import Ready, fitness, unready
from inventory.models import Battery
from shared.labels.codes import Kind, label_text

#: A lead-acid battery that rests below this is not charged, whatever its charger said (common practice, no source).
LOW_REST_V = 12.4


@dataclass(frozen=True)
class Caution:
    """``stops``: it goes in only if somebody says that it went in anyway."""

    weight: str
    sentence: str
    stops: bool


def swap_cautions(
    pit: Pit, battery: Battery, match: Match | None, start_rest_v: float | None = None
) -> tuple[Caution, ...]:
    """What speaks against this battery for this match (None: practice) now, the gravest first."""
    found = [_stop(told) for told in (_fit(pit, battery, match), _charged(pit, battery, match)) if told]
    if start_rest_v is not None and start_rest_v < LOW_REST_V:
        found.append(Caution("fix", f"{start_rest_v:g} V at rest is not a charged battery.", stops=False))
    planned = planned_for(pit, match)
    if planned is not None and planned.pk != battery.pk:
        found.append(Caution("fix", f"The plan has {planned.code} for match {_number(match)}.", stops=False))
    return tuple(found)


def planned_for(pit: Pit, match: Match | None) -> Battery | None:
    """The battery that the plan has for a match."""
    if pit.plan is None or match is None:
        return None
    return next((step.battery for step in pit.plan.steps if step.match.pk == match.pk), None)


def known_batteries(pit: Pit, match: Match | None) -> list[dict[str, Any]]:
    """What the page itself says of a scanned code, without asking the server: one entry for each battery."""
    planned = planned_for(pit, match)
    return [
        {
            "code": row.battery.code,
            "label": label_text(Kind.BATTERY, row.battery.code),
            "planned": planned is not None and planned.pk == row.battery.pk,
            "cautions": [
                {"weight": told.weight, "sentence": told.sentence, "stops": told.stops}
                for told in swap_cautions(pit, row.battery, match)
            ],
        }
        for row in pit.cart.values()
    ]


def _fit(pit: Pit, battery: Battery, match: Match | None) -> Ready | None:
    return fitness(match, battery, pit.verdicts.get(battery.pk))


def _charged(pit: Pit, battery: Battery, match: Match | None) -> Ready | None:
    row = pit.cart.get(battery.pk)
    if row is None:
        return Ready("unknown", "Not on the cart", f"{battery.code} is not among this event's batteries.")
    if _fit(pit, battery, match) is not None:
        return None  # that it must not go out at all is enough
    return unready(row, pit.now, pit.handling.least_charge_frac)


def _stop(told: Ready) -> Caution:
    # One that nobody measured for days may be full, and one on a charger charged enough: say so, and let it go.
    return Caution(told.weight, told.sentence, stops=told.weight in ("fix", "stop"))


def _number(match: Match | None) -> str:
    return match.number if match else ""
