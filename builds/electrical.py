"""Circuits as numpy columns: what the electrical checks need of many builds, read in a fixed number of queries."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, field

import numpy as np
from django.db.models import Model, QuerySet

from builds.models import Build, BuildState, Circuit
from inventory.models import Component, DevicePoint, ProtectiveDevice, TerminalType, WireType
from shared.columns import BoolArray, FloatArray, IdArray, Table, fetch, place_of, take

_CIRCUIT = (
    "id", "team_id", "build_id", "code", "name", "fed_from_id", "device_id", "wire_id", "parallel",
    "length_m", "component_id", "continuous_a", "peak_a", "duty_frac", "cycle_s", "terminal_source_id",
    "stud_source_mm", "terminal_load_id", "stud_load_mm", "bundle_count", "ambient_c", "critical", "mechanism",
    "limit_a", "joints_mohm", "profile_id",
)  # fmt: skip
_BUILD = (
    "id", "team_id", "robot__season_id", "robot__code", "label", "ambient_c", "source_mohm", "battery_model_id",
    "battery_model__nominal_v", "battery_model__full_rest_v", "battery_model__resistance_new_mohm",
    "battery_model__rest_curve",
)  # fmt: skip
_WIRE = ("id", "code", "size_typed", "area_mm2", "insulation_class_c", "resistance_mohm_per_m", "strands")
_DEVICE = ("id", "code", "form", "rating_a", "interrupt_a", "resistance_mohm", "heat_s")
_TERMINAL = ("id", "code", "form", "area_min_mm2", "area_max_mm2", "hole_mm", "range_typed")
_COMPONENT = (
    "id", "code", "name", "role", "draw", "nominal_v", "nominal_a", "peak_a", "stall_a", "free_a", "spin_up_s",
    "minimum_v", "output_v", "efficiency_frac", "output_max_a", "stud_mm",
)  # fmt: skip
_POINT = ("device_id", "multiple", "opens_min_s", "opens_max_s", "status", "source")


@dataclass(frozen=True)
class Lookup:
    """A table of kinds (wires, devices ...) and, per circuit, the row it uses; -1 for none."""

    table: Table
    row: IdArray
    _floats: dict[str, FloatArray] = field(default_factory=dict, repr=False)

    def floats(self, name: str) -> FloatArray:
        """A figure of each circuit's own kind, NaN where it has none; made once, so not to be written to."""
        if name not in self._floats:
            self._floats[name] = take(self.table.floats(name), self.row)
        return self._floats[name]

    def text(self, name: str, i: int) -> str:
        """A word of circuit ``i``'s kind; empty where it has none."""
        row = int(self.row[i])
        return str(self.table.raw[name][row]) if row >= 0 else ""

    def is_one_of(self, name: str, values: frozenset[str]) -> BoolArray:
        """Whether the word of each circuit's kind is one of these."""
        known = np.array([value in values for value in self.table.raw[name]], dtype=np.bool_)
        return (self.row >= 0) & (known[self.row] if known.size else False)


@dataclass(frozen=True)
class CircuitColumns:
    """One entry per circuit; ``parent`` is the place of the circuit that feeds it, -1 for the battery."""

    circuits: Table
    builds: Lookup
    wires: Lookup
    devices: Lookup
    source_ends: Lookup
    load_ends: Lookup
    components: Lookup
    points: Table
    ids: IdArray
    team_ids: IdArray
    season_ids: IdArray
    parent: IdArray
    levels: tuple[IdArray, ...]

    @property
    def size(self) -> int:
        return self.circuits.size

    def floats(self, name: str) -> FloatArray:
        return self.circuits.floats(name)

    def role(self, *roles: str) -> BoolArray:
        """Whether each circuit has one of these roles."""
        coded = self.circuits.coded("role")
        among = np.array([word in roles for word in coded.words], dtype=np.bool_)
        return among[coded.code]

    def label(self, i: int) -> str:
        """What people call it: the robot and the label at both ends."""
        return f"{self.builds.text('robot__code', i)} {self.circuits.texts('code')[i]}"


def judged_builds(team_ids: Iterable[int]) -> QuerySet[Build]:
    """The builds a sweep looks at: current ones of robots that are not archived."""
    return Build.objects.filter(team_id__in=team_ids, state=BuildState.CURRENT, robot__archived=False)


def load_circuits(builds: QuerySet[Build]) -> CircuitColumns:
    """All circuits of these builds with what they are made of; eight queries, however many there are."""
    mine = builds.order_by()
    # In this order an index hands them out as they are.
    chosen = Circuit.objects.filter(build__in=mine.values("pk")).order_by("build_id", "pk")
    circuits = fetch(chosen, *_CIRCUIT, coded=("role",))
    ids, build_ids = circuits.ids("id"), circuits.ids("build_id")
    build_table = fetch(mine, *_BUILD)
    build_rows = place_of(build_table.ids("id"), build_ids)
    parent = place_of(ids, circuits.ids("fed_from_id"))
    teams = [int(t) for t in np.unique(circuits.ids("team_id"))]
    devices = _lookup(ProtectiveDevice, _DEVICE, teams, circuits.ids("device_id"))
    terminals = fetch(TerminalType.objects.filter(team_id__in=teams).order_by(), *_TERMINAL)
    ends = [
        Lookup(terminals, place_of(terminals.ids("id"), circuits.ids(f"terminal_{end}_id")))
        for end in ("source", "load")
    ]
    return CircuitColumns(
        circuits=circuits,
        builds=Lookup(build_table, build_rows),
        wires=_lookup(WireType, _WIRE, teams, circuits.ids("wire_id")),
        devices=devices,
        source_ends=ends[0],
        load_ends=ends[1],
        components=_lookup(Component, _COMPONENT, teams, circuits.ids("component_id")),
        points=fetch(
            DevicePoint.objects.filter(team_id__in=teams).order_by("device_id", "multiple"), *_POINT
        ),
        ids=ids,
        team_ids=circuits.ids("team_id"),
        season_ids=build_table.ids("robot__season_id")[build_rows] if circuits.size else ids,
        parent=parent,
        levels=_levels(parent),
    )


def _lookup(model: type[Model], fields: tuple[str, ...], teams: list[int], wanted: IdArray) -> Lookup:
    table = fetch(model._default_manager.filter(team_id__in=teams).order_by(), *fields)
    return Lookup(table, place_of(table.ids("id"), wanted))


def _levels(parent: IdArray) -> tuple[IdArray, ...]:
    """The circuits by how many others lie between them and the battery, nearest first.

    Circuits that feed each other in a ring have no way to the battery; they are in no level.
    """
    levels: list[IdArray] = []
    at = np.flatnonzero(parent < 0)
    while at.size:
        levels.append(at)
        here = np.zeros(parent.size, dtype=np.bool_)
        here[at] = True
        at = np.flatnonzero((parent >= 0) & here[parent])
    return tuple(levels)
