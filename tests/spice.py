"""Feed trees as netlists for ngspice, and its answers: an independent solver of the same circuits.

One process solves any number of netlists. Positive and return conductors are separate resistors, so that nothing
of our own reduction is in the netlist. Node names: `p<branch>` and `n<branch>` at a far end, `o<branch>` behind a
regulator, `b<robot>` a battery's positive post; its negative post is ground.
"""

from __future__ import annotations

import os
import shutil
import subprocess
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from shared.electrical.network import FeedTree, LoadKind, Loads, Sources

NGSPICE = shutil.which("ngspice")
MISSING = "needs ngspice: install the package ngspice"
# As tight as double numbers allow: ngspice is to be the more exact of the two.
OPTIONS = ".options reltol=1e-9 abstol=1e-9 vntol=1e-10 itl1=500 gmin=1e-15"


@dataclass(frozen=True)
class Problem:
    """What `solve` takes, one scenario."""

    tree: FeedTree
    sources: Sources
    loads: Loads

    def figures(self) -> dict[str, np.ndarray]:
        """Every figure of the loads, one per branch."""
        return {
            name: np.broadcast_to(value, self.tree.parent.shape) for name, value in vars(self.loads).items()
        }


def netlist(problem: Problem, title: str = "feed trees") -> str:
    """The circuits of all robots of a problem as one netlist, without an analysis."""
    tree, figures = problem.tree, problem.figures()
    open_v, internal_ohm = (column[:, 0].tolist() for column in problem.sources.columns())
    lines = [f"* {title}", OPTIONS]
    # From 0 V ngspice may settle on the lower of two solutions: it starts from the no-load voltages where two may be.
    two = bool(np.isin(figures["kind"], (LoadKind.POWER, LoadKind.REGULATOR)).any())
    starts: list[float] = []  # of the branches, which must be numbered from the battery outwards
    for robot, (volts, ohms) in enumerate(zip(open_v, internal_ohm, strict=True)):
        lines += [f"Ve{robot} e{robot} 0 DC {volts!r}", f"Ri{robot} e{robot} b{robot} {ohms!r}"]
    for row, parent in enumerate(tree.parent.tolist()):
        plus, minus, start = f"b{tree.robot[row]}", "0", open_v[tree.robot[row]]
        if parent >= 0:
            behind = figures["kind"][parent] == LoadKind.REGULATOR
            plus, minus = f"{'o' if behind else 'p'}{parent}", f"n{parent}"
            start = figures["output_v"][parent].item() if behind else starts[parent]
        starts.append(start)
        _resistors(tree, row, plus, minus, lines)
        lines += [f".nodeset v(p{row})={start!r}"] if two else []
        lines += _load(row, {name: value[row].item() for name, value in figures.items()})
    return "\n".join(lines) + "\n"


def _resistors(tree: FeedTree, row: int, plus: str, minus: str, lines: list[str]) -> None:
    for name, near, ohms in (("p", plus, tree.supply_ohm), ("n", minus, tree.return_ohm)):
        ohms = ohms[row, 0].item()
        # ngspice takes a resistor of 0 ohm for 1 mohm; a source of 0 V is the plain connection.
        lines.append(
            f"R{name}{row} {near} {name}{row} {ohms!r}" if ohms else f"V{name}{row} {near} {name}{row} 0"
        )


def _load(row: int, f: dict[str, float]) -> list[str]:
    at, across = f"p{row} n{row}", f"V(p{row},n{row})"
    match LoadKind(int(f["kind"])):
        case LoadKind.CURRENT:
            return [f"I{row} {at} DC {f['current_a']!r}"]
        case LoadKind.RESISTANCE:
            return [f"Rl{row} {at} {f['load_ohm']!r}"]
        case LoadKind.POWER:
            return [f"B{row} {at} I={f['power_w']!r}/{across}"]
        case LoadKind.MOTOR:
            return _motor(row, at, across, f)
        case LoadKind.REGULATOR:
            output = f"Vo{row} o{row} n{row} DC {f['output_v']!r}"
            share = f["output_v"] / f["efficiency_frac"]
            # A source delivers what ngspice counts as a negative current through it.
            return [output, f"B{row} {at} I=-{share!r}*i(Vo{row})/{across}"]
        case _:
            return []


def _motor(row: int, at: str, across: str, f: dict[str, float]) -> list[str]:
    command, ohms = f["command_frac"], f["motor_ohm"]
    if command == 0.0:
        return []
    if f["back_emf_v"] == 0.0 and np.isinf(f["limit_a"]):
        return [f"Rm{row} {at} {ohms / command**2!r}"]
    drawn = f"max({command!r}*({command!r}*{across}-{f['back_emf_v']!r})/{ohms!r},0)"
    return [
        f"B{row} {at} I={drawn}" if np.isinf(f["limit_a"]) else f"B{row} {at} I=min({drawn},{f['limit_a']!r})"
    ]


def operating_points(netlists: list[str], folder: Path) -> list[dict[str, float] | None]:
    """Solve netlists in one ngspice process: the voltage of every node of each, None where it finds no solution."""
    assert NGSPICE, MISSING
    commands = ["* all operating points", ".control", "set filetype=binary"]
    for number, text in enumerate(netlists):
        (folder / f"{number}.cir").write_text(text + ".op\n.end\n")
        commands += [
            f"source {folder}/{number}.cir",
            "op",
            f"write {folder}/{number}.raw",
            "destroy all",
            "remcirc",
        ]
    (folder / "all.cir").write_text("\n".join([*commands, "quit", ".endc", ".end", ""]))
    done = subprocess.run(
        [NGSPICE, "-b", str(folder / "all.cir")],
        capture_output=True,
        text=True,
        timeout=300,
        check=False,
        env={"PATH": os.environ["PATH"], "HOME": str(folder)},
    )
    assert done.returncode == 0, done.stderr[-2000:]
    answers = [folder / f"{number}.raw" for number in range(len(netlists))]
    return [raw_voltages(path.read_bytes()) if path.exists() else None for path in answers]


def raw_voltages(raw: bytes) -> dict[str, float]:
    """The last point of a binary raw file, node voltages by name."""
    head, body = raw.split(b"Binary:\n", 1)
    lines = head.decode().splitlines()
    count = int(next(line.split(":")[1] for line in lines if line.startswith("No. Variables")))
    start = next(number for number, line in enumerate(lines) if line.startswith("Variables:"))
    variables = [line.split() for line in lines[start + 1 :] if line.strip()]
    values = np.frombuffer(body, dtype="<f8").reshape(-1, count)[-1]
    return {name[2:-1]: float(values[int(n)]) for n, name, *_ in variables if name.startswith("v(")}
