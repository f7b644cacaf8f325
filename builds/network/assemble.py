"""Circuits as rows become the network that the kernel solves: tree, loads of the three scenarios, sources.

What counts where, so that nothing counts twice:

- A circuit's branch is its conductor out and back as warm as it gets, its joints (half of them in either pole) and
  its protective device (in the supply).
- The source is the battery alone. ``Build.source_mohm`` is measured up to the board, so it holds the battery *and* the
  main feed: it is used only where the battery's own resistance is not known (then less what the main feed makes), or
  where no main circuit is drawn (then for the leads that nobody drew).
"""

from __future__ import annotations

import json
from dataclasses import dataclass
from functools import cached_property

import numpy as np

from builds.electrical import CircuitColumns
from builds.models import CircuitRole
from builds.network.assumed import Assumption, LeftOut, Out, OutArray, assumptions, left_out, sort_out
from builds.network.currents import Currents, first_known
from builds.network.loads import PUSHING, Mechanisms, loads_of, mechanisms, pushing
from shared.columns import NO_ID, BoolArray, FloatArray, IdArray
from shared.electrical.network import FeedTree, Loads, Sources

#: A full, rested 12 V lead-acid block, where the build names no battery model.
FULL_REST_V = 12.8
#: Stands for a resistance nobody knows, where the kernel wants a number; what comes out is not looked at.
_STIFF_OHM = 1e-3


@dataclass(frozen=True)
class Assembled:
    """Many builds as one network. A *branch* is a circuit that takes part; a *robot* is a build with any branch.

    ``circuit`` leads from branches to circuits (rows of ``rows``), ``branch`` back (-1: takes no part); ``build_row``
    and ``robot_of_build`` do the same for robots and builds. ``board`` is the branch at whose far end each robot's
    distribution board sits, -1 for the battery's posts.
    """

    rows: CircuitColumns
    currents: Currents
    out: OutArray
    circuit: IdArray
    branch: IdArray
    build_row: IdArray
    robot_of_build: IdArray
    tree: FeedTree
    loads: Loads
    supply_ohm: FloatArray
    return_ohm: FloatArray
    robot: IdArray
    parent: IdArray
    board: IdArray
    as_new: AsNew
    mechanisms: Mechanisms
    pushes: BoolArray

    @property
    def robots(self) -> int:
        return self.build_row.size

    @property
    def branches(self) -> int:
        return self.circuit.size

    @cached_property
    def minimum_v(self) -> FloatArray:
        """What each branch's component needs to keep working; NaN where it says nothing."""
        return self.rows.components.floats("minimum_v")[self.circuit]

    def left_out(self, build_row: int | None = None) -> list[LeftOut]:
        """The power circuits that take no part, of one build or of all."""
        return left_out(self.rows, self.out, self._of(build_row))

    def assumptions(self, build_row: int | None = None) -> list[Assumption]:
        """What was assumed of the circuits that take part, of one build or of all."""
        return assumptions(self.currents, self._of(build_row) & (self.out == Out.IN))

    def _of(self, build_row: int | None) -> BoolArray:
        if build_row is None:
            return np.ones(self.rows.size, dtype=np.bool_)
        return np.asarray(self.rows.builds.row == build_row)


@dataclass(frozen=True)
class AsNew:
    """Each robot with a new, full battery of its build's model, and what its undrawn leads add to any battery.

    ``internal_ohm`` is NaN where nothing tells it: such a robot cannot be judged as new, only with a measured battery.
    """

    open_v: FloatArray
    internal_ohm: FloatArray
    leads_ohm: FloatArray

    @property
    def judged(self) -> BoolArray:
        return ~np.isnan(self.internal_ohm)

    @property
    def sources(self) -> Sources:
        """For the kernel, which takes no NaN: a robot that cannot be judged gets a stiff source."""
        return Sources(open_v=self.open_v, internal_ohm=np.where(self.judged, self.internal_ohm, _STIFF_OHM))


