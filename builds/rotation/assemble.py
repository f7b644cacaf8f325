"""A situation becomes a problem of the planning kernel."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime, timedelta

import numpy as np

from builds.models import Match
from builds.rotation.situation import Situation, weight_of
from builds.selectors.cart import CartRow, CartState
from builds.selectors.cart_charge import ASSUMED_BEFORE_FRAC, charger_figures
from shared.columns import FloatArray
from shared.planning.charging import charge_minutes
from shared.planning.rotation import Problem

_MINUTE = timedelta(minutes=1)
#: So much less is expected of a battery nobody can judge yet: among equals one that was judged goes first, above all in
#: the matches that count most (our choice, as fine as voltages are told).
UNSURE_V = 0.1


@dataclass(frozen=True)
class Assembled:
    """The problem, and what its numbers stand for: match m is ``situation.ahead[m]``, battery b ``situation.cart[b]``,

    charger c ``situation.places[c]``; minutes count from ``origin``. ``charging``: batteries whose running charge the
    plan waits for.
    """

    situation: Situation
    problem: Problem
    origin: datetime
    charging: frozenset[int]

    def moment(self, minutes: float) -> datetime | None:
        return None if not np.isfinite(minutes) else self.origin + float(minutes) * _MINUTE

    def batteries(self, chosen: Mapping[int, int | None]) -> list[int]:
        """Match -> battery, as numbers of the problem: -1 where there is none, or none on the cart."""
        place = {row.battery.pk: b for b, row in enumerate(self.situation.cart)}
        return [place.get(chosen.get(match.pk) or 0, -1) for match in self.situation.ahead]


def assemble_problem(found: Situation) -> Assembled:
    """The problem of everything still to come; what happened enters as how it left batteries and chargers."""
    origin = found.now
    handling = found.handling
    cart, ahead = found.cart, found.ahead
    busy = _Busy(found, origin)
    lowest, limit = _volts(found)
    problem = Problem(
        start_min=[busy.minutes(match.starts_at) for match in ahead],
        robot=[match.robot_id for match in ahead],
        weight=[weight_of(match) for match in ahead],
        limit_v=limit,
        used_ah=[found.rows.expected.of(match.robot_id).ah for match in ahead],
        levels=found.levels,
        lowest_v=lowest,
        fit=[[_fit(found, row, match) for match in ahead] for row in cart],
        capacity_ah=[row.capacity_ah for row in cart],
        charge_frac=busy.charge_frac,
        free_min=busy.free_min,
        wear=[row.cycles for row in cart],
        charger_a=[place.current_a for place in found.places],
        charger_absorption_min=[place.absorption_min for place in found.places],
        charger_free_min=busy.charger_free_min,
        now_min=0.0,
        ready_before_min=handling.ready_before_min,
        back_after_min=handling.back_after_min,
        cool_min=handling.cool_min,
        rest_min=handling.rest_min,
        least_charge_frac=max(handling.least_charge_frac, found.levels[0]),
    )
    return Assembled(found, problem, origin, frozenset(busy.charging))


def _volts(found: Situation) -> tuple[FloatArray, list[float]]:
    """Lowest board voltage, batteries x matches x levels, and the brown-out level of each match."""
    cart, levels = len(found.cart), len(found.levels)
    lowest = np.zeros((cart, len(found.ahead), levels))
    limit = []
    for m, match in enumerate(found.ahead):
        volts = found.volts.of(match.robot_id, cart, levels)
        lowest[:, m] = volts.lowest_v
        limit.append(volts.limit_v)
    unsure = [found.judged.unsure(row.battery) is not None for row in found.cart]
    lowest[np.array(unsure, dtype=np.bool_)] -= UNSURE_V
    return lowest, limit


def _fit(found: Situation, row: CartRow, match: Match) -> bool:
    may_match, may_practice = found.judged.may(row.battery)
    return may_practice if match.importance == Match.Importance.PRACTICE else may_match


class _Busy:
    """How batteries and chargers come out of what is going on now.

    A charge that runs is waited for where it is done before any match needs its battery. Else the plan may begin it
    anew from what is in the battery now, and end it earlier: that errs on the side of too little.
    """

    def __init__(self, found: Situation, origin: datetime) -> None:
        self.found, self.origin = found, origin
        self.charging: set[int] = set()
        self.charge_frac: list[float] = []
        self.free_min: list[float] = []
        self._until: dict[int, float] = {}
        first = min((self.minutes(match.starts_at) for match in found.ahead), default=np.inf)
        self._needed = first - found.handling.ready_before_min
        for b, row in enumerate(found.cart):
            frac, free = self._battery(b, row)
            self.charge_frac.append(min(1.0, max(0.0, frac)))
            self.free_min.append(free)

    def minutes(self, moment: datetime) -> float:
        return (moment - self.origin) / _MINUTE

    @property
    def charger_free_min(self) -> list[float]:
        free = []
        for place in self.found.places:
            until = self._until.get(place.charger.pk, 0.0)
            if place.foreign is not None:
                out_ah = (1.0 - ASSUMED_BEFORE_FRAC) * place.foreign.battery.model.capacity_ah
                whole = float(charge_minutes(out_ah, place.current_a, place.absorption_min))
                until = max(until, self.minutes(place.foreign.started_at) + whole)
            free.append(max(0.0, until))
        return free

    def _battery(self, b: int, row: CartRow) -> tuple[float, float]:
        """State of charge when it is free, and from when on it is: to go out, or to go on a charger."""
        handling = self.found.handling
        frac = ASSUMED_BEFORE_FRAC if row.charge_frac is None else row.charge_frac
        if row.state == CartState.IN_ROBOT:
            return self._inside(row, frac)
        if row.state == CartState.CHARGING and row.charge is not None and row.next_at is not None:
            done = self.minutes(row.next_at)
            if done + handling.rest_min <= self._needed or done <= 0.0:
                self.charging.add(b)
                self._until[row.charge.charger_id] = done
                return 1.0, done + handling.rest_min
            return frac, 0.0
        if row.state in (CartState.COOLING, CartState.RESTING) and row.next_at is not None:
            return frac, self.minutes(row.next_at)
        return frac, 0.0

    def _inside(self, row: CartRow, frac: float) -> tuple[float, float]:
        """Of a battery in a robot: after its match, or as soon as it can be back from practice."""
        handling, outing = self.found.handling, row.outing
        match = outing.match if outing else None
        begins = self.minutes(match.starts_at) if match and not match.called_off else 0.0
        used = self.found.rows.expected.of(outing.robot_id if outing else None, row.battery.pk).ah
        after = frac - used / row.capacity_ah
        return after, max(0.0, begins + handling.back_after_min) + handling.cool_min


def charger_minutes(found: Situation, row: CartRow) -> tuple[float, float] | None:
    """Current and absorption time of the charger a battery is on; None when it is on none."""
    if row.state != CartState.CHARGING or row.charge is None:
        return None
    return charger_figures(row.charge, found.rows)
