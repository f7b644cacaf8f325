"""What the change between two builds did: circuit by circuit, and to the robot as a whole."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from decimal import Decimal
from enum import StrEnum
from typing import Any

import numpy as np

from builds.network import SCENARIO_WORDS, Assembled, Scenario
from builds.selectors.bill import conductor_length_m
from builds.studies.base import POSTS, BatteryCase, cannot, levels_of, number, only, solve_with, volts_at
from shared.columns import FloatArray
from shared.electrical.conductors import copper_mass_g
from shared.electrical.network import FeedTree, LoadKind, Loads

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
    "joints_mohm": "joints [mohm]",
    "bundle_count": "conductors in the bundle",
    "ambient_c": "ambient [C]",
    "critical": "critical",
}
_BUILD_FIELDS: dict[str, str] = {
    "battery_model__code": "battery model",
    "ambient_c": "ambient [C]",
    "source_mohm": "resistance up to the board [mohm]",
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

    None where it cannot be told alone (the circuit moved to another feed, or takes no part).
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
    changes = [_without(before, i, Kind.REMOVED) for code, i in old.items() if code not in new]
    changes += [_without(after, i, Kind.ADDED) for code, i in new.items() if code not in old]
    changes += [c for code, i in old.items() if code in new and (c := _changed(before, after, i, new[code]))]
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
def _without(side: Side, i: int, kind: Kind) -> Change:
    """A circuit that is in one build only, against that build without its load."""
    sign = 1.0 if kind == Kind.REMOVED else -1.0
    effect = None
    place = int(side.net.branch[i])
    if side.solvable and place >= 0 and side.net.currents.is_load[i]:
        loads = only(side.net.loads, Scenario.PUSH)
        empty = np.array(loads.kind)
        empty[place] = LoadKind.NONE
        effect = _difference(side, loads, replace(loads, kind=empty), side.net.tree)
    mass, cost = side.copper(i)
    raw = side.net.rows.circuits.raw
    return Change(
        kind=kind,
        circuit_id=int(side.net.rows.ids[i]),
        code=raw["code"][i],
        name=raw["name"][i],
        fields=(),
        board_v_effect=None if effect is None else sign * effect,
        copper_g=None if mass is None else -sign * mass,
        cost=None if cost is None else -int(sign) * cost,
    )


def _changed(before: Side, after: Side, i: int, j: int) -> Change | None:
    """A circuit of both builds; None where nothing is different."""
    fields = _field_changes(_FIELDS, before.words(i), after.words(j))
    if not fields:
        return None
    (old_mass, old_cost), (new_mass, new_cost) = before.copper(i), after.copper(j)
    raw = after.net.rows.circuits.raw
    return Change(
        kind=Kind.CHANGED,
        circuit_id=int(after.net.rows.ids[j]),
        code=raw["code"][j],
        name=raw["name"][j],
        fields=tuple(fields),
        board_v_effect=None if any(f.field == "fed_from" for f in fields) else _swapped(before, after, i, j),
        copper_g=None if old_mass is None or new_mass is None else new_mass - old_mass,
        cost=None if old_cost is None or new_cost is None else new_cost - old_cost,
    )


def _swapped(before: Side, after: Side, i: int, j: int) -> float | None:
    """The old build with this one circuit as in the new one."""
    place, other = int(before.net.branch[i]), int(after.net.branch[j])
    if not before.solvable or place < 0 or other < 0:
        return None
    loads, theirs = (only(side.net.loads, Scenario.PUSH) for side in (before, after))
    mixed = Loads(
        **{name: _put(value, place, getattr(theirs, name), other) for name, value in vars(loads).items()}
    )
    supply, back = before.net.supply_ohm.copy(), before.net.return_ohm.copy()
    supply[place], back[place] = after.net.supply_ohm[other], after.net.return_ohm[other]
    return _difference(before, loads, mixed, before.net.tree.with_ohm(supply, back))


def _put(value: Any, place: int, theirs: Any, other: int) -> Any:
    changed = np.array(value)
    changed[place] = np.asarray(theirs)[other]
    return changed


def _difference(side: Side, loads: Loads, mixed: Loads, tree: FeedTree) -> float | None:
    was = volts_at(solve_with(side.net, [side.case], loads), side.net.board)[0, 0]
    then = volts_at(solve_with(side.net, [side.case], mixed, tree), side.net.board)[0, 0]
    return number(then - was)


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
