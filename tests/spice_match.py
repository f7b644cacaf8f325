"""A match as a netlist for ngspice's transient analysis: the same robot, none of our own reduction.

Motors are current sources with their back-EMF on a capacitor of 1 F, the state of charge and the temperatures of
the wires likewise; profiles are piecewise linear sources with edges of a microsecond.
"""

from __future__ import annotations

import os
import subprocess
import time
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from shared.electrical.battery import rest_voltage_v
from shared.electrical.match import Duty, MatchBattery, MatchRobot
from shared.electrical.network import LoadKind
from tests.spice import MISSING, NGSPICE

EDGE_S = 1e-6
STEADY = Duty.of((1.0, 1.0, 0.0))


@dataclass(frozen=True)
class SpiceMatch:
    """What ngspice found: times [s], board and battery [V], battery current [A]; seconds it took."""

    time_s: np.ndarray
    board_v: np.ndarray
    battery_v: np.ndarray
    current_a: np.ndarray
    took_s: float


def match_netlist(
    robot: MatchRobot, battery: MatchBattery, shift_s: np.ndarray, duration_s: float, *, warm: bool
) -> str:
    """One run; with `warm` the resistance of the wires follows their temperature."""
    tree = robot.tree
    figures = {
        name: np.broadcast_to(np.asarray(value, dtype=float).reshape(-1), tree.parent.shape)
        for name, value in vars(robot.loads).items()
    }
    lines = ["* a match", *_battery(battery)]
    for row, parent in enumerate(tree.parent.tolist()):
        behind = parent >= 0 and figures["kind"][parent] == LoadKind.REGULATOR
        plus = "bat" if parent < 0 else f"{'o' if behind else 'p'}{parent}"
        minus = "0" if parent < 0 else f"n{parent}"
        supply, back = tree.supply_ohm[row, 0].item(), tree.return_ohm[row, 0].item()
        lines.append(f"Vs{row} {plus} s{row} 0")
        if warm and robot.wire_ohm[row] > 0.0:
            warming = f"{robot.wire_ohm[row].item()!r}*(V(t{row})-20)/254.5"
            lines += [f"Rp{row} s{row} p{row} R={{{supply!r}+{warming}}}", *_wire(robot, row)]
        else:
            lines.append(f"Rp{row} s{row} p{row} {supply!r}")
        lines.append(f"Rn{row} {minus} n{row} {back!r}")
        shift = float(shift_s[robot.group[row]])
        duty = robot.duties[row] or STEADY
        lines += _load(robot, row, {k: v[row].item() for k, v in figures.items()}, duty, shift, duration_s)
    return "\n".join(lines) + "\n"


def _battery(battery: MatchBattery) -> list[str]:
    charge = np.array([0.0, 0.25, 0.5, 0.75, 1.0])
    table = ",".join(
        f"{c!r},{v!r}" for c, v in zip(charge.tolist(), rest_voltage_v(charge).tolist(), strict=True)
    )
    capacitance = battery.polarisation_s / battery.polarisation_ohm
    return [
        f"Csoc soc 0 {battery.capacity_ah * 3600.0!r} IC={battery.charge_frac!r}",
        "Fsoc soc 0 Vbat 1",
        f"Bopen open 0 V=pwl(V(soc),{table})",
        "Vbat open x 0",
        f"R0 x y {battery.internal_ohm!r}",
        f"R1 y bat {battery.polarisation_ohm!r}",
        f"C1 y bat {capacitance!r} IC=0",
    ]


def _wire(robot: MatchRobot, row: int) -> list[str]:
    ambient, limit = robot.ambient_c[row].item(), robot.wire_limit_c[row].item()
    gain = (limit - ambient) / robot.wire_rated_a[row].item() ** 2 / (234.5 + limit)
    warming = f"{gain!r}*I(Vs{row})*I(Vs{row})*(234.5+V(t{row}))"
    return [
        f"Bt{row} 0 t{row} I=({warming}-(V(t{row})-{ambient!r}))/{robot.wire_tau_s[row].item()!r}",
        f"Ct{row} t{row} 0 1 IC={ambient!r}",
    ]


def _profile(name: str, duty: Duty, values: np.ndarray, shift_s: float, duration_s: float) -> str:
    """A source that follows one column of a duty."""
    ends = np.cumsum(duty.seconds)
    cycle = ends[-1]
    at = shift_s % cycle
    phase = int(np.searchsorted(ends - 1e-9, at, side="right"))
    points = [(0.0, values[phase])]
    now = ends[phase] - at
    while now < duration_s:
        before, phase = values[phase], (phase + 1) % len(values)
        if values[phase] != before:
            points += [(now, before), (now + EDGE_S, values[phase])]
        now += duty.seconds[phase]
    if len(points) == 1:
        return f"V{name} {name} 0 {points[0][1].item()!r}"
    text = "\n+ ".join(f"{t:.9g} {v:.9g}" for t, v in points)
    return f"V{name} {name} 0 PWL(\n+ {text})"


