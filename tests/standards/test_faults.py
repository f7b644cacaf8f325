"""Fault currents, withstand and selectivity against worked examples and published figures."""

from __future__ import annotations

import numpy as np
import pytest

from shared.electrical.arrays import Verdict
from shared.electrical.bands import DeviceBands
from shared.electrical.conductors import path_resistance_ohm, resistance_20c_ohm_per_m
from shared.electrical.faults import (
    FaultRange,
    bearable_s,
    fault_range,
    let_through,
    selectivity,
    selectivity_check,
)
from shared.electrical.gauges import awg_area_mm2
from shared.electrical.tables.protection import CURVES


def bands_of(*devices: tuple[float, str, bool]) -> DeviceBands:
    """Devices with the points of a family: rating, family, whether heat opens it."""
    rows = [
        (n, point.multiple, point.min_s, point.max_s)
        for n, (_, family, _) in enumerate(devices)
        for point in CURVES[family].points
    ]
    rows += [(n, CURVES[family].holds_multiple, np.nan, np.nan) for n, (_, family, _) in enumerate(devices)]
    device, multiple, low, high = (np.array(column, dtype=np.float64) for column in zip(*rows, strict=True))
    return DeviceBands.build(
        np.array([rating for rating, _, _ in devices]), np.array([by_heat for _, _, by_heat in devices]),
        device=device.astype(np.int64), multiple=multiple, earliest_s=low, latest_s=high,
    )  # fmt: skip


def long_lead(length_m: float) -> FaultRange:
    """22 AWG, 54.02 ohm/km stranded at 20 C (ASTM B258 x 1.02), behind 12.6 V and 15 mohm."""
    path = 1000 * path_resistance_ohm(resistance_20c_ohm_per_m(awg_area_mm2("22")), length_m)
    return fault_range(12.6, 15.0, path, 12.6, 15.0, path)


@pytest.mark.parametrize(("length_m", "amps"), [(1.0, 102.0), (5.0, 22.7)])
def test_fault_current_at_the_far_end(length_m: float, amps: float) -> None:
    """Ohm's law by hand: 12.6 V / (15 + 108) mohm and / (15 + 540) mohm."""
    assert float(long_lead(length_m).highest_a) == pytest.approx(amps, rel=0.01)


def test_long_thin_wires_need_the_small_fuse() -> None:
    """At 23 A a 5 A blade fuse is at 4.5 x, a 10 A one at 2.3 x: within 0.5 s, or only after some seconds.

    Blade fuse points at 350 and 200 %: SAE J1284, J2077, from memory.
    """
    bands = bands_of((5.0, "blade", True), (10.0, "blade", True))
    far = float(long_lead(5.0).highest_a)
    opens = bands.latest_s(np.array([0, 1]), np.array([far, far]))
    assert opens[0] < 0.5
    assert 2.0 < opens[1] < 5.0


@pytest.mark.parametrize(
    ("label", "i2t"), [("22", 1401.0), ("18", 8959.0), ("14", 57267.0), ("12", 144787.0), ("10", 366065.0)]
)
def test_what_an_insulated_wire_bears_is_the_adiabatic_equation(label: str, i2t: float) -> None:
    """k = 115 (70 to 160 C, BS 7671 Table 43.1, seen): I2t by gauge worked out by hand, here for 0.1 s."""
    area = awg_area_mm2(label)
    amps = (i2t / 0.1) ** 0.5
    assert float(bearable_s(amps, area, 70.0, 30.0, 1.0)) == pytest.approx(0.1, rel=5e-3)


def test_cross_linked_insulation_bears_more() -> None:
    """k = 143 for 90 to 250 C (BS 7671 Table 43.1, seen); from 125 to 250 C it is 226 sqrt(ln(484.5/359.5)) = 123.5."""
    amps = 123.5 * 3.3088 / 1.0**0.5
    assert float(bearable_s(amps, 3.3088, 125.0, 30.0, 1.0)) == pytest.approx(1.0, rel=5e-3)


def test_a_wire_bears_the_conventional_overload() -> None:
    """IEC 60364-4-43 433.1: I2 <= 1.45 Iz. A blade fuse (I2 = 1.35 In, ISO 8820-3, seen) up to 1.07 Iz complies."""
    assert np.isinf(bearable_s(1.45 * 45.0, 3.3088, 105.0, 30.0, 45.0))
    assert float(bearable_s(1.5 * 45.0, 3.3088, 105.0, 30.0, 45.0)) < 600.0


def test_a_fuse_protects_what_a_slow_breaker_of_the_same_rating_does_not() -> None:
    """30 A on 14 AWG at 180 A: the blade fuse takes 0.1 s, the thermal breaker 4 s; k2S2 / I2 with k 87.4 is 1.02 s.

    Opening times at 600 % from memory (SAE J1284; 120 A thermal class), k by IEC 60949.
    """
    bands = bands_of((30.0, "blade", True), (30.0, "thermal_main_120", True))
    at = np.array([180.0, 180.0])
    worst = let_through(bands, np.array([0, 1]), FaultRange(at, at), awg_area_mm2("14"), 105.0, 30.0, 35.0)
    assert worst.verdict.tolist() == [Verdict.HOLDS, Verdict.FAILS]
    assert worst.opens_s == pytest.approx([0.1, 4.0])
    assert worst.bears_s == pytest.approx([1.02, 1.02], rel=0.01)


def test_a_branch_blade_is_selective_with_the_thermal_main() -> None:
    """40 A blade at 240 A clears in 0.1 s; the 120 A thermal main needs 10 s or more at 200 % (both from memory)."""
    bands = bands_of((40.0, "blade", True), (120.0, "thermal_main_120", True))
    pair = selectivity(bands, np.array([0]), np.array([1]))
    assert pair.limit_a[0] == np.inf
    assert selectivity_check(pair, np.array([600.0])).tolist() == [Verdict.HOLDS]


def test_fuses_of_one_family_need_more_than_two_to_one() -> None:
    """10 A behind 20 A: beyond 22 A the upstream one may open after 0.75 s, and the other takes up to 3.4 s.

    Behind 30 A it is done (0.36 s at 40.5 A) before that one may open. Points of ISO 8820-3 and SAE J1284: 110 and
    135 % seen, others from memory.
    """
    bands = bands_of((10.0, "blade", True), (20.0, "blade", True), (30.0, "blade", True))
    pair = selectivity(bands, np.array([0, 0]), np.array([1, 2]))
    assert pair.limit_a == pytest.approx([22.0, np.inf])
    assert pair.known_a == pytest.approx([120.0, 180.0])
