"""Kirchhoff's laws and the laws of the loads, branch by branch, as the judge of a solution."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from shared.electrical.network import LoadKind, Solution
from tests.spice import Problem


@dataclass(frozen=True)
class Residuals:
    """The greatest relative error of the node currents, of the loop voltages, and of the energy balance."""

    current: float
    voltage: float
    energy: float

    def worst(self) -> float:
        return max(self.current, self.voltage, self.energy)


def residuals(problem: Problem, found: Solution, column: int = 0) -> Residuals:
    """How well one robot's solution obeys the laws; NaN figures give NaN."""
    tree, f = problem.tree, problem.figures()
    open_v, internal_ohm = (figure[0, 0].item() for figure in problem.sources.columns())
    names = ("current_a", "plus_v", "minus_v", "load_v", "load_a")
    amps, plus, minus, across, own = (getattr(found, name)[:, column] for name in names)
    battery_v = found.battery_v[0, column].item()
    regulator = f["kind"] == LoadKind.REGULATOR
    off = regulator & found.limited[:, column]
    behind = np.bincount(tree.parent + 1, weights=amps, minlength=len(amps) + 1)
    current = [_error(open_v - battery_v, internal_ohm * behind[0], open_v)]
    voltage, lost_w = [], internal_ohm * behind[0] ** 2
    for row, parent in enumerate(tree.parent.tolist()):
        if parent >= 0 and _dead(parent, tree.parent, off):
            assert (amps[row], across[row], own[row]) == (0.0, 0.0, 0.0)
            continue
        high, low = (battery_v, 0.0) if parent < 0 else (plus[parent], minus[parent])
        if parent >= 0 and regulator[parent]:
            high = low + f["output_v"][parent]
        supply, back = tree.supply_ohm[row, 0], tree.return_ohm[row, 0]
        voltage += [_error(high - plus[row], supply * amps[row], open_v)]
        voltage += [_error(minus[row] - low, back * amps[row], open_v)]
        voltage += [_error(plus[row] - minus[row], across[row], open_v)]
        # A regulator that gives up has nothing behind it and draws what its limit allows.
        given = f["output_limit_a"][row] if off[row] else behind[row + 1]
        drawn = draw({name: value[row].item() for name, value in f.items()}, across[row].item(), given)
        leaving = 0.0 if regulator[row] else behind[row + 1]
        current += [
            _error(amps[row], drawn + leaving, abs(drawn) + leaving),
            _error(own[row], drawn, abs(drawn)),
        ]
        lost_w += (supply + back) * amps[row] ** 2 + across[row] * own[row]
        if regulator[row] and not off[row]:
            lost_w -= f["output_v"][row] * behind[row + 1]
    energy = _error(open_v * behind[0], lost_w, open_v * behind[0])
    return Residuals(max(current), max(voltage, default=0.0), energy)


def draw(f: dict[str, float], volts: float, given_a: float) -> float:
    """What a load draws at this voltage, by its definition; a regulator for the current it gives."""
    match LoadKind(int(f["kind"])):
        case LoadKind.CURRENT:
            return f["current_a"]
        case LoadKind.POWER:
            return f["power_w"] / volts
        case LoadKind.RESISTANCE:
            return volts / f["load_ohm"]
        case LoadKind.MOTOR:
            free = f["command_frac"] * (f["command_frac"] * volts - f["back_emf_v"]) / f["motor_ohm"]
            return min(max(free, 0.0), f["limit_a"])
        case LoadKind.REGULATOR:
            return f["output_v"] * given_a / f["efficiency_frac"] / volts
        case _:
            return 0.0


def _dead(row: int, parent: np.ndarray, off: np.ndarray) -> bool:
    while row >= 0:
        if off[row]:
            return True
        row = parent[row]
    return False


def _error(left: float, right: float, scale: float) -> float:
    return abs(left - right) / max(abs(scale), 1e-9)
