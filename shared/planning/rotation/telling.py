"""A plan in the problem's own units, from which battery goes out when, with which charge before it."""

from __future__ import annotations

from collections.abc import Sequence
from typing import NamedTuple

import numpy as np

from shared.planning.rotation.plan import Plan, Previous, Stage
from shared.planning.rotation.problem import Problem
from shared.planning.rotation.terms import IntArray, Terms

__all__ = ["Use"]


class Use(NamedTuple):
    """One match's battery at a level, with the charge before it; charger -1 and no times for none."""

    battery: int
    level: int
    charger: int
    begin: int
    until: int
    ready: int


def tell(
    terms: Terms,
    uses: Sequence[Use | None],
    previous: Previous | None,
    stages: tuple[Stage, ...],
    seconds: float,
) -> Plan:
    """Write down a plan from one use or None for every planned match."""
    problem = terms.problem
    battery, charger = problem.fixed_battery.copy(), np.full(problem.matches, -1, dtype=np.int64)
    frac, lowest, margin, begin, until, ready = np.full((6, problem.matches), np.nan)
    for j, (match, use) in enumerate(zip(terms.match.tolist(), uses, strict=True)):
        if use is None:
            continue
        battery[match] = use.battery
        frac[match] = terms.level[use.battery, use.level]
        lowest[match] = terms.lowest_v[use.battery, j, use.level]
        margin[match] = terms.margin_v[use.battery, j, use.level]
        ready[match] = terms.clock(use.ready)
        if use.charger >= 0:
            charger[match] = use.charger
            begin[match], until[match] = terms.clock(use.begin), terms.clock(use.until)
    before = batteries_before(problem, previous)
    by_name = {stage.name: stage for stage in stages}
    known = by_name["cover"].proven and by_name["worst"].value <= by_name["worst"].bound
    return Plan(
        planned=problem.planned,
        battery=battery,
        charge_frac=frac,
        lowest_v=lowest,
        margin_v=margin,
        charger=charger,
        charge_from_min=begin,
        charge_until_min=until,
        ready_min=ready,
        changes=0 if before is None else int((battery != before)[terms.match].sum()),
        worst_margin_v=float(np.nanmin(margin)) if np.isfinite(margin).any() else float("nan"),
        proven=all(stage.proven for stage in stages),
        gap_v=(by_name["worst"].bound - by_name["worst"].value) / 1000.0 if known else float("inf"),
        seconds=seconds,
        stages=stages,
    )


def batteries_before(problem: Problem, previous: Previous | None) -> IntArray | None:
    """Battery of each match in the plan before; one that is not on the cart any more counts as none."""
    if previous is None:
        return None
    before = np.asarray(previous.battery, dtype=np.int64)
    return np.where(before < problem.batteries, before, -1)


def values(terms: Terms, uses: Sequence[Use | None], before: IntArray | None) -> dict[str, int]:
    """How far a plan reaches each aim, as in ``Stage``."""
    used = [(j, use.battery, use.level) for j, use in enumerate(uses) if use is not None]
    chosen = np.array(used, dtype=np.int64).reshape(-1, 3).T
    j, b, k = chosen
    weighted = terms.weighted_mv[b, j, k]
    worst = int(weighted.min()) if weighted.size else 0
    counts = np.bincount(b, minlength=terms.problem.batteries)
    told = {
        "cover": int(terms.weight.sum() - terms.weight[j].sum()),
        "worst": worst,
        "sum": int(terms.sum_steps[b, j, k].sum()),
        "wear": sum(int(terms.wear_cost(battery)[count]) for battery, count in enumerate(counts)),
    }
    if before is not None:
        battery = np.full(terms.match.size, -1)
        battery[j] = b
        told["floor"] = min(worst, round(1000.0 * terms.problem.floor_v))
        told["changes"] = int((battery != before[terms.match]).sum())
    return told


def simple_bounds(terms: Terms) -> dict[str, int]:
    """What no plan can better, each match looked at by itself."""
    allowed = terms.allowed
    some = allowed.any(axis=(0, 2))
    least = np.iinfo(np.int64).min
    weighted = np.where(allowed, terms.weighted_mv, least).max(axis=(0, 2), initial=least)[some]
    steps = np.where(allowed, terms.sum_steps, least).max(axis=(0, 2), initial=least)[some]
    return {
        "cover": int(terms.weight[~some].sum()),
        "worst": int(weighted.min()) if weighted.size else 0,
        "sum": int(steps.sum()),
        "wear": 0,
    }
