"""What each circuit draws, at which voltage, and what that makes of its conductor: columns for the network."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property

import numpy as np

from builds.electrical import CircuitColumns
from builds.models import CircuitRole
from inventory.models import Component, ProtectiveDevice
from shared.columns import BoolArray, FloatArray
from shared.electrical.ampacity import corrected_ampacity_a
from shared.electrical.conductors import (
    conductor_temperature_c,
    parallel_resistance,
    resistance_20c_ohm_per_m,
    resistance_at_c,
)
from shared.electrical.contacts import blade_fuse_ohm, joints_ohm
from shared.electrical.loads import effective_load
from shared.electrical.thermal import time_constant_s

#: Without a battery model on the build: a 12 V lead-acid block.
NOMINAL_V = 12.0
#: Of a step-down converter whose sheet gives none (common practice, no source).
EFFICIENCY_FRAC = 0.85
_REGULATOR = frozenset({Component.Role.REGULATOR.value})
_BLADE = frozenset({ProtectiveDevice.Form.BLADE.value})
_POWER_ROLES = (CircuitRole.MAIN, CircuitRole.FEED, CircuitRole.BRANCH)


def first_known(*columns: FloatArray) -> FloatArray:
    """The first figure each row has, of several columns."""
    out = columns[0]
    for column in columns[1:]:
        out = np.where(np.isnan(out), column, out)
    return out


@dataclass(frozen=True)
class Currents:
    """Derived columns, one entry per circuit, each worked out once; NaN where something is not known."""

    rows: CircuitColumns

    @cached_property
    def is_power(self) -> BoolArray:
        """Everything but signal and data."""
        return self.rows.role(*_POWER_ROLES)

    @cached_property
    def feeds_others(self) -> BoolArray:
        has = np.zeros(self.rows.size, dtype=np.bool_)
        # A data bus draws nothing through what it starts from.
        has[self.rows.parent[(self.rows.parent >= 0) & self.is_power]] = True
        return has

    @cached_property
    def is_regulator(self) -> BoolArray:
        return self.rows.components.is_one_of("role", _REGULATOR)

    @cached_property
    def regulates(self) -> BoolArray:
        """A regulator with something behind it, whose output voltage is known."""
        return self.is_regulator & self.feeds_others & ~np.isnan(self.rows.components.floats("output_v"))

    @cached_property
    def is_load(self) -> BoolArray:
        """Draws by itself: feeds nothing, or is a regulator that can only be judged by what it takes in."""
        return ~self.feeds_others | (self.is_regulator & ~self.regulates)

    # --- voltages ------------------------------------------------------------------------------------
    @cached_property
    def system_v(self) -> FloatArray:
        """Nominal voltage of the battery."""
        return first_known(
            self.rows.builds.floats("battery_model__nominal_v"), np.full(self.rows.size, NOMINAL_V)
        )

    @cached_property
    def supply_v(self) -> FloatArray:
        """What should arrive at each circuit's start: the battery's nominal voltage, or a regulator's output."""
        supply = self.system_v.copy()
        output = self.rows.components.floats("output_v")
        for level in self.rows.levels[1:]:
            up = self.rows.parent[level]
            regulated = self.is_regulator[up] & ~np.isnan(output[up])
            supply[level] = np.where(regulated, output[up], supply[up])
        return supply

    @cached_property
    def nominal_v(self) -> FloatArray:
        """The voltage each load's currents are meant at."""
        return first_known(self.rows.components.floats("nominal_v"), self.supply_v)

    @cached_property
    def holds_from_v(self) -> FloatArray:
        """Least input at which a regulator holds its output: as entered, else as much as it gives out.

        One that gives out more than it is fed steps up, and says nothing here (NaN) unless it was entered.
        """
        parts = self.rows.components
        output, least = parts.floats("output_v"), parts.floats("minimum_v")
        down = np.where(output <= self.supply_v, output, np.nan)
        return np.where(self.regulates, first_known(least, down), np.nan)

    @cached_property
    def efficiency_frac(self) -> FloatArray:
        given = self.rows.components.floats("efficiency_frac")
        return first_known(given, np.full(self.rows.size, EFFICIENCY_FRAC))

    # --- currents ------------------------------------------------------------------------------------
    @cached_property
    def entered_a(self) -> FloatArray:
        return self.rows.floats("continuous_a")

    @cached_property
    def own_running_a(self) -> FloatArray:
        """As entered on the circuit, else what its component draws; a feed's component is no load of its own."""
        of_component = np.where(self.feeds_others, np.nan, self.rows.components.floats("nominal_a"))
        return first_known(self.entered_a, of_component)

    @cached_property
    def peak_a(self) -> FloatArray:
        """A component's peak belongs to the component's running current, not to a figure entered by hand."""
        entered, parts = self.rows.floats("peak_a"), self.rows.components
        of_component = first_known(parts.floats("peak_a"), parts.floats("stall_a"))
        by_hand = ~np.isnan(self.entered_a) | self.feeds_others
        peak = np.where(by_hand, entered, first_known(entered, of_component))
        return np.where(peak > self.own_running_a, peak, self.own_running_a)

    @cached_property
    def limit_a(self) -> FloatArray:
        """The limit set in the motor's controller; infinite where none is."""
        limit = self.rows.floats("limit_a")
        return np.where(np.isnan(limit), np.inf, limit)

    @cached_property
    def through_a(self) -> FloatArray:
        """Running current through each circuit: its own, else the sum of what it feeds, as the battery sees it."""
        total = np.zeros(self.rows.size)
        parent = self.rows.parent
        behind = (parent >= 0) & (self.is_regulator[parent] if parent.size else False)
        efficiency = np.where(behind, self.efficiency_frac[parent] if parent.size else 1.0, 1.0)
        gain = np.where(behind, self.nominal_v / (self.system_v * efficiency), 1.0)
        draws = np.zeros(self.rows.size)
        for level in reversed(self.rows.levels):
            own = self.own_running_a[level]
            draws[level] = np.where(
                self.feeds_others[level] & np.isnan(own), total[level], np.nan_to_num(own)
            )
            fed = level[parent[level] >= 0]
            np.add.at(total, parent[fed], draws[fed] * gain[fed])
        return draws

    # --- resistances ---------------------------------------------------------------------------------
    @cached_property
    def conductor_c(self) -> FloatArray:
        """Steady temperature of each conductor at the current that heats it, by the usual tables."""
        area, rows = self.rows.wires.floats("area_mm2"), self.rows
        class_c = rows.wires.floats("insulation_class_c")
        ambient = first_known(rows.floats("ambient_c"), rows.builds.floats("ambient_c"))
        bearable = corrected_ampacity_a(area, class_c, ambient, rows.floats("bundle_count"))
        load = effective_load(
            self.through_a,
            self.peak_a,
            rows.floats("duty_frac"),
            rows.floats("cycle_s"),
            time_constant_s(area),
        )
        warm = conductor_temperature_c(load.current_a, bearable * rows.floats("parallel"), ambient, class_c)
        return np.fmin(first_known(warm, class_c), np.fmax(class_c, ambient))

    @cached_property
    def ohm_per_m_20c(self) -> FloatArray:
        """One conductor, cold."""
        wires = self.rows.wires
        solid = wires.floats("strands") == 1
        return resistance_20c_ohm_per_m(
            wires.floats("area_mm2"), wires.floats("resistance_mohm_per_m"), stranded=~solid
        )

    @cached_property
    def pole_ohm(self) -> FloatArray:
        """One pole's conductors, as warm as they get; without joints."""
        return self.pole_ohm_at(self.conductor_c)

    def pole_ohm_at(self, temperature_c: FloatArray) -> FloatArray:
        """One pole's conductors at a temperature; without joints."""
        per_m = resistance_at_c(self.ohm_per_m_20c, temperature_c)
        length = self.rows.floats("length_m")
        return parallel_resistance(per_m, self.rows.floats("parallel")) * np.where(length > 0, length, np.nan)

    @cached_property
    def joints_ohm(self) -> FloatArray:
        """All joints of a circuit, both poles."""
        return joints_ohm(self.rows.floats("joints_mohm"))

    @cached_property
    def has_device(self) -> BoolArray:
        return self.rows.devices.row >= 0

    @cached_property
    def is_blade(self) -> BoolArray:
        return self.rows.devices.is_one_of("form", _BLADE)

    @cached_property
    def device_ohm(self) -> FloatArray:
        """The protective device: its own figure, else a blade fuse's by its rating, else nothing."""
        given = self.rows.devices.floats("resistance_mohm") / 1e3
        usual = np.where(self.is_blade, blade_fuse_ohm(self.rows.devices.floats("rating_a")), 0.0)
        return np.where(self.has_device, first_known(given, usual, np.zeros(self.rows.size)), 0.0)
