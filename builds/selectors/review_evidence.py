"""What outings say of each battery: its sag against the others', and its charge against its rest voltages."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from builds.models import Outing
from builds.selectors.expected import ExpectedCharge
from inventory.models import Battery
from inventory.selectors.battery_sources import full_rest_v, rest_curve
from shared.columns import FloatArray
from shared.electrical.battery import state_of_charge_frac
from shared.planning.trends import DEFAULT_POLICY
from shared.planning.trends.outings import OutingDoubt, OutingJudgement, Outings, charge_use, judge_outings


@dataclass(frozen=True, slots=True)
class Evidence:
    """Of one battery; None where nothing tells it. ``ratio``: its sag over that of the others in the same robot.

    ``apparent_mohm``: sag over the current of a simulated match, with leads and joints up to the board.
    ``charge_gap_frac``: share of the capacity that was used less what the rest voltages fell by.
    """

    sag_v: float | None
    ratio: float | None
    compared: int
    sags: bool
    apparent_mohm: float | None
    charge_gap_frac: float | None
    words: tuple[str, ...]


def evidence_of(
    outings: Sequence[Outing], expected: ExpectedCharge, capacity_ah: Mapping[int, float]
) -> dict[int, Evidence]:
    """Battery -> what its outings say of it; reads nothing."""
    batteries = {outing.battery_id: outing.battery for outing in outings}
    place = {pk: i for i, pk in enumerate(batteries)}
    if not outings:
        return {}
    told = judge_outings(_columns(outings, place, expected), len(place))
    gaps = _gaps(outings, expected, capacity_ah)
    codes = np.array([place[outing.battery_id] for outing in outings], dtype=np.int64)
    return {pk: _one(told, i, codes == i, gaps) for pk, i in place.items()}


def _columns(outings: Sequence[Outing], place: Mapping[int, int], expected: ExpectedCharge) -> Outings:
    # In one robot, a match is compared with matches and practice with practice.
    robots = {pk: i for i, pk in enumerate(sorted({o.robot_id for o in outings if o.robot_id is not None}))}
    return Outings(
        battery=[place[o.battery_id] for o in outings],
        place=[
            -1 if o.robot_id is None else 2 * robots[o.robot_id] + (o.match_id is not None) for o in outings
        ],
        start_rest_v=[_number(o.start_rest_v) for o in outings],
        lowest_v=[_number(o.lowest_v) for o in outings],
        full_rest_v=[full_rest_v(o.battery) for o in outings],
        peak_a=[_number(expected.peak_a(o.robot_id, o.battery_id)) for o in outings],
        source_mohm=[math.nan] * len(outings),
        source_kind=[0] * len(outings),
    )


def _gaps(
    outings: Sequence[Outing], expected: ExpectedCharge, capacity_ah: Mapping[int, float]
) -> FloatArray:
    """Per outing: charge used over the capacity, less what the rest voltages fell by."""
    start, end = (
        [_by_rest(o.battery, volts) for o, volts in ((o, getattr(o, name)) for o in outings)]
        for name in ("start_rest_v", "end_rest_v")
    )
    used = [expected.of(o.robot_id, o.battery_id).ah if o.used_ah is None else o.used_ah for o in outings]
    capacity = [capacity_ah.get(o.battery_id) or o.battery.model.capacity_ah for o in outings]
    return charge_use(start, end, used, capacity).gap_frac


def _by_rest(battery: Battery, volts: float | None) -> float:
    curve = rest_curve(battery.model)
    if volts is None or curve is None:
        return math.nan
    return float(state_of_charge_frac(volts, curve))


def _one(told: OutingJudgement, i: int, mine: np.ndarray, gaps: FloatArray) -> Evidence:
    sags = told.sag_v[mine]
    sags = sags[~np.isnan(sags)]
    known = gaps[mine][~np.isnan(gaps[mine])]
    sag_v = float(np.median(sags)) if sags.size else None
    gap = float(np.median(known)) if known.size else None
    ratio, apparent = _known(told.ratio[i]), _known(told.apparent_mohm[i])
    compared = int(told.n_compared[i])
    return Evidence(
        sag_v=sag_v,
        ratio=ratio,
        compared=compared,
        sags=bool(told.sags[i]),
        apparent_mohm=apparent,
        charge_gap_frac=gap,
        words=(
            *_sag_words(told, i, sag_v, sags.size, ratio, compared),
            *_apparent_words(apparent),
            *_gap_words(gap),
        ),
    )


def _sag_words(
    told: OutingJudgement, i: int, sag_v: float | None, count: int, ratio: float | None, compared: int
) -> list[str]:
    if sag_v is None:
        return ["Its sag is not known: note the voltage before and the lowest voltage of its outings."]
    times = f"{count} outing{'s' if count != 1 else ''}"
    said = f"It sagged by {sag_v:.1f} V (median of {times})"
    if ratio is None:
        return [f"{said}; too few outings of others in the same robot to compare with."]
    more = f"{abs(ratio - 1):.0%} {'more' if ratio >= 1 else 'less'} than the others"
    if told.sags[i]:
        return [f"{said}, {more} in {compared}: more than chance. Check its lugs, then measure it."]
    few = " Too few to judge." if told.doubt[i] != OutingDoubt.NONE else ""
    return [f"{said}, {more}.{few}"]


def _apparent_words(apparent: float | None) -> list[str]:
    if apparent is None:
        return []
    return [f"With the current of simulated matches that is {apparent:.0f} mΩ, leads and joints included."]


def _gap_words(gap: float | None) -> list[str]:
    """Only where the two disagree by more than a rest voltage is worth."""
    doubt = DEFAULT_POLICY.charge_doubt_frac
    if gap is None or abs(gap) <= doubt:
        return []
    side = "less" if gap > 0 else "more"
    return [
        f"Its rest voltages fell by {side} than the charge used: {abs(gap):.0%} of its capacity apart. "
        "Minutes after a match they have not come back yet; test its capacity if it stays so."
    ]


def _known(value: float) -> float | None:
    return float(value) if math.isfinite(value) else None


def _number(value: float | None) -> float:
    return math.nan if value is None else float(value)
