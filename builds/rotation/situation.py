"""How things stand at an event: matches to come and done, the cart, chargers, voltages; and what identifies it all.

``facts`` is everything a plan is worked out from, as plain data: a plan keeps it, its hash is the plan's content key,
and what differs from the facts of today is why it must be made anew. The time of day is no fact.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Any

from builds.match_study.content import content_key
from builds.models import Event, Handling, Match, Outing
from builds.rotation.judged import Judged
from builds.rotation.voltages import Volts, expected_volts
from builds.selectors.cart import CartRow, CartState, cart_row
from builds.selectors.cart_charge import ASSUMED_CHARGER_A
from builds.selectors.cart_rows import CartRows, came_back_unused, read_cart
from inventory.models import Charge, Charger
from shared.access import Scope

#: Counts up when plans come out otherwise from the same facts.
VERSION = "1"
#: The states of charge for which voltages are predicted; charges end at one of them.
LEVELS = (0.7, 0.8, 0.9, 1.0)
#: How much a match counts by its kind and by how hard the opponents are (our choice).
IMPORTANCE = {
    Match.Importance.PRACTICE: 0.25,
    Match.Importance.ROUND: 1.0,
    Match.Importance.KNOCKOUT: 2.0,
    Match.Importance.FINAL: 3.0,
}
STRENGTH = {None: 1.0, 1: 0.8, 2: 0.9, 3: 1.0, 4: 1.1, 5: 1.25}


@dataclass(frozen=True)
class Place:
    """A charger in the pit: its figures as entered or assumed, and the charge of a battery that is not on the cart."""

    charger: Charger
    current_a: float
    absorption_min: float
    foreign: Charge | None


@dataclass(frozen=True)
class Situation:
    """``ahead``: matches to plan, in order; ``behind``: called off ones left out, those done or begun, with outings."""

    event: Event
    now: datetime
    handling: Handling
    ahead: tuple[Match, ...]
    behind: tuple[tuple[Match, Outing | None], ...]
    rows: CartRows
    cart: tuple[CartRow, ...]
    places: tuple[Place, ...]
    volts: Volts
    levels: tuple[float, ...]
    judged: Judged
    facts: dict[str, Any]

    @property
    def key(self) -> str:
        return content_key(VERSION, self.facts)


def weight_of(match: Match) -> float:
    """How much a match counts: its importance times how hard its opponents are."""
    return IMPORTANCE[Match.Importance(match.importance)] * STRENGTH.get(match.strength, 1.0)


def situation(
    scope: Scope, event: Event, judged: Judged, now: datetime, volts: Volts | None = None
) -> Situation:
    """Read how things stand, in a number of queries that grows with nothing; ``volts``: worked out a moment ago."""
    rows = read_cart(scope, event)
    told = tuple(cart_row(battery, rows, now) for battery in rows.batteries)
    ahead, behind = _matches(scope, event, now)
    places = _places(scope, event, rows)
    levels = tuple(sorted({*LEVELS, min(max(rows.handling.least_charge_frac, 0.05), LEVELS[0])}))
    if volts is None or volts.batteries != tuple(row.battery.pk for row in told):
        robots = sorted({match.robot_id for match in ahead})
        volts = expected_volts(scope, robots, [row.battery.pk for row in told], levels, judged)
    return Situation(
        event=event,
        now=now,
        handling=rows.handling,
        ahead=ahead,
        behind=behind,
        rows=rows,
        cart=told,
        places=places,
        volts=volts,
        levels=levels,
        judged=judged,
        facts=_facts(ahead, behind, rows, told, places, volts, judged),
    )


def _matches(
    scope: Scope, event: Event, now: datetime
) -> tuple[tuple[Match, ...], tuple[tuple[Match, Outing | None], ...]]:
    """What is to be planned, and what happened or is happening: a battery was noted for it, or it has begun."""
    outings = scope.rows(Outing).filter(match__event=event).select_related("battery", "match")
    done = {o.match_id: o for o in outings.order_by("started_at", "pk") if not came_back_unused(o)}
    ahead: list[Match] = []
    behind: list[tuple[Match, Outing | None]] = []
    matches = scope.rows(Match).filter(event=event).select_related("robot", "event")
    for match in matches.order_by("starts_at", "pk"):
        outing = done.get(match.pk)
        if outing is not None or (match.starts_at < now and not match.called_off):
            behind.append((match, outing))
        elif not match.called_off:
            ahead.append(match)
    return tuple(ahead), tuple(behind)


def _places(scope: Scope, event: Event, rows: CartRows) -> tuple[Place, ...]:
    """The chargers in the pit: those chosen for the event, else all of the team."""
    all_of_team = scope.rows(Charger).filter(archived=False).order_by("name", "pk")
    chargers = list(all_of_team.filter(events=event)) or list(all_of_team)
    mine = {battery.pk for battery in rows.batteries}
    open_charges = (
        scope.rows(Charge)
        .filter(charger__in=chargers, ended_at=None)
        .exclude(battery_id__in=mine)
        .select_related("battery__model")
    )
    foreign = {charge.charger_id: charge for charge in open_charges}
    minutes = rows.handling.absorption_min
    return tuple(
        Place(
            charger,
            charger.current_a or ASSUMED_CHARGER_A,
            minutes if charger.absorption_min is None else charger.absorption_min,
            foreign.get(charger.pk),
        )
        for charger in chargers
    )


def _facts(
    ahead: Sequence[Match],
    behind: Sequence[tuple[Match, Outing | None]],
    rows: CartRows,
    cart: Sequence[CartRow],
    places: Sequence[Place],
    volts: Volts,
    judged: Judged,
) -> dict[str, Any]:
    """Plain data, the same read from a plan's row as worked out anew."""
    handling = rows.handling
    return {
        "matches": {str(m.pk): _match_facts(m, rows) for m in ahead},
        "done": {str(m.pk): outing.battery_id if outing else None for m, outing in behind},
        "batteries": {str(row.battery.pk): _battery_facts(row, rows, judged) for row in cart},
        "volts": _volt_facts(cart, volts),
        "chargers": {
            str(p.charger.pk): [p.current_a, p.absorption_min, p.foreign.pk if p.foreign else None]
            for p in places
        },
        "handling": [
            handling.ready_before_min,
            handling.back_after_min,
            handling.cool_min,
            handling.rest_min,
            handling.least_charge_frac,
            handling.absorption_min,
        ],
    }


