"""Circuits with everything the load rules compare: the figures entered, and what the kernel makes of them.

A figure a circuit lacks is taken from its component where that has one. Where neither has it, it stays NaN, and the
rule ``circuit-unknown`` says so.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field
from functools import cached_property

import numpy as np

from builds.electrical import CircuitColumns
from builds.network.currents import Currents, first_known
from compliance.models import SubjectKind
from compliance.rules.base import Rule
from compliance.rules.load_limits import limits_by_pack
from compliance.rules.loads import FeedSum, WireAmpacity, WireDrop
from compliance.selectors.packs import PackTable
from inventory.models import Component, ProtectiveDevice, TerminalType
from shared.columns import BoolArray, FloatArray, IdArray, place_of
from shared.electrical.ampacity import ambient_factor, bundle_factor, corrected_ampacity_a
from shared.electrical.bands import DeviceBands
from shared.electrical.conductors import (
    conductor_temperature_c,
    parallel_resistance,
    resistance_at_c,
    voltage_drop_v,
)
from shared.electrical.loads import EffectiveLoad, LoadBasis, effective_load
from shared.electrical.sizing import smallest_area_for_drop_mm2
from shared.electrical.thermal import time_constant_s

#: Forms that sit on a stud or under a screw.
_STUD_FORMS = frozenset(
    {TerminalType.Form.RING.value, TerminalType.Form.FORK.value, TerminalType.Form.LUG.value}
)
#: What a robot is lost without: the voltage at which it resets has to be known.
_MUST_LIVE = frozenset({Component.Role.CONTROLLER.value, Component.Role.RADIO.value})
_BY_HEAT = frozenset(
    {ProtectiveDevice.Form.BLADE.value, ProtectiveDevice.Form.BOLT.value, ProtectiveDevice.Form.THERMAL.value}
)


@dataclass(frozen=True)
class LoadFacts:
    """Derived columns, each worked out once when a rule first asks for it. ``build_pack``: the rule pack of each build
    in the table of builds."""

    rows: CircuitColumns
    table: PackTable
    build_pack: IdArray
    _limits: dict[tuple[str, str], FloatArray] = field(default_factory=dict, repr=False)

    @cached_property
    def pack(self) -> IdArray:
        """Each circuit's rule pack."""
        return self.build_pack[self.rows.builds.row]

    def packs_of(self, rule: type[Rule]) -> IdArray:
        """The rule packs of a rule's subjects: circuits, or builds."""
        return self.build_pack if rule.subject == SubjectKind.BUILD else self.pack

    # --- as entered -----------------------------------------------------------------------------------
    @cached_property
    def area_mm2(self) -> FloatArray:
        return self.rows.wires.floats("area_mm2")

    @cached_property
    def class_c(self) -> FloatArray:
        return self.rows.wires.floats("insulation_class_c")

    @cached_property
    def ambient_c(self) -> FloatArray:
        return first_known(self.rows.floats("ambient_c"), self.rows.builds.floats("ambient_c"))

    @cached_property
    def parallel(self) -> FloatArray:
        return self.rows.floats("parallel")

    @cached_property
    def bundle(self) -> FloatArray:
        return self.rows.floats("bundle_count")

    @cached_property
    def length_m(self) -> FloatArray:
        return self.rows.floats("length_m")

    @cached_property
    def rating_a(self) -> FloatArray:
        return self.rows.devices.floats("rating_a")

    @cached_property
    def critical(self) -> BoolArray:
        return self.rows.circuits.bools("critical")

    @property
    def is_power(self) -> BoolArray:
        """Everything but signal and data."""
        return self.currents.is_power

    @property
    def feeds_others(self) -> BoolArray:
        return self.currents.feeds_others

    # --- currents -------------------------------------------------------------------------------------
    @cached_property
    def currents(self) -> Currents:
        """What these circuits draw, as the network has it."""
        return Currents(self.rows)

    @property
    def own_running_a(self) -> FloatArray:
        """As entered on the circuit, else what its component draws; a feed's component is no load of its own."""
        return self.currents.own_running_a

    @cached_property
    def running_a(self) -> FloatArray:
        """What flows while running: the own figure, else the sum of what is fed through it."""
        return first_known(self.own_running_a, np.where(self.feeds_others, self.through_a, np.nan))

    @cached_property
    def peak_a(self) -> FloatArray:
        peak = self.currents.peak_a
        return np.where(peak > self.running_a, peak, self.running_a)

    @property
    def is_regulator(self) -> BoolArray:
        return self.currents.is_regulator

    @cached_property
    def through_a(self) -> FloatArray:
        """Sum of the running currents of the branches of each feed, level by level from the loads inwards.

        Branches without a figure count nothing: the sum is a least value. Behind a regulator power is summed and
        turned into the current that feeds it.
        """
        size, parent = self.rows.size, self.rows.parent
        total = np.zeros(size)
        draws = np.zeros(size)
        gain = self._regulator_gain
        for level in reversed(self.rows.levels):
            draws[level] = np.where(
                self.feeds_others[level] & np.isnan(self.own_running_a[level]),
                total[level],
                np.nan_to_num(self.own_running_a[level]),
            )
            fed = level[parent[level] >= 0]
            np.add.at(total, parent[fed], draws[fed] * gain[fed])
        return total

    @cached_property
    def _regulator_gain(self) -> FloatArray:
        """What an ampere of each circuit is at the input of the regulator that feeds it; 1 where none does."""
        parent = self.rows.parent
        behind = (parent >= 0) & (self.is_regulator[parent] if parent.size else False)
        efficiency = self.efficiency_frac[parent] if parent.size else 1.0
        return np.where(behind, self.nominal_v / (self.system_v * efficiency), 1.0)

    @cached_property
    def efficiency_frac(self) -> FloatArray:
        """Of a regulator: its own figure, else the rule pack's."""
        own = self.rows.components.floats("efficiency_frac")
        return first_known(own, self.column(FeedSum, "efficiency_frac"))

    @cached_property
    def load(self) -> EffectiveLoad:
        """The steady current that heats the wire as much as the load does."""
        return effective_load(
            self.running_a,
            self.peak_a,
            self.rows.floats("duty_frac"),
            self.rows.floats("cycle_s"),
            self.tau_s,
        )

    # --- wire -----------------------------------------------------------------------------------------
    @cached_property
    def tables(self) -> tuple[tuple[str, str, str], ...]:
        """Per rule pack: the ampacity table, the bundle factors, the table for small wires."""
        names = ("table", "bundle_table", "small_wire_table")
        chosen = ([str(v) for v in limits_by_pack(self.table, WireAmpacity, n)] for n in names)
        return tuple(zip(*chosen, strict=True))

    def _by_tables(self, work_out: Callable[[tuple[str, str, str], BoolArray], FloatArray]) -> FloatArray:
        """A column worked out once for each set of tables in use."""
        out = np.full(self.rows.size, np.nan)
        for tables in dict.fromkeys(self.tables):
            at = np.isin(self.pack, [k for k, other in enumerate(self.tables) if other == tables])
            if at.any():
                out[at] = work_out(tables, at)
        return out

    @cached_property
    def ampacity_a(self) -> FloatArray:
        """What the conductors of each circuit may carry together where they lie, by the pack's tables."""

        def of_one(tables: tuple[str, str, str], at: BoolArray) -> FloatArray:
            return corrected_ampacity_a(
                self.area_mm2[at],
                self.class_c[at],
                self.ambient_c[at],
                self.bundle[at],
                table=tables[0],
                bundle_table=tables[1],
                small_wire_table=tables[2],
            )

        return self._by_tables(of_one) * self.parallel

    @cached_property
    def cooling_frac(self) -> FloatArray:
        """The ambient factor of each circuit, to be shown."""
        return ambient_factor(self.ambient_c, self.class_c)

    @cached_property
    def bundle_frac(self) -> FloatArray:
        """The bundle factor of each circuit, to be shown."""
        return self._by_tables(lambda tables, at: bundle_factor(self.bundle[at], tables[1]))

    @cached_property
    def tau_s(self) -> FloatArray:
        """Thermal time constant of each wire."""
        return time_constant_s(self.area_mm2)

    @cached_property
    def conductor_c(self) -> FloatArray:
        """Temperature at the effective current; the insulation class where that would be passed."""
        warm = conductor_temperature_c(self.load.current_a, self.ampacity_a, self.ambient_c, self.class_c)
        return np.fmin(first_known(warm, self.class_c), np.fmax(self.class_c, self.ambient_c))

    @property
    def ohm_per_m_20c(self) -> FloatArray:
        return self.currents.ohm_per_m_20c

    @cached_property
    def ohm_per_m_hot(self) -> FloatArray:
        return parallel_resistance(resistance_at_c(self.ohm_per_m_20c, self.conductor_c), self.parallel)

    @cached_property
    def drop_v(self) -> FloatArray:
        """Lost on the round trip at the peak (the running current where there is none)."""
        return voltage_drop_v(first_known(self.peak_a, self.running_a), self.ohm_per_m_hot, self.length_m)

    @property
    def system_v(self) -> FloatArray:
        """Nominal voltage of the battery."""
        return self.currents.system_v

    @cached_property
    def behind_regulator(self) -> BoolArray:
        """Whether a regulator lies between a circuit and the battery."""
        behind = np.zeros(self.rows.size, dtype=np.bool_)
        for level in self.rows.levels[1:]:
            up = self.rows.parent[level]
            behind[level] = behind[up] | self.is_regulator[up]
        return behind

    @cached_property
    def nominal_v(self) -> FloatArray:
        """The battery's voltage; behind a regulator that of the component, else what the regulator gives out."""
        own = self.rows.components.floats("nominal_v")
        return np.where(self.behind_regulator, first_known(own, self.currents.supply_v), self.system_v)

    @cached_property
    def drop_limit_frac(self) -> FloatArray:
        critical, other = (self.column(WireDrop, n) for n in ("critical_frac", "other_frac"))
        return np.where(self.critical, critical, other)

    @cached_property
    def area_for_drop_mm2(self) -> FloatArray:
        """The smallest gauge, one of those in parallel, that keeps each circuit's drop; NaN if none or not known."""
        limit_v = self.drop_limit_frac * self.nominal_v
        return smallest_area_for_drop_mm2(
            self.peak_a / self.parallel, self.length_m, limit_v, self.conductor_c
        )

    # --- devices --------------------------------------------------------------------------------------
    @cached_property
    def bands(self) -> DeviceBands:
        """The time-current bands of every device, each from its own points; by row of the table of devices."""
        devices, points = self.rows.devices.table, self.rows.points
        return DeviceBands.build(
            devices.floats("rating_a"),
            self.opened_by_heat,
            device=place_of(devices.ids("id"), points.ids("device_id")),
            multiple=points.floats("multiple"),
            earliest_s=points.floats("opens_min_s"),
            latest_s=points.floats("opens_max_s"),
        )

    @cached_property
    def opened_by_heat(self) -> BoolArray:
        """Which devices are fuses or thermal breakers, by row of the table of devices."""
        return np.array([form in _BY_HEAT for form in self.rows.devices.table.texts("form")], dtype=np.bool_)

    @cached_property
    def source_mohm(self) -> FloatArray:
        """Resistance of the battery, or of all up to the board as measured; NaN where nothing is known of either."""
        builds = self.rows.builds
        return first_known(builds.floats("battery_model__resistance_new_mohm"), builds.floats("source_mohm"))

    @cached_property
    def upstream_rating_a(self) -> FloatArray:
        """Rating of the next device towards the battery; NaN where there is none."""
        rating = np.full(self.rows.size, np.nan)
        for level in self.rows.levels[1:]:
            up = self.rows.parent[level]
            rating[level] = first_known(self.rating_a[up], rating[up])
        return rating

    # --- ends -----------------------------------------------------------------------------------------
    @cached_property
    def studs_mm(self) -> tuple[FloatArray, FloatArray]:
        """The stud at each end; at the load the component's own where the circuit names none."""
        load = first_known(self.rows.floats("stud_load_mm"), self.rows.components.floats("stud_mm"))
        return self.rows.floats("stud_source_mm"), load

    @cached_property
    def missing(self) -> dict[str, BoolArray]:
        """What each circuit lacks that the rules need, in people's words."""
        lacks = {
            "wire type": np.isnan(self.area_mm2),
            "length": np.isnan(self.length_m),
            "running current": self.load.basis == LoadBasis.UNKNOWN,
        }
        ends = (("source", self.rows.source_ends), ("load", self.rows.load_ends))
        for (which, end), stud in zip(ends, self.studs_mm, strict=True):
            on_stud = end.is_one_of("form", _STUD_FORMS)
            lacks[f"terminal at the {which} end"] = end.row < 0
            lacks[f"stud at the {which} end"] = on_stud & np.isnan(stud)
            lacks[f"hole of the terminal at the {which} end"] = on_stud & np.isnan(end.floats("hole_mm"))
        parts = self.rows.components
        lacks["least voltage of its component"] = parts.is_one_of("role", _MUST_LIVE) & np.isnan(
            parts.floats("minimum_v")
        )
        has_device = self.rows.devices.row >= 0
        lacks["interrupt rating of the device"] = has_device & np.isnan(
            self.rows.devices.floats("interrupt_a")
        )
        lacks["source resistance of the build or its battery model"] = has_device & np.isnan(self.source_mohm)
        return {what: where & self.is_power for what, where in lacks.items()}

    def lacks(self, i: int) -> list[str]:
        """What one circuit lacks."""
        return [what for what, where in self.missing.items() if where[i]]

    @cached_property
    def fed(self) -> dict[int, list[int]]:
        """Place of each feed -> the places of the circuits it feeds."""
        fed: dict[int, list[int]] = {}
        for child, parent in enumerate(self.rows.parent.tolist()):
            if parent >= 0:
                fed.setdefault(parent, []).append(child)
        return fed

    @cached_property
    def points_of(self) -> dict[int, list[int]]:
        """Id of each device -> the rows of its own time-current points."""
        rows: dict[int, list[int]] = {}
        for k, device_id in enumerate(self.rows.points.raw["device_id"]):
            rows.setdefault(device_id, []).append(k)
        return rows

    def column(self, rule: type[Rule], name: str) -> FloatArray:
        """A rule's limit for every circuit, as its rule pack sets it."""
        key = (rule.code, name)
        if key not in self._limits:
            self._limits[key] = np.array(limits_by_pack(self.table, rule, name), dtype=np.float64)[self.pack]
        return self._limits[key]
