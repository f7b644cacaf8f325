"""Short circuits, as columns for the rules: fault currents along the feed tree, which device guards which wire.

The largest current flows with a new, full battery and cold wires; the least with a tired, nearly empty one, wires as
hot as their insulation allows, and the devices on the way. Joints count as measured, else as sound ones usually are.
Behind a regulator both are what the regulator can give, where that is entered.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property

import numpy as np
import numpy.typing as npt

from builds.network import full_rest_v
from builds.network.currents import first_known
from compliance.rules.load_facts import LoadFacts
from compliance.rules.network import FaultSlow
from shared.columns import BoolArray, FloatArray, IdArray
from shared.electrical.arrays import Verdict
from shared.electrical.conductors import parallel_resistance, path_resistance_ohm, resistance_at_c
from shared.electrical.contacts import blade_fuse_ohm, joints_ohm
from shared.electrical.faults import FaultRange, LetThrough, let_through, selectivity, selectivity_check
from shared.electrical.protection import prospective_fault_a

#: Devices in series from the battery to a load; a robot has two or three.
_DEEPEST = 8


@dataclass(frozen=True)
class Pairs:
    """Every device (``upstream``: its circuit) with every one behind it (``downstream``), one entry per pair."""

    verdict: npt.NDArray[np.int8]
    upstream: IdArray
    downstream: IdArray
    limit_a: FloatArray
    known_a: FloatArray


@dataclass(frozen=True)
class FaultFacts(LoadFacts):
    """The columns about short circuits, each worked out once."""

    # --- paths ----------------------------------------------------------------------------------------
    @cached_property
    def cold_ohm(self) -> FloatArray:
        """Each circuit's wire out and back at 20 C with its joints; a wire not known counts as nothing."""
        cold = parallel_resistance(self.ohm_per_m_20c, self.parallel)
        return np.nan_to_num(path_resistance_ohm(cold, self.length_m)) + self.joints_ohm

    @cached_property
    def joints_ohm(self) -> FloatArray:
        return joints_ohm(self.rows.floats("joints_mohm"))

    @cached_property
    def hot_ohm(self) -> FloatArray:
        """Each circuit's wire at the limit of its insulation, with its joints and its device."""
        hot = parallel_resistance(resistance_at_c(self.ohm_per_m_20c, self.class_c), self.parallel)
        devices = self.rows.devices
        blade = devices.is_one_of("form", frozenset({"blade"}))
        usual = np.where(blade, blade_fuse_ohm(devices.floats("rating_a")), 0.0)
        device = np.where(devices.row >= 0, first_known(devices.floats("resistance_mohm") / 1e3, usual), 0.0)
        return path_resistance_ohm(hot, self.length_m) + self.joints_ohm + device

    def _up_to(self, own: FloatArray, *, from_regulator: bool) -> FloatArray:
        """The sum of a figure over the circuits before each circuit, from the battery or the last regulator on."""
        total = np.zeros(self.rows.size)
        for level in self.rows.levels[1:]:
            up = self.rows.parent[level]
            total[level] = total[up] + own[up]
            if from_regulator:
                total[level] = np.where(self.is_regulator[up], 0.0, total[level])
        return total

    @cached_property
    def upstream_ohm(self) -> FloatArray:
        """Cold path between battery and each circuit; a regulator that failed may be no more than a wire."""
        return self._up_to(self.cold_ohm, from_regulator=False)

    @cached_property
    def hot_upstream_ohm(self) -> FloatArray:
        """Hot path, joints and devices between the source of each circuit's voltage and the circuit."""
        return self._up_to(self.hot_ohm, from_regulator=True)

    @cached_property
    def regulator(self) -> IdArray:
        """The circuit of the regulator each circuit hangs behind; -1 for the battery itself."""
        found = np.full(self.rows.size, -1, dtype=np.int64)
        for level in self.rows.levels[1:]:
            up = self.rows.parent[level]
            found[level] = np.where(self.is_regulator[up], up, found[up])
        return found

    # --- currents -------------------------------------------------------------------------------------
    @cached_property
    def open_circuit_v(self) -> FloatArray:
        return full_rest_v(self.rows)[self.rows.builds.row]

    @cached_property
    def battery_mohm(self) -> FloatArray:
        """The battery alone: its sheet, or what was measured up to the board less the main wire, if that is smaller."""
        builds, main = self.rows.builds, np.zeros(self.rows.builds.table.size)
        mains = np.flatnonzero(self.rows.role("main") & (self.rows.parent < 0))
        main[self.rows.builds.row[mains]] = 1e3 * self.cold_ohm[mains]
        measured = builds.floats("source_mohm") - main[builds.row]
        sheet = builds.floats("battery_model__resistance_new_mohm")
        return np.fmin(sheet, np.where(measured > 0, measured, np.nan))

    @cached_property
    def fault_a(self) -> FloatArray:
        """The largest current through each circuit's device: a dead short right behind it."""
        return prospective_fault_a(self.open_circuit_v, self.battery_mohm, self.upstream_ohm * 1e3)

    @cached_property
    def fault_range(self) -> FaultRange:
        """From a short at the far end on a tired battery to one right behind the device on a new one."""
        tired = self.battery_mohm * self.column(FaultSlow, "tired_frac")
        hot_mohm = 1e3 * (self.hot_upstream_ohm + self.hot_ohm)
        least = prospective_fault_a(self.column(FaultSlow, "tired_v"), tired, hot_mohm)
        behind = self.regulator >= 0
        gives_v, most_a = (
            np.where(behind, self.rows.components.floats(name)[self.regulator], np.nan)
            for name in ("output_v", "output_max_a")
        )
        limited = np.minimum(prospective_fault_a(gives_v, 0.0, hot_mohm), most_a)
        return FaultRange(np.where(behind, limited, least), np.where(behind, most_a, self.fault_a))

    # --- who guards whom ------------------------------------------------------------------------------
    @cached_property
    def guard(self) -> IdArray:
        """The circuit whose device guards each circuit's wire: its own, else the next towards the source; else -1."""
        own = self.rows.devices.row >= 0
        found = np.where(own, np.arange(self.rows.size), -1)
        for level in self.rows.levels[1:]:
            up = self.rows.parent[level]
            above = np.where(self.is_regulator[up], -1, found[up])
            found[level] = np.where(own[level], found[level], above)
        return found

    @cached_property
    def guard_upstream(self) -> IdArray:
        """The circuit whose device comes next towards the source, the own one not counted; -1 for none."""
        parent = self.rows.parent
        above = (parent >= 0) & ~self.is_regulator[parent] if parent.size else parent >= 0
        return np.where(above, self.guard[parent], -1) if parent.size else parent

    @cached_property
    def cleared(self) -> LetThrough:
        """Each power circuit's wire against the device that guards it, at its worst fault current."""
        at = np.flatnonzero(self.is_power & (self.guard >= 0))
        device = self.rows.devices.row[self.guard[at]]
        faults = FaultRange(*(edge[at] for edge in self.fault_range))
        worst = let_through(
            self.bands,
            device,
            faults,
            self.area_mm2[at] * self.parallel[at],
            self.class_c[at],
            self.ambient_c[at],
            self.ampacity_a[at],
        )
        verdict = np.full(self.rows.size, np.int8(Verdict.UNKNOWN))
        verdict[at] = worst.verdict
        columns = [np.full(self.rows.size, np.nan) for _ in range(3)]
        for column, values in zip(columns, worst[1:], strict=True):
            column[at] = values
        return LetThrough(verdict, *columns)

    @cached_property
    def pairs(self) -> Pairs:
        """All pairs of devices that one current can flow through, from the one next to it outwards."""
        devices = self.rows.devices.row
        down = np.flatnonzero((devices >= 0) & self.is_power & (self.guard_upstream >= 0))
        up, ups, downs = self.guard_upstream[down], [], []
        for _ in range(_DEEPEST):
            ups.append(up)
            downs.append(down)
            further = self.guard_upstream[up]
            down, up = down[further >= 0], further[further >= 0]
        upstream, downstream = np.concatenate(ups), np.concatenate(downs)
        pair = selectivity(self.bands, devices[downstream], devices[upstream])
        verdict = selectivity_check(pair, self.fault_range.highest_a[downstream])
        return Pairs(verdict, upstream, downstream, *pair)

    @cached_property
    def _by_upstream(self) -> tuple[IdArray, IdArray]:
        """The pairs in the order of the device upstream, and that device of each."""
        order = np.argsort(self.pairs.upstream, kind="stable")
        return order, self.pairs.upstream[order]

    def pairs_of(self, i: int) -> IdArray:
        """The pairs in which a circuit's device is the one upstream."""
        order, upstream = self._by_upstream
        first, after = np.searchsorted(upstream, (i, i + 1))
        return order[first:after]

    @cached_property
    def pointless(self) -> BoolArray:
        """The circuits whose device has no points that say when it opens for certain."""
        lacks, devices = np.isnan(self.bands.pickup_a), self.rows.devices.row
        own = (devices >= 0) & lacks[devices] if lacks.size else np.zeros(self.rows.size, dtype=np.bool_)
        return own & self.is_power

    @cached_property
    def short_points(self) -> FloatArray:
        """Per circuit the current up to which its device's points are wanted for those behind it; 0 if they reach."""
        p, wanted = self.pairs, np.zeros(self.rows.size)
        fault = self.fault_range.highest_a[p.downstream]
        short = (p.verdict == Verdict.UNKNOWN) & ~np.isnan(fault) & ~np.isnan(p.limit_a)
        np.maximum.at(wanted, p.upstream[short], fault[short])
        return wanted