def _match_facts(match: Match, rows: CartRows) -> dict[str, Any]:
    return {
        "number": match.number,
        "at": match.starts_at.isoformat(),
        "robot": match.robot_id,
        "weight": round(weight_of(match), 4),
        "practice": match.importance == Match.Importance.PRACTICE,
        "ah": round(rows.expected.of(match.robot_id).ah, 3),
    }


def _battery_facts(row: CartRow, rows: CartRows, judged: Judged) -> dict[str, Any]:
    """What may become of a battery and what has: its newest charge and outings tell its state of charge."""
    mine = rows.of(row.battery)
    charge, inside = mine.last_charge, mine.in_robot
    return {
        "code": row.battery.code,
        "may": [*judged.may(row.battery)],
        "unsure": judged.unsure(row.battery) is not None,
        "out": row.state == CartState.OUT,
        "ah": round(row.capacity_ah, 3),
        "cycles": row.cycles,
        "charge": None if charge is None else [charge.pk, charge.charger_id, _iso(charge.ended_at)],
        "outings": [[o.pk, o.match_id, _iso(o.ended_at), o.used_ah] for o in mine.outings[-3:]],
        "inside": inside.pk if inside else None,
        "reading": mine.readings[-1].pk if mine.readings else None,
    }


def _volt_facts(cart: Sequence[CartRow], volts: Volts) -> dict[str, Any]:
    return {
        str(robot): {
            "limit": round(found.limit_v, 2),
            "lowest": {
                str(row.battery.pk): [round(v, 2) for v in found.lowest_v[b].tolist()]
                for b, row in enumerate(cart)
            },
        }
        for robot, found in sorted(volts.robots.items())
    }


def _iso(moment: datetime | None) -> str | None:
    return moment.isoformat() if moment else None


def fact(facts: Mapping[str, Any], kind: str) -> Mapping[str, Any]:
    """One kind of facts of a plan; nothing for a plan that kept none."""
    found = facts.get(kind)
    return found if isinstance(found, Mapping) else {}
