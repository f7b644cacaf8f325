"""The workings of the load rules, line by line, so that a person can follow them by hand."""

from __future__ import annotations

from collections.abc import Callable
from math import isfinite
from typing import Any

from compliance.rules.base import Rule, step
from compliance.rules.load_facts import LoadFacts
from compliance.rules.loads import (
    CircuitUnknown,
    DeviceLoad,
    DeviceMissing,
    DevicePeak,
    DeviceRating,
    FeedSum,
    TerminalBarrel,
    TerminalHole,
    WireAmpacity,
    WireDrop,
)
from shared.electrical.loads import LOAD_BASIS_TEXT, LoadBasis

Steps = list[dict[str, Any]]


def fig(value: float) -> str:
    """A figure as people write it: four digits, no exponent; a dash where there is none."""
    if not isfinite(value):
        return "-"
    return f"{value:.0f}" if abs(value) >= 1000 else f"{value:.4g}"


def known(value: float) -> float | str:
    return float(f"{value:.6g}") if isfinite(value) else "not known"


def load_steps(f: LoadFacts, i: int) -> Steps:
    """From the load's currents to the steady current that heats the wire as much."""
    duty, cycle = f.rows.floats("duty_frac")[i], f.rows.floats("cycle_s")[i]
    basis = LoadBasis(int(f.load.basis[i]))
    numbers = (
        f"running {fig(f.running_a[i])} A, peak {fig(f.peak_a[i])} A, duty {fig(duty)}, cycle {fig(cycle)} s, "
        f"time constant of the wire {fig(f.tau_s[i])} s"
    )
    formula = {
        LoadBasis.RMS: "sqrt(peak^2 x duty + running^2 x (1 - duty))",
        LoadBasis.PULSE: "sqrt(run^2 + (peak^2 - run^2)(1 - exp(-duty x cycle/tau))/(1 - exp(-cycle/tau)))",
    }.get(basis, "")
    label = f"Effective current; {LOAD_BASIS_TEXT[basis]}"
    return [step(label, formula, numbers, known(f.load.current_a[i]), "A")]


def ampacity_steps(f: LoadFacts, i: int) -> Steps:
    """From the table to what the conductors carry where they lie."""
    table, bundles, small = f.tables[f.pack[i]]
    wire = f"{f.rows.wires.text('size_typed', i)}, {fig(f.area_mm2[i])} mm2, {fig(f.class_c[i])} C insulation"
    numbers = (
        f"{wire}; table {table} (below its thinnest size {small}); ambient {fig(f.ambient_c[i])} C gives "
        f"{fig(f.cooling_frac[i])}; {fig(f.bundle[i])} conductors bundled give {fig(f.bundle_frac[i])} ({bundles}); "
        f"{fig(f.parallel[i])} in parallel"
    )
    formula = "table ampacity x sqrt((class - ambient)/(class - 30 C)) x bundle factor x parallel"
    return [step("Corrected ampacity", formula, numbers, known(f.ampacity_a[i]), "A")]


def _drop(f: LoadFacts, i: int) -> Steps:
    numbers = (
        f"R20 {fig(f.ohm_per_m_20c[i] * 1e3)} mΩ/m, conductor at {fig(f.conductor_c[i])} C, "
        f"{fig(f.parallel[i])} in parallel"
    )
    hot = step(
        "Resistance of the hot wire",
        "R20 (234.5 + T)/254.5 / parallel",
        numbers,
        known(f.ohm_per_m_hot[i] * 1e3),
        "mΩ/m",
    )
    path = f"{fig(f.peak_a[i])} A x 2 x {fig(f.length_m[i])} m x {fig(f.ohm_per_m_hot[i] * 1e3)} mΩ/m"
    lost = step("Voltage lost at the peak", "I x 2 x length x R", path, known(f.drop_v[i]), "V")
    kind = "critical" if f.critical[i] else "other"
    share = f"{fig(f.drop_limit_frac[i] * 100)} % ({kind}) of {fig(f.nominal_v[i])} V"
    limit = step(
        "Allowed", "share x nominal voltage", share, known(f.drop_limit_frac[i] * f.nominal_v[i]), "V"
    )
    return [*load_steps(f, i), hot, lost, limit]


def device_step(f: LoadFacts, i: int) -> dict[str, Any]:
    return step("Device", "as entered", f.rows.devices.text("code", i), known(f.rating_a[i]), "A")


def _between(soonest_s: float, latest_s: float) -> str:
    if not isfinite(soonest_s) and not isfinite(latest_s):
        return "holds"
    return f"{fig(soonest_s)} to {fig(latest_s)} s"


