"""Ten batteries of the Gull Point team and a few of its neighbours, with two seasons of readings by two instruments."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import timedelta
from random import Random

from compliance.demo.catalogue import Catalogue
from compliance.demo.clock import Clock
from compliance.demo.people import GULL, SALT, TERN
from compliance.demo.rows import put_many
from inventory.models import Battery, BatteryModel, CapacityTest, Charge, Charger, Method, Reading
from shared.access import Scope

BENCH, HAND, NEWER = "Bench meter 1", "Hand meter 2", "Hand meter 3"
#: A two-pulse meter reads higher than 1 kHz on the same block, and every meter in its own way: a line each.
METERS: dict[str, tuple[str, float]] = {
    BENCH: (Method.AC_1KHZ, 1.0),
    HAND: (Method.TWO_PULSE, 1.32),
    NEWER: (Method.TWO_PULSE, 1.27),
}
#: What each charger gives in bulk charge [A].
CHARGERS = {"Charger 1": 6.0, "Charger 2": 6.0, "Charger 3": 5.0, "Charger 4": 6.0}
#: Reviews held in the cold: their readings are on record and left out of every trend.
COLD = (-512, -314, -116)
#: Two seasons of review days, in days from today; the last one is five days ago.
REVIEWS = (*range(-600, -27, 22), -17, -5)


@dataclass(frozen=True)
class Life:
    """How a battery ages: its resistance at first, the share it has risen by today, and how the rise bends."""

    code: str
    model: str = "AGM18"
    first_mohm: float = 12.0
    rise_frac: float = 0.05
    bend: float = 1.0
    jump_frac: float = 0.0
    bench_reviews: tuple[int, ...] = REVIEWS
    hand_reviews: tuple[int, ...] = REVIEWS
    newer_reviews: tuple[int, ...] = ()
    capacity_frac: float = 0.96
    acquired: int = -640
    cycles_at_intake: int = 8
    stored: bool = False

    @property
    def reviews(self) -> dict[str, tuple[int, ...]]:
        """Days of reading by meter."""
        return {BENCH: self.bench_reviews, HAND: self.hand_reviews, NEWER: self.newer_reviews}


#: Batteries that sag in a robot by this factor more than their resistance explains.
SAGS = {"GP-06": 1.28}
NEW = (-40, -12)
EARLIER = tuple(day for day in REVIEWS if day < -90)
LATELY = (-80, -58, -36, -14)
LIVES: dict[str, tuple[Life, ...]] = {
    GULL: (
        Life("GP-01", first_mohm=11.6, rise_frac=0.04),
        Life("GP-02", first_mohm=12.1, rise_frac=0.06),
        Life("GP-03", first_mohm=11.8, rise_frac=0.05, jump_frac=0.45),
        Life("GP-04", first_mohm=12.4, rise_frac=0.02),
        Life("GP-05", first_mohm=11.9, rise_frac=0.40, bend=1.6),
        Life("GP-06", first_mohm=12.0, rise_frac=0.07),
        Life("GP-07", first_mohm=12.2, rise_frac=0.68, bend=2.2),
        Life("GP-08", first_mohm=11.7, rise_frac=0.03),
        Life("GP-09", first_mohm=12.3, rise_frac=0.05, capacity_frac=0.74),
        Life("GP-10", first_mohm=11.5, rise_frac=0.0, bench_reviews=(), hand_reviews=NEW, acquired=-60),
    ),
    TERN: (
        Life("TR-1", "AGM17", first_mohm=13.0, rise_frac=0.05),
        Life("TR-2", "AGM17", first_mohm=13.2, rise_frac=0.07, acquired=-1160, cycles_at_intake=70),
        Life(
            "TR-3",
            "AGM17",
            first_mohm=12.9,
            rise_frac=0.04,
            bench_reviews=EARLIER,
            hand_reviews=EARLIER,
            newer_reviews=LATELY,
        ),
    ),
    SALT: (
        Life("SM-1", first_mohm=12.2, rise_frac=0.03),
        Life("SM-2", first_mohm=12.0, rise_frac=0.06),
        Life("SM-3", bench_reviews=(), hand_reviews=()),
        Life(
            "SM-4", first_mohm=12.1, rise_frac=0.02, bench_reviews=EARLIER, hand_reviews=EARLIER, stored=True
        ),
    ),
}


@dataclass(frozen=True)
class Cart:
    """A team's batteries and chargers, which of them go out at all, and their resistance today; by code."""

    batteries: dict[str, Battery]
    chargers: list[Charger]
    played: tuple[str, ...]
    mohm: dict[str, float]


