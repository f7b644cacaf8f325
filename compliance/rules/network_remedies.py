"""What would put a sagging robot right: the branch that loses most, and the size that is enough, solved again."""

from __future__ import annotations

from itertools import takewhile

import numpy as np

from builds.network import Scenario
from compliance.rules.load_remedies import wire_for
from compliance.rules.load_steps import fig
from compliance.rules.network_facts import NetworkFacts
from compliance.rules.network_steps import lost_v, path_to
from shared.electrical.gauges import awg_area_mm2, format_size
from shared.electrical.network import Sources, solve

_SIZES = tuple(
    awg_area_mm2(label) for label in ("22", "20", "18", "16", "14", "12", "10", "8", "6", "4", "2", "1/0")
)


def weakest_on_path(f: NetworkFacts, i: int) -> int:
    """The circuit between source and load that loses most of the voltage in a push."""
    return max(path_to(f, i), key=lambda k: lost_v(f, k, Scenario.PUSH))


def arriving_v(f: NetworkFacts, i: int, thicker: int, area_mm2: float) -> float:
    """What arrives at a circuit's load in a push with another wire in one branch; NaN where nothing does."""
    a = f.assembled
    robot = int(a.robot[a.branch[i]])
    chosen = np.arange(a.robots) == robot
    tree, branches = a.tree.only(chosen)
    supply, back = a.supply_ohm[branches].copy(), a.return_ohm[branches].copy()
    at = int(np.flatnonzero(branches == a.branch[thicker])[0])
    pole = float(back[at] - a.currents.joints_ohm[thicker] / 2.0)
    saved = pole * (1.0 - float(f.area_mm2[thicker]) / area_mm2)
    supply[at] -= saved
    back[at] -= saved
    sources = Sources(np.asarray(f.sources.open_v)[chosen], np.asarray(f.sources.internal_ohm)[chosen])
    solution = solve(tree.with_ohm(supply, back), sources, a.loads.only(branches))
    return float(solution.load_v[np.flatnonzero(branches == a.branch[i])[0], Scenario.PUSH])


def for_low_voltage(f: NetworkFacts, i: int, limit_v: float) -> str:
    """Names the branch that loses most, and the thinnest wire there that is enough."""
    k = weakest_on_path(f, i)
    code, wire = f.rows.circuits.texts("code")[k], f.rows.wires.text("size_typed", k)
    lost = f"{code} ({wire}, {fig(f.length_m[k])} m) loses {fig(lost_v(f, k, Scenario.PUSH))} V of it"
    thicker = [area for area in _SIZES if area > 1.01 * float(f.area_mm2[k])]
    tried = [(area, arriving_v(f, i, k, area)) for area in thicker[:4]]
    short = list(takewhile(lambda pair: not pair[1] >= limit_v, tried))
    if len(short) < len(tried):
        area, volts = tried[len(short)]
        return f"{lost}: with {format_size(area)} there {fig(volts)} V arrive."
    return f"{lost}, but no thicker wire there is enough."


def for_hot_wire(f: NetworkFacts, i: int) -> str:
    """The wire that carries the RMS of the solved current."""
    wire = wire_for(f, i, float(f.solved_rms_a[i]))
    return f"{wire[0].upper()}{wire[1:]}."
