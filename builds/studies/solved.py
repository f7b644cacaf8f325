"""A build solved: every voltage, current and margin in the three scenarios with one battery."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace

import numpy as np

from builds.models import CircuitRole
from builds.network import SCENARIO_WORDS, Assembled, Assumption, LeftOut, Scenario
from builds.studies.base import (
    POSTS,
    BatteryCase,
    LevelMargin,
    Levels,
    board_name,
    cannot,
    levels_of,
    number,
    solve_with,
    volts_at,
    with_source,
)
from shared.columns import FloatArray
from shared.electrical.network import Solution, collapse_margin

_CHOICE = "our choice"
#: How exactly the head-room is told: nobody reads more than three figures of it.
_TOLD = 1e-3


@dataclass(frozen=True, slots=True)
class Node:
    """One circuit in one scenario; None where the robot has no solution. ``drop_v`` is lost in this circuit alone."""

    supply_v: float | None
    load_v: float | None
    current_a: float | None
    load_a: float | None
    drop_v: float | None
    path_drop_v: float | None
    margin_v: float | None
    limited: bool
    dropout: bool


@dataclass(frozen=True, slots=True)
class SolvedCircuit:
    """A circuit of the tree, with what it is made of and its node in each scenario."""

    circuit_id: int
    code: str
    name: str
    role: str
    fed_from_id: int | None
    depth: int
    component: str
    mechanism: str
    pushes: bool
    regulates: bool
    wire: str
    size: str
    area_mm2: float
    parallel: int
    length_m: float
    device: str
    supply_mohm: float
    return_mohm: float
    minimum_v: float | None
    nodes: tuple[Node, ...]


@dataclass(frozen=True, slots=True)
class SolvedScenario:
    """The robot as a whole. ``headroom``: how many times the draws could grow before the voltage collapses."""

    scenario: Scenario
    words: str
    solved: bool
    battery_v: float | None
    board_v: float | None
    current_a: float | None
    headroom: float | None
    levels: tuple[LevelMargin, ...]

    @property
    def worst(self) -> LevelMargin | None:
        return self.levels[0] if self.levels else None


@dataclass(frozen=True, slots=True)
class SolvedBuild:
    """The whole answer; with ``cannot`` there is nothing else to show than what is left out."""

    build_id: int
    battery: BatteryCase
    board_id: int | None
    board_code: str
    scenarios: tuple[SolvedScenario, ...]
    circuits: tuple[SolvedCircuit, ...]
    left_out: tuple[LeftOut, ...]
    assumptions: tuple[Assumption, ...]
    cannot: str


def solved_build(build_id: int, net: Assembled, case: BatteryCase, least_board_v: float | None = None
                 ) -> SolvedBuild:  # fmt: skip
    """Solve one build, the only one of ``net``, with this battery."""
    told = SolvedBuild(
        build_id=build_id,
        battery=case,
        board_id=None,
        board_code="",
        scenarios=(),
        circuits=(),
        left_out=tuple(net.left_out()),
        assumptions=tuple(net.assumptions()),
        cannot=cannot(net, case),
    )
    if told.cannot:
        return told
    done = solve_with(net, [case], net.loads)
    room = collapse_margin(net.tree, with_source(net, [case]), net.loads, precision=_TOLD)
    levels = levels_of(net, least_board_v)
    held = _held_up(net, done)
    board_id, board_code, _ = board_name(net)
    return replace(
        told,
        board_id=board_id,
        board_code=board_code,
        assumptions=(*told.assumptions, *_board_place(net), *held),
        scenarios=tuple(_scenario(net, done, levels, room[0], s) for s in Scenario),
        circuits=tuple(_circuit(net, done, place, depth) for place, depth in drawn(net)),
    )


def _scenario(net: Assembled, done: Solution, levels: Levels, room: FloatArray, s: Scenario
              ) -> SolvedScenario:  # fmt: skip
    from_battery = done.current_a[net.parent == POSTS, s].sum()
    return SolvedScenario(
        scenario=s,
        words=SCENARIO_WORDS[s],
        solved=bool(done.solved[0, s]),
        battery_v=number(done.battery_v[0, s]),
        board_v=number(volts_at(done, net.board)[0, s]),
        current_a=number(from_battery),
        headroom=number(room[s]),
        levels=levels.told(done, s),
    )


def _board_place(net: Assembled) -> list[Assumption]:
    """Where the board is taken to be when not exactly one main feed leaves the battery."""
    rows, board = net.rows, int(net.board[0])
    roots = net.circuit[np.flatnonzero(net.parent == POSTS)]
    codes, mains = rows.circuits.texts("code"), roots[rows.role(CircuitRole.MAIN)[roots]].tolist()
    if board == POSTS:
        return [
            Assumption(None, "board", "at the battery's posts, as no main feed is drawn", None, "", _CHOICE)
        ]
    others = ", ".join(codes[i] for i in mains if i != net.circuit[board])
    if not others:
        return []
    code, what = codes[net.circuit[board]], f"the board is at the end of this main feed, not of {others}"
    return [Assumption(int(rows.ids[net.circuit[board]]), code, what, None, "", _CHOICE)]


def _held_up(net: Assembled, done: Solution) -> list[Assumption]:
    """Regulators that are taken to hold their output although too little comes in."""
    codes = net.rows.circuits.texts("code")
    short = (done.load_v < net.currents.holds_from_v[net.circuit][:, None]).any(axis=1)
    rows = net.circuit[np.flatnonzero(short)].tolist()
    output = net.currents.rows.components.floats("output_v")
    return [
        Assumption(
            circuit_id=int(net.rows.ids[i]),
            code=codes[i],
            what="holds its output although too little comes in:",
            value=float(output[i]),
            unit="V",
            source="right only for a converter that holds it with less",
        )
        for i in rows
    ]


def drawn(net: Assembled) -> Iterator[tuple[int, int]]:
    """Branches with their depth as a tree is read: each feed followed by what it feeds, by code."""
    codes = net.rows.circuits.texts("code")
    children: dict[int, list[int]] = {}
    for place in sorted(range(net.branches), key=lambda p: codes[int(net.circuit[p])]):
        children.setdefault(int(net.parent[place]), []).append(place)
    waiting = [(place, 0) for place in reversed(children.get(POSTS, []))]
    while waiting:
        place, depth = waiting.pop()
        yield place, depth
        waiting += [(fed, depth + 1) for fed in reversed(children.get(place, []))]


def _circuit(net: Assembled, done: Solution, place: int, depth: int) -> SolvedCircuit:
    rows, i = net.rows, int(net.circuit[place])
    raw = rows.circuits.raw
    up = int(net.parent[place])
    least = number(net.minimum_v[place])
    return SolvedCircuit(
        circuit_id=int(rows.ids[i]),
        code=raw["code"][i],
        name=raw["name"][i],
        role=raw["role"][i],
        fed_from_id=None if up == POSTS else int(rows.ids[net.circuit[up]]),
        depth=depth,
        component=rows.components.text("name", i),
        mechanism=net.mechanisms.names[net.mechanisms.of_circuit[i]],
        pushes=bool(net.pushes[place]),
        regulates=bool(net.currents.regulates[i]),
        wire=rows.wires.text("code", i),
        size=rows.wires.text("size_typed", i),
        area_mm2=float(rows.wires.floats("area_mm2")[i]),
        parallel=int(raw["parallel"][i]),
        length_m=float(raw["length_m"][i]),
        device=rows.devices.text("code", i),
        supply_mohm=float(net.supply_ohm[place]) * 1e3,
        return_mohm=float(net.return_ohm[place]) * 1e3,
        minimum_v=least,
        nodes=tuple(_node(net, done, place, s, least) for s in Scenario),
    )


def _node(net: Assembled, done: Solution, place: int, s: Scenario, least: float | None) -> Node:
    load_v, amps = done.load_v[place, s], done.current_a[place, s]
    drop = amps * (net.supply_ohm[place] + net.return_ohm[place])
    return Node(
        supply_v=number(load_v + drop),
        load_v=number(load_v),
        current_a=number(amps),
        load_a=number(done.load_a[place, s]),
        drop_v=number(drop),
        path_drop_v=number(_path_drop(net, done, place, s)),
        margin_v=None if least is None else number(load_v - least),
        limited=bool(done.limited[place, s]),
        dropout=bool(load_v < net.currents.holds_from_v[net.circuit[place]]),
    )


def _path_drop(net: Assembled, done: Solution, place: int, s: Scenario) -> float:
    """Lost on the way from the battery's posts, or from the regulator that makes this circuit's voltage."""
    lost, at = 0.0, place
    while at != POSTS:
        lost += float(done.current_a[at, s] * (net.supply_ohm[at] + net.return_ohm[at]))
        at = int(net.parent[at])
        if at != POSTS and net.currents.regulates[net.circuit[at]]:
            break
    return lost