def make_batteries(scope: Scope, parts: Catalogue, clock: Clock, chance: Random) -> Cart:
    """The team's batteries with everything that was measured on them."""
    lives = LIVES[scope.team.slug]
    chargers = put_many(
        scope,
        [Charger(team=scope.team, name=n, current_a=a, absorption_min=60) for n, a in CHARGERS.items()],
    )
    batteries = [_battery(scope, parts, life, clock) for life in lives]
    made = {b.code: b for b in put_many(scope, batteries)}
    readings: list[Reading] = []
    charges: list[Charge] = []
    for life in lives:
        readings += _readings(scope, made[life.code], life, clock, chance)
        charges += _charges(scope, made[life.code], life, chargers, clock, chance)
    put_many(scope, readings)
    put_many(scope, charges)
    put_many(scope, [_capacity(scope, made[life.code], life, clock, chance) for life in lives])
    played = tuple(life.code for life in lives if not life.stored)
    return Cart(made, chargers, played, {life.code: resistance_mohm(life, REVIEWS[-1]) for life in lives})


def _battery(scope: Scope, parts: Catalogue, life: Life, clock: Clock) -> Battery:
    model = parts.get_as(BatteryModel, life.model)
    assert model is not None
    return Battery(
        team=scope.team,
        code=life.code,
        model=model,
        serial=f"D{scope.team.slug[:2].upper()}{life.code[-2:]}",
        acquired_on=clock.day(life.acquired),
        in_service_on=clock.day(life.acquired + 10),
        cycles_at_intake=life.cycles_at_intake,
    )


def _readings(scope: Scope, battery: Battery, life: Life, clock: Clock, chance: Random) -> list[Reading]:
    rows = []
    for meter, days in life.reviews.items():
        for day in days:
            loose = bool(life.jump_frac) and day == REVIEWS[-1]
            if loose and meter != BENCH:
                continue  # the loose lug was seen with the bench meter and not measured again yet
            mohm = _mohm(life, day, chance) * METERS[meter][1] * (1 + life.jump_frac * loose)
            rows.append(_reading(scope, battery, mohm, meter, day, clock, chance))
    return rows


def resistance_mohm(life: Life, day: int) -> float:
    """What a perfect meter at 1 kHz would read that day, a loose lug aside."""
    along = (day - REVIEWS[0]) / (REVIEWS[-1] - REVIEWS[0])
    rise: float = life.rise_frac * max(0.0, along) ** life.bend
    return life.first_mohm * (1 + rise)


def _mohm(life: Life, day: int, chance: Random) -> float:
    return resistance_mohm(life, day) * chance.gauss(1.0, 0.008)


def _reading(
    scope: Scope, battery: Battery, mohm: float, instrument: str, day: int, clock: Clock, chance: Random
) -> Reading:
    cold = day in COLD
    return Reading(
        team=scope.team,
        battery=battery,
        taken_at=clock.at(day, 17 if instrument == BENCH else 18, chance.randrange(60)),
        resistance_mohm=round(mohm * (1.07 if cold else 1.0), 2),
        method=METERS[instrument][0],
        instrument=instrument,
        rest_v=round(chance.uniform(12.88, 13.02), 2),
        rest_h=round(chance.uniform(6, 20), 1),
        temperature_c=round(chance.uniform(6, 12) if cold else chance.uniform(18, 25), 1),
        note="In the boat shed, no heating" if cold else "",
        by=scope.user,
    )


def _charges(
    scope: Scope, battery: Battery, life: Life, chargers: list[Charger], clock: Clock, chance: Random
) -> list[Charge]:
    """A charge on the evening before every review."""
    days = sorted({day - 1 for reviews in life.reviews.values() for day in reviews})
    rows = []
    for day in days:
        start = clock.at(day, 16, chance.randrange(60))
        rows.append(
            Charge(
                team=scope.team,
                battery=battery,
                charger=chance.choice(chargers),
                started_at=start,
                ended_at=start + timedelta(minutes=chance.randrange(90, 240)),
                returned_ah=round(chance.uniform(4, 11), 1),
                by=scope.user,
            )
        )
    return rows


def _capacity(scope: Scope, battery: Battery, life: Life, clock: Clock, chance: Random) -> CapacityTest:
    ah = battery.model.capacity_ah
    return CapacityTest(
        team=scope.team,
        battery=battery,
        tested_at=clock.at(max(-70, life.acquired + 20), 12, chance.randrange(60)),
        current_a=round(ah / battery.model.capacity_hours_h, 2),
        end_v=10.5,
        temperature_c=round(chance.uniform(22, 25), 1),
        capacity_ah=round(ah * life.capacity_frac * chance.gauss(1.0, 0.005), 2),
        by=scope.user,
    )
