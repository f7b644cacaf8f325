"""Protective devices and short-circuit withstand against published figures."""

from __future__ import annotations

import numpy as np
import pytest

from shared.electrical.ampacity import table_ampacity_a
from shared.electrical.conductors import path_resistance_ohm, resistance_20c_ohm_per_m
from shared.electrical.gauges import awg_area_mm2, awg_diameter_mm, mm2_from_cmil
from shared.electrical.protection import (
    ac4313_protector_a,
    clears_in_time,
    least_interrupt_a,
    opening_time_s,
    prospective_fault_a,
    rating_check,
    small_conductor_limit_a,
)
from shared.electrical.tables.protection import CURVES
from shared.electrical.tables.thermal import ADIABATIC_K
from shared.electrical.thermal import (
    adiabatic_k,
    fusing_current_a,
    fusing_current_steady_a,
    overload_time_s,
    time_constant_s,
    withstand_current_a,
    withstand_i2t_a2s,
    withstand_time_s,
)


@pytest.mark.parametrize(("temps", "printed"), [(temps, k) for temps, (k, _) in ADIABATIC_K.items()])
def test_adiabatic_factor(temps, printed):
    """BS 7671 Tables 43.1 / 54 (as IEC 60364-5-54): 115 and 143; 141 is from memory."""
    assert float(adiabatic_k(*temps)) == pytest.approx(printed, rel=0.003)


def test_hot_marine_lead_has_less_to_give():
    """k of a 105 C PVC lead already at its limit is 87, not 115 (IEC 60949 form, computed)."""
    assert float(adiabatic_k(105.0, 160.0)) == pytest.approx(87.4, rel=0.003)


@pytest.mark.parametrize(
    ("label", "i2t", "one_s", "tenth_s", "s_at_300", "preece"),
    # k = 115 and I = 10244 d^1.5 worked out by hand for the AWG areas.
    [
        ("22", 1401, 37.4, 118, 0.016, 41.3),
        ("18", 8959, 94.7, 299, 0.10, 82.9),
        ("14", 57267, 239, 757, 0.64, 166),
        ("12", 144787, 381, 1200, 1.6, 235),
        ("6", 2339992, 1530, 4840, 26, 668),
    ],
)
def test_short_time_withstand_by_gauge(label, i2t, one_s, tenth_s, s_at_300, preece):
    area = awg_area_mm2(label)
    assert float(withstand_i2t_a2s(area)) == pytest.approx(i2t, rel=1e-3)
    assert float(withstand_current_a(1.0, area)) == pytest.approx(one_s, rel=2e-3)
    assert float(withstand_current_a(0.1, area)) == pytest.approx(tenth_s, rel=5e-3)
    assert float(withstand_time_s(300.0, area)) == pytest.approx(s_at_300, rel=0.04)
    assert float(fusing_current_steady_a(awg_diameter_mm(label))) == pytest.approx(preece, rel=3e-3)


def test_preece_forum_example():
    """Forum 'Current-temperature equation': copper 0.0524 in: 123 A; true 16 AWG (0.0508 in) gives 117 A."""
    assert float(fusing_current_steady_a(0.0524 * 25.4)) == pytest.approx(123, rel=5e-3)
    assert float(fusing_current_steady_a(0.0508 * 25.4)) == pytest.approx(117, rel=5e-3)


def test_onderdonk_with_the_right_sign():
    """Page 'fusing current' of a circuit-board toolkit: log10(1 + (Tm - Ta) / (234 + Ta)) / (33 t).

    16 AWG (2581 cmil), 5 s, 25 C: 168.9 A (a forum prints 178 A: sign error). 14 AWG at 400 A: 2.26 s.
    """
    area = float(mm2_from_cmil(2581))
    assert float(fusing_current_a(area, 5.0)) == pytest.approx(168.9, rel=5e-3)
    assert float(fusing_current_a(awg_area_mm2("14"), 2.26)) == pytest.approx(400, rel=5e-3)


def test_onderdonk_and_the_iec_form_are_one_equation():
    """In mm2 and natural logarithm Onderdonk's constant is 226.4, against 226 in IEC 60949."""
    k = float(fusing_current_a(1.0, 1.0)) / np.sqrt(np.log((234 + 1083) / (234 + 25)))
    assert k == pytest.approx(226.4, rel=5e-4)


