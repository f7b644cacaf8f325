"""What the change between two builds did: circuit by circuit, and to the robot as a whole."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from decimal import Decimal
from enum import StrEnum
from typing import Any

import numpy as np

from builds.network import SCENARIO_WORDS, Assembled, Scenario
from builds.selectors.bill import conductor_length_m
from builds.studies.base import POSTS, BatteryCase, cannot, levels_of, number, only, solve_with, volts_at
from shared.columns import FloatArray
from shared.electrical.conductors import copper_mass_g
from shared.electrical.network import LoadKind, Loads

#: Columns of a circuit that say how it is built, with what people call them.
_FIELDS: dict[str, str] = {
    "name": "name",
    "role": "role",
    "fed_from": "fed from",
    "wire": "wire",
    "parallel": "conductors per pole",
    "length_m": "length [m]",
    "device": "protective device",
    "component": "component",
    "continuous_a": "running current [A]",
    "peak_a": "peak current [A]",
    "duty_frac": "share of the cycle at the peak",
    "cycle_s": "cycle [s]",
    "mechanism": "mechanism",
    "limit_a": "current limit [A]",
    "joints_mohm": "joints [mΩ]",
    "bundle_count": "conductors in the bundle",
    "ambient_c": "ambient [C]",
    "critical": "critical",
}
_BUILD_FIELDS: dict[str, str] = {
    "battery_model__code": "battery model",
    "ambient_c": "ambient [C]",
    "source_mohm": "resistance up to the board [mΩ]",
}


#: Of a build that no other came before.
FIRST = "This is the robot's first build: there is nothing to compare it with."


class Kind(StrEnum):
    ADDED = "added"
    REMOVED = "removed"
    CHANGED = "changed"


@dataclass(frozen=True, slots=True)
class FieldChange:
    field: str
    label: str
    old: str
    new: str


@dataclass(frozen=True, slots=True)
class Change:
    """One circuit. ``board_v_effect``: what this change alone does to the board while the heaviest mechanisms push.

    None where it cannot be told alone (the circuit moved to another feed, takes no part, or became a regulator with
    something behind it).
    """

    kind: Kind
    circuit_id: int
    code: str
    name: str
    fields: tuple[FieldChange, ...]
    board_v_effect: float | None
    copper_g: float | None
    cost: Decimal | None


@dataclass(frozen=True, slots=True)
class Effect:
    """One figure of the whole robot before and after; None where it cannot be told."""

    key: str
    label: str
    unit: str
    before: float | None
    after: float | None

    @property
    def change(self) -> float | None:
        return None if self.before is None or self.after is None else self.after - self.before


@dataclass(frozen=True, slots=True)
class ChangeStudy:
    """``cannot``: why the effects on voltages are missing; what changed is listed all the same."""

    before_id: int | None
    after_id: int
    changes: tuple[Change, ...]
    build_fields: tuple[FieldChange, ...]
    effects: tuple[Effect, ...]
    cannot: str


@dataclass(frozen=True)
class Side:
    """One of the two builds: its network, the battery it is solved with, and the price of a metre of each wire."""

    build_id: int
    net: Assembled
    case: BatteryCase
    prices: Mapping[int, Decimal | None]

    @property
    def solvable(self) -> bool:
        return not cannot(self.net, self.case)

    def words(self, i: int) -> dict[str, str]:
        """A circuit's figures as people read them."""
        rows = self.net.rows
        raw = rows.circuits.raw
        found = {name: _text(raw[name][i]) for name in _FIELDS if name in raw}
        up = int(rows.parent[i])
        found |= {
            "fed_from": raw["code"][up] if up >= 0 else "battery",
            "wire": f"{rows.wires.text('code', i)} {rows.wires.text('size_typed', i)}".strip(),
            "device": rows.devices.text("code", i),
            "component": rows.components.text("code", i),
        }
        return found

    def copper(self, i: int) -> tuple[float | None, Decimal | None]:
        """Mass and cost of a circuit's conductors; nothing where they are not known."""
        rows = self.net.rows
        length, parallel = rows.circuits.raw["length_m"][i], rows.circuits.raw["parallel"][i]
        wire = int(rows.wires.row[i])
        if length is None or wire < 0:
            return None, None
        metres = conductor_length_m(length, parallel)
        mass = float(copper_mass_g(rows.wires.floats("area_mm2")[i], float(metres)))
        price = self.prices.get(rows.wires.table.raw["id"][wire])
        return mass, None if price is None else price * metres


