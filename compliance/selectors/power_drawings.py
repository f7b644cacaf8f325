"""Drawings of a solved robot: its feed tree in one scenario, and the board voltage of its worst match."""

from __future__ import annotations

from collections.abc import Callable, Collection, Mapping
from dataclasses import replace
from typing import Any

from builds.models import Build
from builds.network import LeftOut, Scenario
from builds.studies import Node, SolvedBuild, SolvedCircuit
from compliance.models import Severity
from compliance.selectors.margins import OK, CircuitMargin
from inventory.models import ProtectiveDevice
from shared.web.charts import FeedBranch, FeedTreeChart, RunBand, VoltageTrace, VoltLevel
from shared.web.figures import format_figure

#: What one branch must lose for the tree to say so although nothing is wrong with it.
LOSS_WORTH_A_WORD_V = 0.5
FUSES = (ProtectiveDevice.Form.BLADE, ProtectiveDevice.Form.BOLT)


def plain(value: float | None, decimals: int | str = 1) -> str:
    """A figure for running text."""
    return format_figure(value, decimals).strip("\u2007")


def feed_picture(
    build: Build,
    solved: SolvedBuild,
    scenario: Scenario,
    margins: Mapping[int, CircuitMargin],
    url_of: Callable[[int], str],
    *,
    notes: Mapping[str, str] | None = None,
    chart_id: str = "feed-tree",
) -> FeedTreeChart:
    """The tree with what flows and what arrives; verdicts are those of the checks. ``notes`` by code go first."""
    codes = {found.circuit_id: found.code for found in solved.circuits}
    branches = [
        _branch(found, scenario, margins.get(found.circuit_id), codes, url_of(found.circuit_id))
        for found in solved.circuits
    ]
    branches += [_left_out(lost, margins.get(lost.circuit_id), codes, url_of) for lost in solved.left_out]
    given = notes or {}
    return FeedTreeChart(
        title=f"{build}, {solved.battery.name}: {solved.scenarios[scenario].words}",
        branches=[replace(b, note=given.get(b.key, b.note)) for b in branches],
        source=solved.battery.name,
        source_note=source_words(solved, scenario),
        chart_id=chart_id,
    )


def source_words(solved: SolvedBuild, scenario: Scenario) -> str:
    """What stands beside the battery: its posts under this load, and its resistance."""
    volts, inside = solved.scenarios[scenario].battery_v, solved.battery.internal_mohm
    parts = [
        "" if volts is None else f"{plain(volts, 2)} V at its posts",
        "" if inside is None else f"{plain(inside)} mΩ inside",
    ]
    return ", ".join(filter(None, parts))


def _branch(
    found: SolvedCircuit, scenario: Scenario, margin: CircuitMargin | None, codes: Mapping[int, str], url: str
) -> FeedBranch:
    node = found.nodes[scenario]
    return FeedBranch(
        key=found.code,
        name=f"{found.code} {found.name}",
        parent=codes.get(found.fed_from_id or 0, ""),
        area_mm2=found.area_mm2 * found.parallel,
        wire=wire_words(found),
        current_a=node.current_a,
        far_v=node.load_v,
        severity=severity_of(node, margin),
        note=note_of(node, margin),
        url=url,
        device=device_words(margin),
        device_kind=device_kind(margin),
    )


def device_kind(margin: CircuitMargin | None) -> str:
    """What the protective device is drawn as."""
    device = margin.circuit.device if margin else None
    if device is None:
        return ""
    return "fuse" if device.form in FUSES else "breaker"


def device_words(margin: CircuitMargin | None) -> str:
    """Kind and rating of the protective device."""
    device = margin.circuit.device if margin else None
    return f"{device_kind(margin)} {plain(device.rating_a, '0-1')} A" if device else ""


def _left_out(
    lost: LeftOut, margin: CircuitMargin | None, codes: Mapping[int, str], url_of: Callable[[int], str]
) -> FeedBranch:
    """A circuit that takes no part stands in the drawing all the same, with what is missing."""
    circuit = margin.circuit if margin else None
    return FeedBranch(
        key=lost.code,
        name=f"{lost.code} {circuit.name}" if circuit else lost.code,
        parent=codes.get(circuit.fed_from_id or 0, "") if circuit else "",
        severity=Severity.UNKNOWN,
        note=lost.reason,
        url=url_of(lost.circuit_id),
        device=device_words(margin),
        device_kind=device_kind(margin),
    )


def wire_words(found: SolvedCircuit) -> str:
    """Size, how many side by side, and length of a conductor."""
    side = f" × {found.parallel}" if found.parallel > 1 else ""
    size = f"{found.size}{side}" if found.size else ""
    return ", ".join(filter(None, (size, f"{plain(found.length_m, '1-2')} m")))


def severity_of(node: Node, margin: CircuitMargin | None) -> str:
    """The verdict of the checks; a device that gets too little in this scenario is at least something to fix."""
    state = margin.state if margin else str(Severity.UNKNOWN)
    short = node.margin_v is not None and node.margin_v < 0
    return str(Severity.FIX) if short and state in (OK, Severity.WATCH, Severity.UNKNOWN) else state


def note_of(node: Node, margin: CircuitMargin | None) -> str:
    """Why the verdict is what it is, in a few words."""
    if node.margin_v is not None and node.margin_v < 0:
        return f"{plain(-node.margin_v)} V below what it needs"
    if margin and margin.state not in (OK, Severity.UNKNOWN) and margin.worst_rule:
        return margin.worst_rule.title
    if node.margin_v is not None:
        return f"{plain(node.margin_v)} V above what it needs"
    if node.dropout:
        return "regulator gets too little"
    if node.drop_v is not None and node.drop_v >= LOSS_WORTH_A_WORD_V:
        return f"loses {plain(node.drop_v)} V here"
    return "held by its current limit" if node.limited else ""


def match_picture(
    build: Build, outcome: Mapping[str, Any], label: str, regulated: Collection[int] = ()
) -> VoltageTrace | None:
    """The board voltage of the worst run with what hangs on it needs; None where no trace was kept.

    What hangs behind a regulator (ids in ``regulated``) needs another voltage than the board's: it has no line.
    """
    trace = outcome.get("trace") or {}
    points = [
        (t, v) for t, v in zip(trace.get("t_s", ()), trace.get("board_v", ()), strict=False) if v is not None
    ]
    if not points:
        return None
    own = [level for level in outcome.get("levels", ()) if level["circuit"] not in regulated]
    levels = [
        VoltLevel(
            value=level["minimum_v"],
            label=f"{level['name']} needs",
            severity=Severity.STOP if place == 0 else Severity.FIX,
            below_s=level.get("seconds_below"),
        )
        for place, level in enumerate(sorted(own, key=lambda found: found["minimum_v"]))
    ]
    return VoltageTrace(
        title=f"Board voltage of {build} over a match, {label}",
        points=points,
        levels=levels,
        band=_band(outcome),
        band_label="9 of 10 runs, lowest in each second",
        chart_id="match-voltage",
    )


def _band(outcome: Mapping[str, Any]) -> list[RunBand]:
    band = outcome.get("band") or {}
    rows = zip(band.get("t_s", ()), band.get("p05_v", ()), band.get("p95_v", ()), strict=False)
    return [RunBand(t, low, high) for t, low, high in rows if low is not None and high is not None]
