"""Worked examples of the rules about the care of batteries, computed by the functions that judge."""

from __future__ import annotations

from typing import Any, Final

import numpy as np

from compliance.rules.base import step, working
from compliance.rules.batteries import BatteryIncidentOpen, BatterySag, BatteryTopUp
from shared.planning.trends import DEFAULT_POLICY, Outings, charge_use, judge_outings

#: Sags of three batteries in one robot, five outings each, and their resistances.
SAGS: Final = ((4.6, 4.8, 4.7, 4.5, 4.9), (3.3, 3.5, 3.4, 3.6, 3.5), (3.4, 3.6, 3.5, 3.4, 3.6))
MOHM: Final = (12.6, 12.0, 12.2)
FULL_V: Final = 12.85
PEAK_A: Final = 200.0


def sag() -> dict[str, Any]:
    """Three batteries in one robot, five outings each; the first one's voltage falls further."""
    battery = np.repeat(np.arange(len(SAGS)), len(SAGS[0]))
    falls = np.ravel(SAGS)
    told = judge_outings(
        Outings(
            battery=battery,
            place=np.zeros(falls.size),
            start_rest_v=np.full(falls.size, FULL_V),
            lowest_v=FULL_V - falls,
            full_rest_v=np.full(falls.size, FULL_V),
            peak_a=np.full(falls.size, PEAK_A),
            source_mohm=np.array(MOHM)[battery],
            source_kind=np.zeros(falls.size),
        ),
        len(SAGS),
    )
    used = charge_use([1.0], [0.72], [3.8], [18.0])
    return working(
        [
            step("Sag", "rest voltage before - lowest voltage", ", ".join(f"{v:g}" for v in SAGS[0]),
                 float(np.median(SAGS[0])), "V"),
            step("Sag of the others", "median of all their outings", f"{len(SAGS) - 1} batteries",
                 float(np.median(falls[5:])), "V"),
            step("Against the others", "median of sag / theirs", "", float(told.ratio[0])),
            step("Explained by resistance", "its mΩ / median mΩ of the others", f"{MOHM[0]:g} mΩ",
                 float(told.explained[0])),
            step("Excess", "sag / explained - 1", "", 100 * float(told.excess_frac[0]), "%"),
            step("Chance", "sign test: five of five above", "", float(told.p_value[0])),
            step("As a resistance", "sag / current at the lowest moment of a simulated match",
                 f"{PEAK_A:g} A; {told.apparent_low[0]:.1f} to {told.apparent_high[0]:.1f} mΩ in "
                 f"{told.apparent_coverage[0]:.1%} of cases", float(told.apparent_mohm[0]), "mΩ"),
            step("Charge, beside it", "used / capacity against what the rest voltages say, worth 15 points either way",
                 "3.8 of 18 Ah, 100 % to 72 % by voltage", f"{100 * float(used.gap_frac[0]):+.0f} points: "
                 + ("agrees" if used.agrees[0] else "does not agree")),
        ],
        limit={"label": "excess", "name": "excess", "value": 100 * DEFAULT_POLICY.sag_excess_frac, "unit": "%"},
        conclusion="More than its resistance explains: lugs, leads." if told.sags[0] else "No more than it should.",
        sources=BatterySag.sources,
    )  # fmt: skip


def topup() -> dict[str, Any]:
    """A battery charged 100 days ago and not used since."""
    since, limit = 100.0, float(BatteryTopUp.limit("topup_after_d").default)
    return working(
        [
            step("Since the last charge", "today - end of it", "", since, "days"),
            step("Lost by itself", "the faster of two data sheets: 5, 10, 19 % after 1, 2, 3 months", "3 months",
                 19, "%"),
        ],
        limit={"label": "days without a charge", "name": "days", "value": limit, "unit": "days"},
        conclusion="A storage top-up is due." if since >= limit else "Not due yet.",
        sources=BatteryTopUp.sources,
    )  # fmt: skip


def incident() -> dict[str, Any]:
    """A battery that fell off the cart yesterday, and nobody has looked."""
    return working(
        [
            step(
                "Incident",
                "day on which a qualified adult looked at it",
                "yesterday",
                "dropped, not looked at",
            )
        ],
        limit=None,
        conclusion="Quarantine: neither charge nor use it until a qualified adult has looked.",
        sources=BatteryIncidentOpen.sources,
    )
