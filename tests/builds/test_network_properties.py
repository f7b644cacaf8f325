"""Whatever the wiring: what belongs in the network is in it, built as the rows say, and each robot is as alone."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from builds.electrical import CircuitColumns, Lookup, _levels
from builds.network import Out, Scenario, assemble
from shared.columns import Table
from shared.electrical.network import LoadKind, solve

_WIRES: dict[str, list[float | None]] = {
    "area_mm2": [0.5, 2.0, 5.0, 20.0],
    "resistance_mohm_per_m": [None, 9.0, None, None],
}
_PARTS: dict[str, list[Any]] = {
    "role": ["motor", "radio", "regulator", "other"],
    "draw": ["", "", "", "resistance"],
    "nominal_v": [12.0, 5.0, None, 12.0],
    "nominal_a": [5.0, 0.5, 0.1, 2.0],
    "peak_a": [30.0, 0.8, 0.2, None],
    "minimum_v": [None, 4.5, 6.0, None],
    "output_v": [None, None, 5.0, None],
    "efficiency_frac": [None, None, 0.9, None],
    "output_max_a": [None, None, 20.0, None],
    "stall_a": [60.0, None, None, None],
}


@dataclass(frozen=True)
class Row:
    """One circuit; ``parent`` counts within its robot, -1 is the battery."""

    parent: int
    wire: int
    part: int
    length_m: float | None
    continuous_a: float | None
    signal: bool


def rows_of_robot(size: int) -> st.SearchStrategy[list[Row]]:
    return st.tuples(
        *(
            st.builds(
                Row,
                parent=st.integers(-1, i - 1),
                wire=st.integers(-1, 3),
                part=st.integers(-1, 3),
                length_m=st.none() | st.floats(0.1, 3.0),
                continuous_a=st.none() | st.floats(0.1, 4.0),
                signal=st.sampled_from([False] * 9 + [True]),
            )
            for i in range(size)
        )
    ).map(list)


ROBOT = st.integers(1, 8).flatmap(rows_of_robot)


def columns(robots: list[list[Row]]) -> CircuitColumns:
    """Circuits as the database would give them, robot after robot."""
    flat = [(b, row) for b, rows in enumerate(robots) for row in rows]
    starts = np.cumsum([0, *(len(rows) for rows in robots)])
    size = len(flat)
    parent = np.array([row.parent + starts[b] if row.parent >= 0 else -1 for b, row in flat], dtype=np.int64)
    raw: dict[str, Any] = {
        "role": ["signal" if row.signal else "branch" for _, row in flat],
        "code": [f"C{i}" for i in range(size)],
        "mechanism": [""] * size,
        "fed_from_id": [None if p < 0 else int(p) for p in parent],
        "length_m": [row.length_m for _, row in flat],
        "continuous_a": [row.continuous_a for _, row in flat],
        "parallel": [1] * size,
        "bundle_count": [2] * size,
        **{n: [None] * size for n in ("peak_a", "limit_a", "joints_mohm", "duty_frac", "cycle_s", "ambient_c")},
    }  # fmt: skip
    ids = np.arange(size)
    nothing = Lookup(Table({n: [] for n in ("form", "rating_a", "resistance_mohm")}, 0), np.full(size, -1))
    wires: dict[str, list[Any]] = {**_WIRES, "insulation_class_c": [105.0] * 4, "strands": [19] * 4}
    builds: dict[str, list[Any]] = {
        "battery_model__nominal_v": [12.0], "battery_model__full_rest_v": [12.8], "ambient_c": [30.0],
        "battery_model__resistance_new_mohm": [8.0], "battery_model__rest_curve": ["[]"], "source_mohm": [None],
    }  # fmt: skip
    table = Table({name: value * len(robots) for name, value in builds.items()}, len(robots))
    return CircuitColumns(
        circuits=Table(raw, size),
        builds=Lookup(table, np.array([b for b, _ in flat], dtype=np.int64)),
        wires=Lookup(Table(wires, 4), np.array([row.wire for _, row in flat], dtype=np.int64)),
        devices=nothing,
        source_ends=nothing,
        load_ends=nothing,
        components=Lookup(Table(_PARTS, 4), np.array([row.part for _, row in flat], dtype=np.int64)),
        points=Table({}, 0),
        ids=ids,
        team_ids=ids,
        season_ids=ids,
        parent=parent,
        levels=_levels(parent),
    )


def belongs(rows: list[Row], i: int) -> bool:
    """By the words of the module, one circuit at a time."""
    row = rows[i]
    feeds = any(other.parent == i and not other.signal for other in rows)
    known = row.continuous_a is not None or row.part >= 0
    blocked = row.signal or row.wire < 0 or row.length_m is None or not (feeds or known)
    return not blocked and (row.parent < 0 or belongs(rows, row.parent))


@settings(max_examples=40)
@given(st.lists(ROBOT, min_size=1, max_size=3))
def test_what_belongs_is_in_and_each_robot_is_as_alone(robots: list[list[Row]]) -> None:
    net = assemble(columns(robots))
    flat = [belongs(rows, i) for rows in robots for i in range(len(rows))]
    assert (net.out == Out.IN).tolist() == flat
    assert {x.circuit_id for x in net.left_out()} == {
        k
        for k, (inside, out) in enumerate(zip(flat, net.out, strict=True))
        if not inside and out != Out.NO_POWER
    }
    done = solve(net.tree, net.as_new.sources, net.loads)
    for number, build in enumerate(net.build_row.tolist()):
        one = assemble(columns([robots[build]]))
        alone = solve(one.tree, one.as_new.sources, one.loads)
        mine = net.robot == number
        np.testing.assert_allclose(done.load_v[mine], alone.load_v, rtol=1e-9, atol=1e-9)
        np.testing.assert_allclose(done.battery_v[number], alone.battery_v[0], rtol=1e-9)


@settings(max_examples=40)
@given(ROBOT)
def test_loads_draw_what_their_rows_say(rows: list[Row]) -> None:
    net = assemble(columns([rows]))
    kind = np.asarray(net.loads.kind)
    for place, i in enumerate(net.circuit.tolist()):
        row = rows[i]
        feeds = any(other.parent == i and not other.signal for other in rows)
        wanted = [LoadKind.MOTOR, LoadKind.POWER, LoadKind.POWER, LoadKind.RESISTANCE, LoadKind.CURRENT][
            row.part
        ]
        if feeds:
            wanted = LoadKind.REGULATOR if row.part == 2 else LoadKind.NONE
        elif wanted == LoadKind.MOTOR:
            wanted = LoadKind.CURRENT  # it turns
        assert kind[place, Scenario.RUNNING] == wanted
        if kind[place, Scenario.RUNNING] == LoadKind.CURRENT:
            own = row.continuous_a if row.continuous_a is not None else _PARTS["nominal_a"][row.part]
            assert np.asarray(net.loads.current_a)[place, Scenario.RUNNING] == own


@settings(max_examples=40)
@given(ROBOT, st.integers(0, 4))
def test_no_more_mechanisms_push_than_asked_and_the_heaviest_do(rows: list[Row], count: int) -> None:
    net = assemble(columns([rows]), push=count)
    c = net.currents
    watts = np.where(c.is_load, c.peak_a * c.nominal_v, 0.0)[net.circuit]
    pushing, resting = watts[net.pushes], watts[~net.pushes]
    assert pushing.size <= count
    if pushing.size and resting.size:
        assert pushing.min() >= resting.max() - 1e-9
    if pushing.size < count:
        assert not (resting > 0).any()


@settings(max_examples=40)
@given(ROBOT)
def test_a_branch_has_the_resistance_of_its_wire_out_and_back(rows: list[Row]) -> None:
    net = assemble(columns([rows]), conductor_c=np.full(len(rows), 20.0))
    for place, i in enumerate(net.circuit.tolist()):
        given_mohm, area = _WIRES["resistance_mohm_per_m"][rows[i].wire], _WIRES["area_mm2"][rows[i].wire]
        # IEC 60028 copper at 20 C, 2 % for the lay of the strands; four joints of 0.5 mohm.
        per_m = given_mohm / 1e3 if given_mohm else 0.017241 * 1.02 / (area or 1.0)
        both = net.supply_ohm[place] + net.return_ohm[place]
        assert both == pytest.approx(2 * per_m * (rows[i].length_m or 0.0) + 2e-3, rel=1e-9)
