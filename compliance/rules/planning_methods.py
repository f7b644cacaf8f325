"""Methods that are no rules: how a charge is timed and a rotation planned, each with an example worked out live."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import Any, Final

import numpy as np

from compliance.rules.base import step, working
from shared.electrical.sources import Source
from shared.planning.charging import RETURNED, charge_minutes, charged_fraction
from shared.planning.rotation import Problem, blocks, check

MAKER: Final = Source("A charger maker's manual on charge time", "bulk Ah/I plus absorption", "seen")
RETURN: Final = Source("Pages on recharge time of AGM and gel", "104-112 % returned", "seen")
OURS: Final = Source(
    "The sum of both, and the fall of the current in absorption", "our form of it", "common practice"
)
PIT: Final = Source("Minutes of handling in a pit", "set per event", "common practice")
ASSIGN: Final = Source(
    "Kuhn, Naval Research Logistics Quarterly 2 (1955) 83-97", "the assignment problem", "memory"
)
SEARCH: Final = Source(
    "Constraint search with linear bounds", "every aim held while the next is improved", "memory"
)


@dataclass(frozen=True)
class Method:
    """What a plan is worked out by: as a rule is told on the page of methods, without a severity."""

    code: str
    title: str
    asks: str
    formula: str
    needs: tuple[str, ...]
    says: tuple[str, ...]
    sources: tuple[Source, ...]
    example: Callable[[], dict[str, Any]]


def charge() -> dict[str, Any]:
    """A match took 3 Ah; the battery of 18 Ah goes on a charger of 6 A and comes off after 40 minutes, or when full."""
    out_ah, current_a, absorption_min, capacity_ah, early_min = 3.0, 6.0, 60.0, 18.0, 40.0
    bulk_min = 60 * RETURNED * out_ah / current_a
    full_min = float(charge_minutes(out_ah, current_a, absorption_min))
    before = 1 - out_ah / capacity_ah
    early = float(charged_fraction(before, early_min, capacity_ah, current_a, absorption_min))
    back_ah = RETURNED * out_ah
    return working(
        [
            step("To put back", f"{RETURNED:g} x Ah taken out", f"{RETURNED:g} x {out_ah:g} Ah", back_ah, "Ah"),
            step("At full current", "Ah to put back / A", f"{back_ah:g} Ah / {current_a:g} A", bulk_min, "min"),
            step("Until full", "and the absorption", f"{bulk_min:g} + {absorption_min:g} min", full_min, "min"),
            step("Before", "1 - Ah taken out / capacity", f"1 - {out_ah:g} / {capacity_ah:g}", 100 * before, "%"),
            step("Taken off early", "bulk, then a falling current", f"after {early_min:g} min", 100 * early, "%"),
        ],
        limit=None,
        conclusion=f"Full after {full_min:.0f} min. After {early_min:.0f} min it is at {early:.0%}: "
        "the last part takes longest. A green light on a charger is not a full battery.",
        sources=(MAKER, RETURN, OURS),
    )  # fmt: skip


def example_day() -> Problem:
    """The day of the example: the last match counts double."""
    full_v = np.array([[8.4, 8.4, 8.4], [7.8, 7.8, 7.8]])
    return Problem(
        start_min=[0.0, 50.0, 100.0],
        weight=[1.0, 1.0, 2.0],
        limit_v=[7.0] * 3,
        used_ah=[3.0] * 3,
        levels=[0.8, 1.0],
        lowest_v=np.stack([full_v - 0.3, full_v], axis=2),
        fit=[[True] * 3] * 2,
        capacity_ah=[18.0] * 2,
        charge_frac=[1.0] * 2,
        free_min=[-60.0] * 2,
        wear=[10.0, 10.0],
        charger_a=[6.0],
        charger_absorption_min=[60.0],
        charger_free_min=[-60.0],
        now_min=-60.0,
    )


def rotation() -> dict[str, Any]:
    """Three matches 50 minutes apart, two batteries, one charger; the second battery falls 0.6 V further."""
    codes = ("A", "B")
    problem = example_day()
    plan = blocks(problem)
    told = check(problem, plan)
    steps = [
        step(f"Match {m + 1}", "predicted lowest voltage - level it browns out at",
             f"{codes[plan.battery[m]]}, charged to {plan.charge_frac[m]:.0%}", float(plan.margin_v[m]), "V to spare")
        for m in range(3)
        if plan.battery[m] >= 0
    ]  # fmt: skip
    return working(
        [
            step(
                "Worth", "importance x strength of the opponents", "the third match counts double", "1, 1, 2"
            ),
            *steps,
            step("Matches without a battery", "", "", len(plan.uncovered)),
            step(
                "Faults",
                "charges, cooling, rests and chargers worked out again on another path",
                "",
                len(told.faults),
            ),
        ],
        limit=None,
        conclusion="A match has none."
        if len(plan.uncovered)
        else "Every match has a fit and charged battery; none is back in time for the very next match.",
        sources=(PIT, ASSIGN, SEARCH),
    )


METHODS: Final[dict[str, Method]] = {
    method.code: method
    for method in (
        Method(
            code="charging",
            title="How long a charge takes",
            asks="When is a battery on a charger full, and how far does it get if it comes off early?",
            formula="T = 1.1 x Ah taken out / A + absorption time",
            needs=("charge taken out", "current of the charger", "absorption time", "capacity"),
            says=(
                "The absorption time is the charger's, else the event's; 1 to 2 hours after a shallow "
                "discharge of 10 to 30 %.",
                "In absorption the current falls off with half that time as its time constant, so the "
                "charge is full exactly at the end.",
                "A battery cools before it goes on a charger and rests after it; both are minutes of the "
                "event.",
            ),
            sources=(MAKER, RETURN, OURS),
            example=charge,
        ),
        Method(
            code="rotation",
            title="Which battery goes out for which match",
            asks="Which battery for which match, so that none is without one and the weakest has most to spare?",
            formula="fewest matches without a battery; fewest changes; worst margin; sum of margins; even wear",
            needs=(
                "match times with importance and strength",
                "verdict and state of charge of each battery",
                "predicted lowest voltage in this robot",
                "chargers",
                "minutes of handling",
            ),
            says=(
                "Each aim is held while the next one is improved. A plan made anew keeps every battery it"
                " can: what happened already is fixed.",
                "A margin is the predicted lowest board voltage less the highest level at which a device "
                "of the robot browns out. Important matches and strong opponents ask for more of it.",
                "The predicted voltage is from simulated matches with that battery, else from the solved "
                "push, at the state of charge the plan gives it.",
                "A first answer is there at once: matches in blocks of four, each the best assignment. "
                "The search then proves that no better plan exists, or says how much better one could be "
                "at most.",
                "Where some match has no battery it says which is the first, and whether one more "
                "battery, one more charger or a longer break would do.",
            ),
            sources=(PIT, ASSIGN, SEARCH),
            example=rotation,
        ),
    )
}