@pytest.mark.parametrize(
    ("ratio", "over_tau", "seconds_12_awg"),
    # First-order model from memory, t / tau = ln(r^2 / (r^2 - 1)), worked out by hand; 12 AWG tau 74 s.
    [
        (1.1, 1.75, 130),
        (1.25, 1.02, 75.6),
        (1.5, 0.588, 43.5),
        (2.0, 0.288, 21.3),
        (3.0, 0.118, 8.72),
        (5.0, 0.0408, 3.02),
    ],
)
def test_overload_time_from_cold(ratio, over_tau, seconds_12_awg):
    assert float(overload_time_s(ratio, 1.0)) == pytest.approx(over_tau, rel=5e-3)
    assert float(overload_time_s(ratio, time_constant_s(awg_area_mm2("12")))) == pytest.approx(
        seconds_12_awg, rel=5e-3
    )


def test_boat_ceiling_is_not_our_limit():
    """33 CFR 183.455(c)(1): below 50 V up to 150 % of Table 5: 12 AWG 67.5 A. Ours: 100 %."""
    ampacity = table_ampacity_a(awg_area_mm2("12"), 105.0)
    assert float(ampacity) * 1.5 == 67.5
    assert int(rating_check(67.5, ampacity, allowed_frac=1.5)) == 1
    assert int(rating_check(67.5, ampacity)) == 0


@pytest.mark.parametrize(
    ("label", "printed"),
    # NEC 240.4(D); 18 and 16 AWG from memory.
    [("18", 7), ("16", 10), ("14", 15), ("12", 20), ("10", 30)],
)
def test_small_conductors(label, printed):
    assert float(small_conductor_limit_a(awg_area_mm2(label))) == printed


@pytest.mark.parametrize(
    ("label", "breaker", "fuse"),
    # FAA AC 43.13-1B Table 11-3, page 11-15.
    [
        ("22", 5, 5),
        ("20", 7.5, 5),
        ("18", 10, 10),
        ("14", 20, 15),
        ("12", 30, 20),
        ("10", 40, 30),
        ("2", 125, 100),
    ],
)
def test_aircraft_protectors(label, breaker, fuse):
    assert float(ac4313_protector_a(awg_area_mm2(label))) == breaker
    assert float(ac4313_protector_a(awg_area_mm2(label), "fuse")) == fuse


@pytest.mark.parametrize(
    ("cranking_a", "main_a", "branch_a"),
    # ABYC E-11 Table V.A.
    [(650, 1500, 750), (651, 3000, 1500), (1100, 3000, 1500), (1101, 5000, 2500)],
)
def test_interrupt_rating_by_battery(cranking_a, main_a, branch_a):
    assert float(least_interrupt_a(cranking_a)) == main_a
    assert float(least_interrupt_a(cranking_a, "branch")) == branch_a


def test_blade_fuse_conventional_points():
    """ISO 8820-3: carries 1.10 In for 100 h; opens at 1.35 In between 0.75 s and 600 s."""
    band = opening_time_s(np.array([1.10, 1.35]), "blade")
    assert band.min_s.tolist() == [np.inf, 0.75]
    assert band.max_s.tolist() == [np.inf, 600.0]


@pytest.mark.parametrize(
    ("multiple", "shortest", "longest"),
    # From memory: ISO 8820-3, SAE J1284, J2077.
    [(1.6, 0.25, 50), (2.0, 0.15, 5), (3.5, 0.04, 0.5), (6.0, 0.02, 0.1)],
)
def test_blade_fuse_points_from_memory(multiple, shortest, longest):
    band = opening_time_s(multiple, CURVES["blade"])
    assert (float(band.min_s), float(band.max_s)) == (shortest, longest)


def test_long_thin_wires_need_the_small_fuse():
    """12.6 V, 15 mohm, 22 AWG (54.02 ohm/km): 1 m gives 102 A, 5 m gives 23 A; worked out by hand."""
    ohm_per_m = resistance_20c_ohm_per_m(awg_area_mm2("22"))
    far = [
        float(prospective_fault_a(12.6, 15.0, 1000 * path_resistance_ohm(ohm_per_m, m))) for m in (1.0, 5.0)
    ]
    assert far == pytest.approx([102, 22.7], rel=0.01)


def test_branch_blade_clears_before_the_thermal_main():
    """40 A blade at 240 A: 0.1 s; 120 A thermal main at 200 %: 10 s at least (both curves from memory)."""
    branch = opening_time_s(240 / 40, "blade")
    main = opening_time_s(240 / 120, "thermal_main_120")
    assert int(clears_in_time(branch.max_s, main.min_s)) == 1