def assemble(
    rows: CircuitColumns,
    *,
    push: int | IdArray = PUSHING,
    conductor_c: FloatArray | None = None,
    currents: Currents | None = None,
) -> Assembled:
    """The network of these circuits. ``push``: how many mechanisms peak at once, for all or per build of ``rows``;
    ``conductor_c`` and ``currents``: each conductor's temperature and what flows, where the caller has them already."""
    c = currents or Currents(rows)
    out = sort_out(c)
    circuit = np.flatnonzero(out == Out.IN)
    branch = np.full(rows.size, NO_ID, dtype=np.int64)
    branch[circuit] = np.arange(circuit.size)
    has_any = np.bincount(rows.builds.row[circuit], minlength=rows.builds.table.size) > 0
    build_row = np.flatnonzero(has_any)
    robot_of_build = np.where(has_any, np.cumsum(has_any) - 1, NO_ID)
    robot = robot_of_build[rows.builds.row[circuit]]
    parent = np.where(rows.parent[circuit] >= 0, branch[rows.parent[circuit]], NO_ID)
    pole = (c.pole_ohm if conductor_c is None else c.pole_ohm_at(conductor_c))[circuit]
    back = pole + c.joints_ohm[circuit] / 2.0
    there = back + c.device_ohm[circuit]
    groups = mechanisms(c)
    pushes = pushing(c, groups, out == Out.IN, push)
    board = _boards(rows, circuit, robot, build_row.size)
    return Assembled(
        rows=rows,
        currents=c,
        out=out,
        circuit=circuit,
        branch=branch,
        build_row=build_row,
        robot_of_build=robot_of_build,
        tree=FeedTree.build(robot=robot, parent=parent, supply_ohm=there, return_ohm=back),
        loads=loads_of(c, pushes, circuit),
        supply_ohm=there,
        return_ohm=back,
        robot=robot,
        parent=parent,
        board=board,
        as_new=_as_new(rows, build_row, board, there + back),
        mechanisms=groups,
        pushes=pushes[circuit],
    )


def _boards(rows: CircuitColumns, circuit: IdArray, robot: IdArray, robots: int) -> IdArray:
    """The main circuit of each robot, the one entered first where there are several."""
    roles, first = rows.circuits.texts("role"), np.flatnonzero(rows.parent[circuit] < 0)
    main = np.array([p for p in first.tolist() if roles[circuit[p]] == CircuitRole.MAIN], dtype=np.int64)[
        ::-1
    ]
    board = np.full(robots, NO_ID, dtype=np.int64)
    board[robot[main]] = main
    return board


def _as_new(rows: CircuitColumns, build_row: IdArray, board: IdArray, path_ohm: FloatArray) -> AsNew:
    table = rows.builds.table
    new, to_board = (
        table.floats(n)[build_row] / 1e3 for n in ("battery_model__resistance_new_mohm", "source_mohm")
    )
    main = np.where(board >= 0, path_ohm[board], 0.0) if path_ohm.size else np.zeros(build_row.size)
    rest = to_board - main
    leads = np.where(board >= 0, 0.0, np.fmax(to_board - new, 0.0))
    return AsNew(
        open_v=full_rest_v(rows)[build_row],
        internal_ohm=first_known(new + np.nan_to_num(leads), np.where(rest > 0, rest, np.nan)),
        leads_ohm=np.nan_to_num(leads),
    )


def full_rest_v(rows: CircuitColumns) -> FloatArray:
    """Per build: rest voltage of a full battery of its model, from the model's rest curve where it reaches full."""
    table = rows.builds.table
    # Text as the database keeps it; a league has a handful of different curves.
    curves = {text: _top_of(text) for text in set(table.raw["battery_model__rest_curve"])}
    top = np.array([curves[text] for text in table.raw["battery_model__rest_curve"]], dtype=np.float64)
    usual = np.full(table.size, FULL_REST_V)
    return first_known(top, table.floats("battery_model__full_rest_v"), usual)


def _top_of(text: str | None) -> float:
    pairs = json.loads(text) if text else []
    return max((float(volts) for charge, volts in pairs if float(charge) >= 1.0), default=np.nan)
