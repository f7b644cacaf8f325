"""The cheapest fix: which conductor, one size up, gains most where it is needed, per gram of copper and per money."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from decimal import Decimal

import numpy as np

from builds.network import Assembled, Currents, Scenario
from builds.selectors.bill import conductor_length_m
from builds.studies.base import (
    BatteryCase,
    LevelMargin,
    Levels,
    board_name,
    cannot,
    levels_of,
    number,
    only,
    place_words,
    solve_with,
    volts_at,
)
from builds.studies.wiring import NextWire, next_wire, rewired
from inventory.selectors.wires import WireChoice
from shared.columns import FloatArray, IdArray
from shared.electrical.conductors import copper_mass_g
from shared.electrical.network import Solution

NO_OFFER = "no offer for this wire"
NOT_KEPT = "not in the catalogue"
#: Less than this is no gain: what a regulator holds does not move at all.
_FELT_V = 1e-6
ENDS = "the terminals do not take this size"


@dataclass(frozen=True, slots=True)
class Fix:
    """One circuit rewired one size up. ``clears``: everything then has the voltage it needs."""

    circuit_id: int
    code: str
    name: str
    old_size: str
    new_size: str
    new_wire_id: int | None
    new_wire: str
    parallel: int
    wire_m: float
    target_v: float | None
    gain_v: float | None
    board_gain_v: float | None
    margin_v: float | None
    clears: bool
    added_g: float
    cost: Decimal | None
    v_per_100g: float | None
    v_per_money: float | None
    offer: str
    note: str


@dataclass(frozen=True, slots=True)
class FixStudy:
    """Every fix, the best first. ``target``: where the volts are counted; None: the board, for nothing says a need."""

    build_id: int
    battery: BatteryCase
    target: LevelMargin | None
    target_words: str
    limit_v: float | None
    before_v: float | None
    fails: bool
    fixes: tuple[Fix, ...]
    cheapest: Fix | None
    cannot: str


def cheapest_fix(
    build_id: int,
    net: Assembled,
    case: BatteryCase,
    choices: Sequence[WireChoice],
    least_board_v: float | None = None,
) -> FixStudy:
    """Try every conductor one size up, all in one solution, while the heaviest mechanisms push."""
    told = FixStudy(
        build_id=build_id,
        battery=case,
        target=None,
        target_words="",
        limit_v=None,
        before_v=None,
        fails=False,
        fixes=(),
        cheapest=None,
        cannot=cannot(net, case),
    )
    if told.cannot:
        return told
    levels = levels_of(net, least_board_v)
    trial = _try_all(net, case, choices)
    target = _target(net, levels, trial.done)
    fixes = _ranked([_fix(net, trial, levels, target.place, k) for k in range(trial.branch.size)])
    fails = target.level is not None and (target.level.margin_v is None or target.level.margin_v < 0.0)
    clearing = [fix for fix in fixes if fix.clears] if fails else []
    return replace(
        told,
        target=target.level,
        target_words=target.words,
        limit_v=target.level.minimum_v if target.level else None,
        before_v=number(volts_at(trial.done, target.place)[0]),
        fails=fails,
        fixes=tuple(fixes),
        cheapest=min(clearing, key=_price, default=None),
    )


@dataclass(frozen=True)
class _Trial:
    """Column 0 of the solution is the build as it is, column k + 1 the one with branch ``branch[k]`` rewired."""

    branch: IdArray
    new: tuple[NextWire, ...]
    done: Solution


@dataclass(frozen=True)
class _Target:
    place: int
    level: LevelMargin | None
    words: str


def _try_all(net: Assembled, case: BatteryCase, choices: Sequence[WireChoice]) -> _Trial:
    area, class_c = (net.rows.wires.floats(n) for n in ("area_mm2", "insulation_class_c"))
    wires: list[NextWire | None] = [None] * net.rows.size
    for i in net.circuit.tolist():
        wires[i] = next_wire(choices, float(area[i]), float(class_c[i]))
    branch = np.array([p for p, i in enumerate(net.circuit.tolist()) if wires[i] is not None], dtype=np.int64)
    thinner = net.currents.pole_ohm - Currents(rewired(net.rows, wires)).pole_ohm
    less = np.zeros((net.branches, branch.size + 1))
    less[branch, np.arange(1, branch.size + 1)] = thinner[net.circuit[branch]]
    tree = net.tree.with_ohm(net.supply_ohm[:, None] - less, net.return_ohm[:, None] - less)
    done = solve_with(net, [case], only(net.loads, Scenario.PUSH), tree)
    new = tuple(wire for p in branch.tolist() if (wire := wires[int(net.circuit[p])]) is not None)
    return _Trial(branch, new, done)


def _target(net: Assembled, levels: Levels, done: Solution) -> _Target:
    """What is nearest to failing, or already does; the board where that cannot be told, or nothing could lift it."""
    told = levels.told(done, 0)
    place = int(levels.branch[levels.order(done, 0)[0]]) if told else int(net.board[0])
    level = told[0] if told else None
    lifted = np.abs(volts_at(done, place)[1:] - volts_at(done, place)[0])
    if level is not None and level.load_v is not None and (lifted > _FELT_V).any():
        return _Target(place, level, level.place)
    _, code, name = board_name(net)
    return _Target(int(net.board[0]), level, place_words(code, name))


def _fix(net: Assembled, trial: _Trial, levels: Levels, target: int, k: int) -> Fix:
    place, new = int(trial.branch[k]), trial.new[k]
    i, raw = int(net.circuit[place]), net.rows.circuits.raw
    target_v, board_v = (volts_at(trial.done, at)[[0, k + 1]] for at in (target, int(net.board[0])))
    parallel, length = int(raw["parallel"][i]), conductor_length_m(raw["length_m"][i], raw["parallel"][i])
    added = float(copper_mass_g(new.area_mm2 - net.rows.wires.floats("area_mm2")[i], float(length)))
    cost = None if new.price_per_m is None else (new.price_per_m * length).quantize(Decimal("0.01"))
    gain = number(_gain(target_v))
    spare = float(levels.worst(trial.done)[k + 1])
    return Fix(
        circuit_id=int(net.rows.ids[i]),
        code=raw["code"][i],
        name=raw["name"][i],
        old_size=net.rows.wires.text("size_typed", i),
        new_size=new.size,
        new_wire_id=new.wire_id,
        new_wire=new.code,
        parallel=parallel,
        wire_m=float(length),
        target_v=number(target_v[1]),
        gain_v=gain,
        board_gain_v=number(_gain(board_v)),
        margin_v=number(spare),
        clears=spare >= 0.0,
        added_g=added,
        cost=cost,
        v_per_100g=None if gain is None else gain / added * 100.0,
        v_per_money=None if gain is None or not cost else gain / float(cost),
        offer=new.supplier,
        note=_note(net, i, new),
    )


def _gain(volts: FloatArray) -> float:
    return float(volts[1] - volts[0])


def _note(net: Assembled, i: int, new: NextWire) -> str:
    said = [NOT_KEPT] if new.wire_id is None else [] if new.price_per_m is not None else [NO_OFFER]
    for end in (net.rows.source_ends, net.rows.load_ends):
        if new.area_mm2 > end.floats("area_max_mm2")[i]:
            said.append(ENDS)
            break
    return "; ".join(said)


def _ranked(fixes: list[Fix]) -> list[Fix]:
    """Those that clear the fault first, then by volts gained per gram, then per money."""

    def worth(value: float | None) -> float:
        return -math.inf if value is None else value

    return sorted(fixes, key=lambda f: (not f.clears, -worth(f.v_per_100g), -worth(f.v_per_money), f.code))


def _price(fix: Fix) -> tuple[float, float, str]:
    """By money where an offer tells it, then by copper."""
    return (math.inf if fix.cost is None else float(fix.cost), fix.added_g, fix.code)