def _load(
    robot: MatchRobot, row: int, f: dict[str, float], duty: Duty, shift_s: float, duration_s: float
) -> list[str]:
    at, across = f"p{row} n{row}", f"V(p{row},n{row})"
    draw = _profile(f"d{row}", duty, duty.draw_frac, shift_s, duration_s)
    share = f"V(d{row})"
    # Below 1 V every electronic load is a resistance, as in the simulation.
    volts = f"({across}/max({across},1)^2)"
    match LoadKind(int(f["kind"])):
        case LoadKind.CURRENT:
            return [draw, f"B{row} {at} I={f['current_a']!r}*{share}*min({across},1)"]
        case LoadKind.RESISTANCE:
            return [draw, f"B{row} {at} I={share}*{across}/{f['load_ohm']!r}"]
        case LoadKind.POWER:
            return [draw, f"B{row} {at} I={f['power_w']!r}*{share}*{volts}"]
        case LoadKind.REGULATOR:
            power = f"{f['output_v'] / f['efficiency_frac']!r}*(-I(Vo{row}))"
            return [f"Vo{row} o{row} n{row} {f['output_v']!r}", f"B{row} {at} I={power}*{volts}"]
        case LoadKind.MOTOR:
            ohm, limit = f["motor_ohm"], f["limit_a"]
            load_a = robot.free_a[row] + (robot.stall_a[row] - robot.free_a[row]) * duty.torque_frac
            amps = f"max(({share}*{across}-V(e{row}))/{ohm!r},0)"
            amps = f"min({amps},{limit!r}/({share}+1e-9))" if np.isfinite(limit) else amps
            speed_up = f"{ohm / robot.spin_up_s[row].item()!r}*(V(i{row})-V(q{row}))"
            return [
                draw,
                _profile(f"q{row}", duty, load_a, shift_s, duration_s),
                f"Bi{row} i{row} 0 V={amps}",
                f"B{row} {at} I={share}*V(i{row})",
                f"Be{row} 0 e{row} I={speed_up}+1e5*max(-V(e{row}),0)",
                f"Ce{row} e{row} 0 1 IC=0",
            ]
        case _:
            return []


def play(
    robot: MatchRobot,
    battery: MatchBattery,
    shift_s: np.ndarray,
    duration_s: float,
    folder: Path,
    *,
    warm: bool = True,
    step_s: float = 0.02,
    most_s: float | None = None,
    reltol: float = 1e-3,
) -> SpiceMatch:
    """Run the transient analysis; `most_s` is the longest step ngspice may take."""
    assert NGSPICE, MISSING
    tran = f".tran {step_s!r} {duration_s!r} 0 {(most_s or step_s)!r} uic"
    board = f"v(p{robot.board})"
    text = match_netlist(robot, battery, shift_s, duration_s, warm=warm) + "\n".join(
        [
            f".options reltol={reltol!r} method=trap",
            f".save {board} v(n{robot.board}) v(bat) i(Vbat)",
            tran,
            ".end",
            "",
        ]
    )
    (folder / "match.cir").write_text(text)
    start = time.perf_counter()
    done = subprocess.run(
        [NGSPICE, "-b", "-r", str(folder / "match.raw"), str(folder / "match.cir")],
        capture_output=True,
        text=True,
        timeout=600,
        check=False,
        env={"PATH": os.environ["PATH"], "HOME": str(folder)},
    )
    took = time.perf_counter() - start
    assert (folder / "match.raw").exists(), (done.stdout + done.stderr)[-2000:]
    names, table = _points((folder / "match.raw").read_bytes())
    column = {name: table[:, place] for place, name in enumerate(names)}
    board_v = column[board] - column[f"v(n{robot.board})"]
    return SpiceMatch(column["time"], board_v, column["v(bat)"], column["i(vbat)"], took)


def _points(raw: bytes) -> tuple[list[str], np.ndarray]:
    head, body = raw.split(b"Binary:\n", 1)
    lines = head.decode().splitlines()
    start = next(number for number, line in enumerate(lines) if line.startswith("Variables:"))
    names = [line.split()[1].lower() for line in lines[start + 1 :] if line.strip()]
    return names, np.frombuffer(body, dtype="<f8").reshape(-1, len(names))
