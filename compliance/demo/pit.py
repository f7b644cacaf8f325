"""A pit that plays matches: batteries go out, come back, cool, and are charged on the first charger that is free.

Voltages and charge follow the batteries' own resistance, so that what outings tell of a battery agrees with what
the meter says of it, but for the battery that is told to sag.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from datetime import datetime, timedelta
from random import Random

from builds.models import Match, Outing, Robot
from inventory.models import Battery, Charge, Charger
from shared.access import Scope
from shared.planning.charging import charge_minutes, charged_fraction

MINUTE = timedelta(minutes=1)
READY_BEFORE, BACK_AFTER, COOL, REST = 15 * MINUTE, 10 * MINUTE, 20 * MINUTE, 5 * MINUTE
#: Of a hard push, and what leads and joints add to the battery's own resistance.
PUSH_A, LEADS_MOHM = 208.0, 8.0


@dataclass
class Held:
    """A battery in this pit: what is left in it, and the charge it is on or was on last."""

    battery: Battery
    mohm: float
    sags: float = 1.0
    frac: float = 1.0
    free_at: datetime | None = None
    charge: Charge | None = None
    full_at: datetime | None = None
    outings: int = 0

    def ready(self, moment: datetime) -> bool:
        """Whether it is charged full and rested by then."""
        return self.full_at is None or self.full_at + REST <= moment


@dataclass
class Pit:
    """Rows are collected; whoever made the pit writes them. ``now``: nothing is noted of what comes later."""

    scope: Scope
    chance: Random
    chargers: list[Charger]
    held: dict[str, Held]
    now: datetime
    outings: list[Outing] = field(default_factory=list)
    charges: list[Charge] = field(default_factory=list)

    def next_battery(self, start: datetime, among: Iterable[str]) -> Held:
        """The one used least of those that are ready; when none is, the one with most in it."""
        goes = start - READY_BEFORE
        here = [self.held[code] for code in among]
        back = [held for held in here if held.free_at is None or held.free_at <= goes]
        ready = [held for held in back if held.ready(goes)]
        if ready:
            return min(ready, key=lambda held: (held.outings, held.battery.code))
        return max(back or here, key=lambda held: (self._frac_at(held, goes), held.battery.code))

    def play(self, start: datetime, robot: Robot, held: Held, match: Match | None = None) -> Outing:
        """One outing and the charge after it."""
        goes = start - READY_BEFORE + MINUTE
        self._off(held, goes)
        used_ah = round(self.chance.uniform(3.6, 4.8), 1)
        start_v = 11.9 + 1.02 * held.frac + self.chance.uniform(-0.02, 0.02)
        sag_v = PUSH_A * (held.mohm + LEADS_MOHM) / 1000 * held.sags * self.chance.gauss(1.0, 0.03)
        held.frac = max(0.05, held.frac - used_ah / held.battery.model.capacity_ah)
        back = start + BACK_AFTER - MINUTE * self.chance.randrange(3)
        outing = Outing(
            team=self.scope.team,
            battery=held.battery,
            robot=robot,
            match=match,
            started_at=goes,
            ended_at=back,
            start_rest_v=round(start_v, 2),
            end_rest_v=round(11.9 + 0.95 * held.frac - self.chance.uniform(0.02, 0.08), 2),
            lowest_v=round(start_v - sag_v, 1),
            used_ah=used_ah,
            by=self.scope.user,
        )
        self.outings.append(outing)
        held.outings += 1
        held.free_at = back + COOL
        self._on(held, back + COOL + 2 * MINUTE)
        return outing

    def finish(self) -> None:
        """Let every charge that began run until it is full; one that has not ended by now stays open."""
        for held in self.held.values():
            if held.charge is not None and held.full_at is not None and held.full_at <= self.now:
                self._off(held, held.full_at)
        self.charges = [charge for charge in self.charges if charge.started_at <= self.now]

    def _on(self, held: Held, earliest: datetime) -> None:
        charger = min(self.chargers, key=lambda one: (max(self._free_at(one), earliest), one.name))
        started = max(self._free_at(charger), earliest)
        out_ah = (1 - held.frac) * held.battery.model.capacity_ah
        minutes = float(charge_minutes(out_ah, *_figures(charger)))
        held.full_at = started + timedelta(minutes=round(minutes))
        held.charge = Charge(
            team=self.scope.team,
            battery=held.battery,
            charger=charger,
            started_at=started,
            by=self.scope.user,
        )
        self.charges.append(held.charge)

    def _off(self, held: Held, moment: datetime) -> None:
        """Off its charger: full, or as far as it came."""
        charge = held.charge
        if charge is None or held.full_at is None:
            return
        held.charge, before = None, held.frac
        if moment <= charge.started_at:  # its turn had not come
            self.charges.remove(charge)
            return
        held.frac = float(self._frac_of(charge, before, moment))
        charge.ended_at = min(moment, held.full_at)
        charge.returned_ah = round(1.1 * (held.frac - before) * held.battery.model.capacity_ah + 0.05, 1)

    def _frac_at(self, held: Held, moment: datetime) -> float:
        return held.frac if held.charge is None else self._frac_of(held.charge, held.frac, moment)

    def _frac_of(self, charge: Charge, before: float, moment: datetime) -> float:
        minutes = max(0.0, (moment - charge.started_at) / MINUTE)
        current_a, absorption_min = _figures(charge.charger)
        capacity_ah = charge.battery.model.capacity_ah
        frac = float(charged_fraction(before, minutes, capacity_ah, current_a, absorption_min))
        return 1.0 if frac > 0.995 else frac

    def _free_at(self, charger: Charger) -> datetime:
        """When a charger is free: its battery is full then, or came off before."""
        busy = [held.full_at for held in self.held.values() if held.charge and held.charge.charger == charger]
        done = [charge.ended_at for charge in self.charges if charge.charger == charger and charge.ended_at]
        times = [moment for moment in (*busy, *done) if moment is not None]
        return max(times, default=datetime.min.replace(tzinfo=self.now.tzinfo))


def _figures(charger: Charger) -> tuple[float, float]:
    assert charger.current_a is not None
    assert charger.absorption_min is not None
    return charger.current_a, charger.absorption_min


def hold(
    batteries: Mapping[str, Battery], mohm: Mapping[str, float], sags: Mapping[str, float]
) -> dict[str, Held]:
    """These batteries, full, with their resistances."""
    return {
        code: Held(battery, mohm.get(code, 12.5), sags.get(code, 1.0)) for code, battery in batteries.items()
    }
