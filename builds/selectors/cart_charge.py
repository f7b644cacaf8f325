"""What is left in a battery: its last charge, less what it gave since; the rest voltage where nothing else tells it.

Charge is counted, for a voltage read soon after a charge or a match says little. A rested reading counts where the
count is unknown, or wrong by more than such a reading can be.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from datetime import datetime, timedelta
from functools import partial

from django.db.models import TextChoices
from django.utils import timezone

from builds.models import Outing
from builds.selectors import expected
from builds.selectors.cart_rows import BatteryRows, CartRows, came_back_unused, out_of_robot
from inventory.models import Charge, Reading
from inventory.selectors.battery_sources import rest_curve
from shared.electrical.battery import state_of_charge_frac
from shared.electrical.tables.battery import SOC_SPREAD_FRAC
from shared.planning.charging import RETURNED, charge_minutes, charged_fraction, minutes_to_fraction

#: A charger nobody entered a current of: 0.3 of the capacity of a 20 Ah block, as its data sheet allows at most.
ASSUMED_CHARGER_A = 6.0
#: A battery nobody knows anything of is taken as half empty when it goes on a charger (our choice).
ASSUMED_BEFORE_FRAC = 0.5
#: Volts at rest tell the state of charge only after so long (common practice).
RESTED_H = 6.0


class Phase(TextChoices):
    BULK = "bulk", "Bulk charge"
    ABSORPTION = "absorption", "Absorption"
    FULL = "full", "Full"


class LevelSource(TextChoices):
    """How the state of charge is known, the best first."""

    CHARGED = "charged", "Counted from its charge"
    MEASURED = "measured", "Charge less Ah measured in outings"
    STUDY = "study", "Charge less Ah of simulated matches"
    PAST = "past", "Charge less Ah of past outings"
    ASSUMED = "assumed", "Charge less Ah assumed for a match"
    REST = "rest", "Rest voltage"
    UNKNOWN = "unknown", "Not known"


_BY_EXPECTED = {
    expected.STUDIED: LevelSource.STUDY,
    expected.PAST: LevelSource.PAST,
    expected.ASSUMED: LevelSource.ASSUMED,
}
_NOT_KNOWN = "Not known: charge it, or measure its voltage after six hours of rest"


@dataclass(frozen=True, slots=True)
class Level:
    """State of charge, 0 to 1, None if not known; what it rests on; the sentence."""

    frac: float | None
    source: LevelSource
    words: str


def charger_figures(charge: Charge, rows: CartRows) -> tuple[float, float]:
    """Current and absorption time of the charger, as entered or as assumed."""
    current, minutes = charge.charger.current_a, charge.charger.absorption_min
    return current or ASSUMED_CHARGER_A, rows.handling.absorption_min if minutes is None else minutes


class Tank:
    """Follows one battery through its newest rows. ``level`` is now; of one in a robot, what it went in with."""

    def __init__(self, mine: BatteryRows, rows: CartRows, now: datetime) -> None:
        self.mine, self.rows, self.now = mine, rows, now
        self.full_at: datetime | None = None
        self.enough_at: datetime | None = None
        self.phase: Phase | None = None
        self._frac: float | None = None
        self._source, self._base, self._taken = LevelSource.UNKNOWN, "", 0.0
        self._how: set[LevelSource] = set()
        for _, step in sorted(self._steps(), key=lambda item: item[0]):
            step()

    @property
    def level(self) -> Level:
        if self._frac is None:
            return Level(None, LevelSource.UNKNOWN, _NOT_KNOWN)
        source = max(self._how, key=list(LevelSource).index, default=self._source)
        if self._source == LevelSource.REST:
            source = LevelSource.REST
        less = f", less {self._taken:.1f} Ah ({_HOW[source]})" if self._taken else ""
        return Level(self._frac, source, f"{self._base}{less}")

    def _steps(self) -> list[tuple[datetime, partial[None]]]:
        mine = self.mine
        steps = [(row.started_at, partial(self._charge, row)) for row in mine.charges]
        steps += [(row.started_at, partial(self._outing, row)) for row in mine.outings]
        steps += [(row.taken_at, partial(self._reading, row)) for row in mine.readings]
        return steps

    def _set(self, frac: float, source: LevelSource, base: str) -> None:
        self._frac, self._source, self._base = min(1.0, max(0.0, frac)), source, base
        self._taken, self._how = 0.0, set()

    def _charge(self, charge: Charge) -> None:
        before = self._frac
        start = ASSUMED_BEFORE_FRAC if before is None else before
        current_a, absorption_min = charger_figures(charge, self.rows)
        until = charge.ended_at or self.now
        minutes = max(0.0, (until - charge.started_at) / timedelta(minutes=1))
        capacity_ah = self.mine.capacity_ah
        if charge.ended_at is not None and charge.returned_ah is not None and before is not None:
            frac = start + charge.returned_ah / RETURNED / capacity_ah
            how = f"{charge.returned_ah:g} Ah returned by {charge.charger.name}"
        else:
            frac = float(charged_fraction(start, minutes, capacity_ah, current_a, absorption_min))
            how = f"{minutes:.0f} min on {charge.charger.name}"
        if charge.ended_at is None:
            self._follow(charge, start, current_a, absorption_min)
        was = f"{before:.0%} before" if before is not None else "taken as half empty before"
        known = "" if charge.charger.current_a else f", {ASSUMED_CHARGER_A:g} A assumed"
        self._set(frac, LevelSource.CHARGED, f"{how} since {_clock(charge.started_at)}, {was}{known}")

    def _follow(self, charge: Charge, start: float, current_a: float, absorption_min: float) -> None:
        """When an open charge will be done, and how far it is."""
        out_ah = (1.0 - start) * self.mine.capacity_ah
        full_min = float(charge_minutes(out_ah, current_a, absorption_min))
        passed = (self.now - charge.started_at) / timedelta(minutes=1)
        self.full_at = charge.started_at + timedelta(minutes=full_min)
        least = min(1.0, self.rows.handling.least_charge_frac)
        capacity_ah = self.mine.capacity_ah
        enough_min = float(minutes_to_fraction(start, least, capacity_ah, current_a, absorption_min))
        self.enough_at = charge.started_at + timedelta(minutes=enough_min)
        if passed >= full_min:
            self.phase = Phase.FULL
        else:
            self.phase = Phase.ABSORPTION if passed >= full_min - absorption_min else Phase.BULK

    def _outing(self, outing: Outing) -> None:
        if self._frac is None and outing.start_rest_v is not None:
            self._by_rest(outing.start_rest_v, f"{outing.start_rest_v:g} V when it went out")
        if outing.in_robot or self._frac is None:
            return
        if came_back_unused(outing):
            return
        if outing.used_ah is None and outing.match is not None and outing.match.called_off:
            return
        if out_of_robot(outing, self.rows.handling) > self.now and outing.ended_at is None:
            return
        told = self.rows.expected.of(outing.robot_id, outing.battery_id)
        ah = told.ah if outing.used_ah is None else outing.used_ah
        self._how.add(LevelSource.MEASURED if outing.used_ah is not None else _BY_EXPECTED[told.source])
        self._taken += ah
        self._frac = max(0.0, self._frac - ah / self.mine.capacity_ah)

    def _reading(self, reading: Reading) -> None:
        if reading.charge_frac is not None:
            told = reading.charge_frac
            if self._frac is None or abs(told - self._frac) > SOC_SPREAD_FRAC:
                self._set(told, LevelSource.REST, f"{told:.0%} by {reading.instrument}")
        elif reading.rest_v is not None and (reading.rest_h or 0.0) >= RESTED_H:
            self._by_rest(reading.rest_v, f"{reading.rest_v:g} V after {reading.rest_h:g} h of rest")

    def _by_rest(self, rest_v: float, words: str) -> None:
        curve = rest_curve(self.mine.battery.model)
        frac = float(state_of_charge_frac(rest_v, curve)) if curve else math.nan
        if math.isnan(frac) or (self._frac is not None and abs(frac - self._frac) <= SOC_SPREAD_FRAC):
            return
        self._set(frac, LevelSource.REST, f"{words}; worth ±{SOC_SPREAD_FRAC:.0%}")


_HOW = {
    LevelSource.CHARGED: "counted",
    LevelSource.MEASURED: "measured",
    LevelSource.STUDY: "as simulated",
    LevelSource.PAST: "as in past outings",
    LevelSource.ASSUMED: "assumed, common practice",
    LevelSource.REST: "as far as known",
    LevelSource.UNKNOWN: "not known",
}


def _clock(moment: datetime) -> str:
    return f"{timezone.localtime(moment):%H:%M}"
