"""Days to plan: small ones drawn at random, and full ones of an event."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import numpy as np
from hypothesis import strategies as st

from shared.planning.rotation import Plan, Problem


def a_day(**changes: Any) -> Problem:
    """Two like batteries, three matches an hour apart, one charger; every test says what is different."""
    told: dict[str, Any] = {
        "start_min": [60, 120, 180],
        "limit_v": 7.0,
        "weight": 1.0,
        "used_ah": 3.0,
        "levels": [0.85, 1.0],
        "capacity_ah": [18, 18],
        "charge_frac": 1.0,
        "free_min": 0.0,
        "wear": 10.0,
        "charger_a": [6],
        "charger_absorption_min": 60.0,
        "charger_free_min": 0.0,
        "now_min": 0.0,
        "fit": True,
        "lowest_v": [8.0, 9.0],
    } | changes
    matches, batteries, chargers, levels = (
        len(told[name]) for name in ("start_min", "capacity_ah", "charger_a", "levels")
    )
    shapes = {
        **dict.fromkeys(("limit_v", "weight", "used_ah"), (matches,)),
        **dict.fromkeys(("charge_frac", "free_min", "wear"), (batteries,)),
        **dict.fromkeys(("charger_absorption_min", "charger_free_min"), (chargers,)),
        "fit": (batteries, matches),
        "lowest_v": (batteries, matches, levels),
    }
    for name, shape in shapes.items():
        told[name] = np.broadcast_to(told[name], shape)
    return Problem(**told)


@st.composite
def small_days(draw: st.DrawFn, most_matches: int = 4) -> Problem:
    """Small enough to try everything: up to three batteries, four matches, two chargers, three levels."""
    matches, batteries = draw(st.integers(1, most_matches)), draw(st.integers(1, 3))
    chargers = draw(st.integers(0, 2))
    seed = draw(st.integers(0, 2**20))
    return random_day(np.random.default_rng(seed), matches, batteries, chargers)


def random_day(rng: np.random.Generator, matches: int, batteries: int, chargers: int) -> Problem:
    """Short of batteries and chargers as often as not; matches may begin together, charges may be cut short."""
    least, levels = ((0.85, [0.85, 0.95, 1.0]), (0.5, [0.5, 0.75, 1.0]), (0.8, [0.7, 1.0]))[rng.integers(3)]
    strength = rng.integers(0, 1500, (batteries, matches, 1)) / 1000.0
    falls = np.cumsum(rng.integers(0, 500, (batteries, matches, len(levels))), axis=2) / 1000.0
    return Problem(
        start_min=40 + np.cumsum(rng.choice([0, 5, 20, 35, 60, 90, 130], matches)),
        weight=rng.choice([0.5, 1.0, 1.5, 3.0], matches),
        limit_v=rng.choice([6.5, 7.0, 7.5], matches),
        used_ah=rng.choice([1.0, 2.5, 4.0], matches),
        levels=levels,
        lowest_v=6.3 + strength + falls,
        fit=rng.random((batteries, matches)) < 0.85,
        capacity_ah=rng.choice([12.0, 17.0, 18.5], batteries),
        charge_frac=rng.choice([1.0, 1.0, 0.93, 0.8, 0.4], batteries),
        free_min=rng.choice([0, 0, 30, 90], batteries),
        wear=rng.integers(0, 6, batteries),
        charger_a=rng.choice([4.0, 6.0, 10.0], chargers),
        charger_absorption_min=rng.choice([0.0, 20.0, 45.0], chargers),
        charger_free_min=rng.choice([0, 0, 50], chargers),
        now_min=float(rng.choice([0, 0, 30])),
        ready_before_min=10,
        back_after_min=float(rng.choice([5, 10])),
        cool_min=float(rng.choice([0, 10])),
        rest_min=float(rng.choice([0, 5])),
        least_charge_frac=least,
        floor_v=float(rng.choice([0.0, 0.3])),
    )


def event_day(
    seed: int,
    *,
    batteries: int = 15,
    matches: int = 20,
    chargers: int = 5,
    gap_min: tuple[int, int] = (12, 40),
    currents_a: tuple[float, ...] = (6.0,),
) -> Problem:
    """A day of one robot at an event, with batteries as unequal as a team's are; all invented."""
    rng = np.random.default_rng(seed)
    levels = np.array([0.85, 0.9, 0.95, 1.0])
    weight = rng.choice([1.0, 1.0, 1.0, 1.5, 2.0], matches)
    knock_out = matches // 4
    weight[matches - knock_out :] = rng.choice([2.0, 3.0], knock_out)
    peak_a = np.clip(rng.normal(190.0, 25.0, matches), 120.0, 260.0)
    ohm = np.clip(rng.normal(0.019, 0.003, batteries), 0.013, 0.030) + 0.008
    sag_v = peak_a[None, :, None] * ohm[:, None, None] * (1.0 + 0.8 * (1.0 - levels))
    fit = np.repeat(rng.random((batteries, 1)) > 0.1, matches, axis=1)
    return Problem(
        start_min=60 + np.cumsum(rng.integers(gap_min[0], gap_min[1] + 1, matches)),
        weight=weight,
        limit_v=np.full(matches, 6.8),
        used_ah=np.clip(rng.normal(2.8, 0.5, matches), 1.5, 4.5).round(2),
        levels=levels,
        lowest_v=12.0 + 0.85 * levels - sag_v,
        fit=fit,
        capacity_ah=rng.normal(17.5, 0.8, batteries).round(1),
        charge_frac=rng.choice([1.0, 1.0, 1.0, 0.97, 0.9, 0.8], batteries),
        free_min=np.zeros(batteries),
        wear=rng.integers(5, 90, batteries),
        charger_a=rng.choice(currents_a, chargers),
        charger_absorption_min=np.full(chargers, 60.0),
        charger_free_min=np.zeros(chargers),
        now_min=0.0,
    )


def gone_by(day: Problem, plan: Plan, played: int, *, slips_min: float = 0.0) -> Problem:
    """The same day just before a match's battery goes out, all as planned so far; the rest begins later by so much."""
    start = day.start + np.where(np.arange(day.matches) >= played, slips_min, 0.0)
    now = float(day.start[played] - day.ready_before_min - 1)
    free, charge = np.array(day.free_min, dtype=np.float64), np.array(day.charge_frac, dtype=np.float64)
    charger_free = np.array(day.charger_free_min, dtype=np.float64)
    since: dict[int, int] = {}
    for match, battery in enumerate(plan.battery.tolist()):
        on_charger = plan.charger[match] >= 0 and plan.charge_from_min[match] <= now
        if battery >= 0 and since.get(battery, -1) < played and on_charger:
            # A charge that has begun is finished.
            charge[battery], free[battery] = plan.charge_frac[match], plan.ready_min[match]
            until, charger = plan.charge_until_min[match], plan.charger[match]
            charger_free[charger] = max(charger_free[charger], until)
        since[battery] = match
        if battery >= 0 and match < played:
            used = np.asarray(day.used_ah)[match] / np.asarray(day.capacity_ah)[battery]
            charge[battery] = max(plan.charge_frac[match] - used, 0.0)
            free[battery] = day.start[match] + day.back_after_min + day.cool_min
    return replace(
        day,
        start_min=start,
        now_min=now,
        fixed=np.where(np.arange(day.matches) < played, plan.battery, -1),
        free_min=free,
        charge_frac=charge,
        charger_free_min=charger_free,
        wear=np.asarray(day.wear) + np.bincount(plan.battery[:played], minlength=day.batteries),
    )