def points_step(f: LoadFacts, i: int) -> dict[str, Any]:
    """The own points of a circuit's device, each with where it comes from."""
    device_id = (
        int(f.rows.devices.table.raw["id"][f.rows.devices.row[i]]) if f.rows.devices.row[i] >= 0 else -1
    )
    points = f.rows.points
    own = f.points_of.get(device_id, [])
    times = [tuple(float(points.floats(n)[k]) for n in ("opens_min_s", "opens_max_s")) for k in own]
    told = [
        f"{points.floats('multiple')[k]:g} x: {_between(*seconds)}"
        for k, seconds in zip(own, times, strict=True)
    ]
    sources = [f" ({points.texts('source')[k]}, {points.texts('status')[k]})" for k in own]
    # A source is named behind the last of the points that have it.
    told = [
        text + (source if source != following else "")
        for text, source, following in zip(told, sources, [*sources, ""][1:], strict=True)
    ]
    return step(
        "Own points",
        "opening times at multiples of the rating",
        "; ".join(told) or "none entered",
        len(own),
        "points",
    )


def _device_peak(f: LoadFacts, i: int) -> Steps:
    duty, cycle = f.rows.floats("duty_frac")[i], f.rows.floats("cycle_s")[i]
    return [
        device_step(f, i),
        points_step(f, i),
        step("Multiple", "peak / rating", f"{fig(f.peak_a[i])} / {fig(f.rating_a[i])}",
             known(f.peak_a[i] / f.rating_a[i]), "x"),
        step("Pulse", "duty x cycle", f"{fig(duty)} x {fig(cycle)} s", known(duty * cycle), "s"),
    ]  # fmt: skip


def _device_missing(f: LoadFacts, i: int) -> Steps:
    own = f.rows.devices.text("code", i) or "none"
    return [
        step("Own device", "as entered", own, known(f.rating_a[i]), "A"),
        step("Next device towards the battery", "its rating", "", known(f.upstream_rating_a[i]), "A"),
        *ampacity_steps(f, i),
    ]


def barrel_lines(f: LoadFacts, i: int) -> list[tuple[str, str, float, float]]:
    """Of both ends: which, the terminal, and the range of its barrel [mm2]."""
    ends = (("source end", f.rows.source_ends), ("load end", f.rows.load_ends))
    return [
        (which, end.text("code", i), end.floats("area_min_mm2")[i], end.floats("area_max_mm2")[i])
        for which, end in ends
    ]


def hole_lines(f: LoadFacts, i: int) -> list[tuple[str, str, float, float]]:
    """Of both ends: which, the terminal, its hole and the stud [mm]."""
    ends = (("source end", f.rows.source_ends), ("load end", f.rows.load_ends))
    both = zip(ends, f.studs_mm, strict=True)
    return [(which, end.text("code", i), end.floats("hole_mm")[i], stud[i]) for (which, end), stud in both]


def _barrel(f: LoadFacts, i: int) -> Steps:
    return [
        step(f"Barrel at the {which}", "smallest <= wire <= largest",
             f"{code or 'no terminal'}: {fig(low)} to {fig(high)} mm2; wire {fig(f.area_mm2[i])} mm2",
             known(f.area_mm2[i]), "mm2")
        for which, code, low, high in barrel_lines(f, i)
    ]  # fmt: skip


def _hole(f: LoadFacts, i: int) -> Steps:
    slack = f.column(TerminalHole, "slack_mm")[i]
    return [
        step(f"Hole at the {which}", f"stud <= hole <= stud + {fig(slack)} mm",
             f"{code or 'no terminal'}: hole {fig(hole)} mm, stud {fig(stud)} mm", known(hole), "mm")
        for which, code, hole, stud in hole_lines(f, i)
    ]  # fmt: skip


def _feed_sum(f: LoadFacts, i: int) -> Steps:
    codes = f.rows.circuits.texts("code")
    draws = ", ".join(f"{codes[k]} {fig(f.running_a[k])}" for k in f.fed.get(i, []))
    formula = "sum of the running currents"
    if f.is_regulator[i]:
        efficiency = f.efficiency_frac[i]
        formula += f" x their voltage / ({fig(f.system_v[i])} V x {fig(efficiency)})"
    return [
        step("Branches together", formula, draws or "nothing is fed from it", known(f.through_a[i]), "A"),
        device_step(f, i),
        *ampacity_steps(f, i),
    ]


def _unknown(f: LoadFacts, i: int) -> Steps:
    lacks = f.lacks(i)
    return [step("Not entered", "what the checks need", ", ".join(lacks) or "nothing", len(lacks))]


def _rating(f: LoadFacts, i: int) -> Steps:
    return [device_step(f, i), *ampacity_steps(f, i)]


STEPS: dict[type[Rule], Callable[[LoadFacts, int], Steps]] = {
    WireAmpacity: lambda f, i: [*load_steps(f, i), *ampacity_steps(f, i)],
    WireDrop: _drop,
    DeviceRating: _rating,
    DeviceLoad: lambda f, i: [*load_steps(f, i), device_step(f, i)],
    DevicePeak: _device_peak,
    DeviceMissing: _device_missing,
    TerminalBarrel: _barrel,
    TerminalHole: _hole,
    FeedSum: _feed_sum,
    CircuitUnknown: _unknown,
}