def build_changes(before: Side, after: Side, build_words: tuple[Mapping[str, Any], Mapping[str, Any]],
                  least_board_v: float | None = None) -> ChangeStudy:  # fmt: skip
    """Compare two builds, circuit by circuit by code."""
    old, new = (
        {code: i for i, code in enumerate(s.net.rows.circuits.texts("code"))} for s in (before, after)
    )
    both = [(i, new[code]) for code, i in old.items() if code in new]
    changes = [
        *_in_one_only(before, [i for code, i in old.items() if code not in new], Kind.REMOVED),
        *_in_one_only(after, [i for code, i in new.items() if code not in old], Kind.ADDED),
        *_in_both(before, after, both),
    ]
    reason = next((r for s in (before, after) if (r := cannot(s.net, s.case))), "")
    return ChangeStudy(
        before_id=before.build_id,
        after_id=after.build_id,
        changes=tuple(sorted(changes, key=lambda c: (-abs(c.board_v_effect or 0.0), c.code))),
        build_fields=tuple(
            _field_changes(_BUILD_FIELDS, *({k: _text(v) for k, v in w.items()} for w in build_words))
        ),
        effects=tuple(_effects(before, after, least_board_v)),
        cannot=reason,
    )


def _text(value: object) -> str:
    if value is None:
        return ""
    if isinstance(value, bool):
        return "yes" if value else "no"
    return f"{value:g}" if isinstance(value, float) else str(value)


def _field_changes(
    labels: Mapping[str, str], old: Mapping[str, str], new: Mapping[str, str]
) -> list[FieldChange]:
    return [FieldChange(f, label, old[f], new[f]) for f, label in labels.items() if old[f] != new[f]]


# --- one change alone ------------------------------------------------------------------------------------
class _Trials:
    """One build with one circuit different in each column, while it pushes; all are solved at once."""

    def __init__(self, side: Side) -> None:
        self.side = side
        self.branches: dict[int, int] = {}
        self.puts: list[tuple[int, dict[str, Any], tuple[float, float] | None]] = []
        self.figures = vars(only(side.net.loads, Scenario.PUSH))

    def put(self, i: int, figures: dict[str, Any], ohms: tuple[float, float] | None = None) -> None:
        """Try circuit ``i`` with these figures of its load, and with these resistances of its two poles."""
        self.branches[i] = len(self.puts) + 1
        self.puts.append((int(self.side.net.branch[i]), figures, ohms))

    def effects(self) -> dict[int, float | None]:
        """Circuit -> what its change does to the board's voltage."""
        if not self.puts:
            return {}
        net, width = self.side.net, len(self.puts) + 1
        columns = {n: _wide(v, net.branches, width) for n, v in self.figures.items()}
        supply, back = (_wide(v, net.branches, width) for v in (net.supply_ohm, net.return_ohm))
        for column, (place, figures, ohms) in enumerate(self.puts, start=1):
            for name, value in figures.items():
                columns[name][place, column] = value
            if ohms is not None:
                supply[place, column], back[place, column] = ohms
        done = solve_with(net, [self.side.case], Loads(**columns), net.tree.with_ohm(supply, back))
        volts = volts_at(done, net.board)[0]
        return {i: number(volts[column] - volts[0]) for i, column in self.branches.items()}


def _wide(value: Any, rows: int, columns: int) -> Any:
    array = np.asarray(value)
    tall = array[:, None] if array.ndim == 1 else array
    return np.array(np.broadcast_to(tall, (rows, columns)))


def _alone(side: Side, at: Sequence[int]) -> dict[int, float | None]:
    """Circuit -> what taking its load away does to the board."""
    trials = _Trials(side)
    for i in at:
        if side.solvable and side.net.branch[i] >= 0 and side.net.currents.is_load[i]:
            trials.put(i, {"kind": int(LoadKind.NONE)})
    return trials.effects()


def _swapped(before: Side, after: Side, pairs: Sequence[tuple[int, int]]) -> dict[int, float | None]:
    """Circuit of the old build -> what having it as in the new one does to the board."""
    trials = _Trials(before)
    theirs = {
        n: _wide(v, after.net.branches, 1)[:, 0]
        for n, v in vars(only(after.net.loads, Scenario.PUSH)).items()
    }
    for i, j in pairs:
        other = int(after.net.branch[j])
        # What hangs on a regulator cannot hang on a plain branch in another column.
        same = before.net.currents.regulates[i] == after.net.currents.regulates[j]
        if before.solvable and before.net.branch[i] >= 0 and other >= 0 and same:
            ohms = float(after.net.supply_ohm[other]), float(after.net.return_ohm[other])
            trials.put(i, {name: column[other] for name, column in theirs.items()}, ohms)
    return trials.effects()


