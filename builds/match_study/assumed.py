"""What a study leaves out or had to assume, in sentences that stand beside its answer."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np

from builds.match_study.duties import CYCLE_S, PEAK_FRAC
from builds.match_study.motors import SPIN_UP_S, Motors
from builds.network import Assembled, Assumption
from shared.columns import BoolArray, IdArray
from shared.web.figures import sign_of

_USUAL = "common practice, no source"


def assumptions(net: Assembled, motors: Motors, build_row: int, at: IdArray) -> Iterator[str]:
    """Of one build, whose circuits that take part are ``at``."""
    yield from (f"{gap.code} is left out: {gap.reason}." for gap in net.left_out(build_row))
    yield from _grouped(net.assumptions(build_row))
    codes = np.array(net.rows.circuits.texts("code"), dtype=object)
    for mask, words in _said(net, motors):
        if mask[at].any():
            yield f"{words}: {_listed(codes[at][mask[at]].tolist())}."


def _said(net: Assembled, motors: Motors) -> Iterator[tuple[BoolArray, str]]:
    rows, c, parts = net.rows, net.currents, net.rows.components
    peaks = c.is_load & (c.peak_a > c.own_running_a) & ~motors.profiled
    no_share, no_cycle = np.isnan(rows.floats("duty_frac")), np.isnan(rows.floats("cycle_s"))
    yield peaks & no_share & ~motors.motor, "Share of the peak not entered: taken as if it lasted"
    yield (
        peaks & no_share & motors.motor,
        f"Share of the peak not entered: {PEAK_FRAC.value:.0%} of the time ({_USUAL})",
    )
    yield (
        peaks & no_cycle & (motors.motor | ~no_share),
        f"Cycle of the peak not entered: {CYCLE_S.value:g} s ({_USUAL})",
    )
    yield (
        motors.turns & np.isnan(parts.floats("spin_up_s")),
        f"Spin-up time not entered: {SPIN_UP_S.value:g} s ({_USUAL})",
    )
    yield (
        motors.turns & np.isnan(parts.floats("stall_a")),
        "Stall current not entered: the highest current known of the motor",
    )
    yield motors.turns & np.isnan(parts.floats("free_a")), "Free-running current not entered: none"
    yield (
        motors.motor & motors.profiled & ~motors.turns,
        "Neither stall nor peak current is known of the motor: its running current, as its profile commands",
    )
    yield (
        motors.motor & ~motors.profiled,
        "No duty profile chosen: the motor draws its running and peak current, its starts are not followed",
    )
    yield (
        c.regulates & np.isnan(parts.floats("minimum_v")),
        "Least input not entered: gives out no more than comes in, unless it steps up",
    )
    yield (
        c.is_load & ~motors.motor & ~motors.profiled,
        "No duty profile chosen: the load draws its running and peak current",
    )


def _grouped(found: list[Assumption]) -> Iterator[str]:
    """One sentence per kind of assumption, with the circuits it was made for."""
    groups: dict[tuple[str, str, str], list[str]] = {}
    for one in found:
        figure = "" if one.value is None else f" {one.value:.3g} {sign_of(one.unit)}".rstrip()
        groups.setdefault((one.what, figure, one.source), []).append(one.code)
    for (what, figure, source), codes in groups.items():
        yield f"{what[:1].upper()}{what[1:]} not entered:{figure} ({source}): {_listed(codes)}."


def _listed(codes: list[str], most: int = 6) -> str:
    shown = ", ".join(codes[:most])
    return shown if len(codes) <= most else f"{shown} and {len(codes) - most} more"