def _in_one_only(side: Side, at: Sequence[int], kind: Kind) -> list[Change]:
    """Circuits that only one of the builds has."""
    sign = 1.0 if kind == Kind.REMOVED else -1.0
    effects, raw = _alone(side, at), side.net.rows.circuits.raw
    found = []
    for i in at:
        (mass, cost), effect = side.copper(i), effects.get(i)
        found.append(
            Change(
                kind=kind,
                circuit_id=int(side.net.rows.ids[i]),
                code=raw["code"][i],
                name=raw["name"][i],
                fields=(),
                board_v_effect=None if effect is None else sign * effect,
                copper_g=None if mass is None else -sign * mass,
                cost=None if cost is None else -int(sign) * cost,
            )
        )
    return found


def _in_both(before: Side, after: Side, pairs: Sequence[tuple[int, int]]) -> list[Change]:
    """Circuits of both builds in which anything is different; a moved one has no effect of its own."""
    fields = {pair: _field_changes(_FIELDS, before.words(pair[0]), after.words(pair[1])) for pair in pairs}
    different = [pair for pair in pairs if fields[pair]]
    stayed = [pair for pair in different if all(f.field != "fed_from" for f in fields[pair])]
    effects, raw = _swapped(before, after, stayed), after.net.rows.circuits.raw
    found = []
    for i, j in different:
        (old_mass, old_cost), (new_mass, new_cost) = before.copper(i), after.copper(j)
        found.append(
            Change(
                kind=Kind.CHANGED,
                circuit_id=int(after.net.rows.ids[j]),
                code=raw["code"][j],
                name=raw["name"][j],
                fields=tuple(fields[i, j]),
                board_v_effect=effects.get(i),
                copper_g=None if old_mass is None or new_mass is None else new_mass - old_mass,
                cost=None if old_cost is None or new_cost is None else new_cost - old_cost,
            )
        )
    return found


# --- the whole robot -------------------------------------------------------------------------------------
def _effects(before: Side, after: Side, least_board_v: float | None) -> list[Effect]:
    volts = [_volts(side, least_board_v) for side in (before, after)]
    copper = [_copper(side) for side in (before, after)]
    found = []
    for s in Scenario:
        found += [
            Effect(f"board_v_{s.name.lower()}", f"Board voltage: {SCENARIO_WORDS[s].lower()}", "V",
                   *(v["board"][s] for v in volts)),
            Effect(f"current_a_{s.name.lower()}", f"Battery current: {SCENARIO_WORDS[s].lower()}", "A",
                   *(v["amps"][s] for v in volts)),
        ]  # fmt: skip
    found += [
        Effect(
            "margin_v_push",
            "Least voltage to spare while pushing",
            "V",
            *(v["spare"][Scenario.PUSH] for v in volts),
        ),
        Effect(
            "drop_v_push",
            "Most lost in one circuit while pushing",
            "V",
            *(v["drop"][Scenario.PUSH] for v in volts),
        ),
        Effect("copper_g", "Copper of the conductors", "g", *(mass for mass, _ in copper)),
        Effect("conductors_cost", "Cost of the conductors", "", *(cost for _, cost in copper)),
    ]
    return found


def _volts(side: Side, least_board_v: float | None) -> dict[str, Sequence[float | None]]:
    if not side.solvable:
        return dict.fromkeys(("board", "amps", "spare", "drop"), [None] * len(Scenario))
    done, net = solve_with(side.net, [side.case], side.net.loads), side.net
    columns: dict[str, FloatArray] = {
        "board": volts_at(done, net.board)[0],
        "amps": done.current_a[net.parent == POSTS].sum(axis=0),
        "spare": levels_of(net, least_board_v).worst(done),
        "drop": np.max(done.current_a * (net.supply_ohm + net.return_ohm)[:, None], axis=0),
    }
    return {name: [number(value) for value in column] for name, column in columns.items()}


def _copper(side: Side) -> tuple[float, float | None]:
    """Of the circuits whose conductors are known; no cost where a wire has no offer."""
    known = [c for i in range(side.net.rows.size) if (c := side.copper(i))[0] is not None]
    costs = [cost for _, cost in known]
    total = None if any(cost is None for cost in costs) else float(sum(c for c in costs if c is not None))
    return sum(mass for mass, _ in known if mass is not None), total
