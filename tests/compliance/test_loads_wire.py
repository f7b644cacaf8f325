"""The wire rules on both sides of their limits, with figures that can be checked in the tables they cite."""

from __future__ import annotations

import pytest

from tests.compliance.load_shop import LoadShop

pytestmark = pytest.mark.django_db


@pytest.fixture
def shop() -> LoadShop:
    return LoadShop()


def test_a_careful_circuit_is_not_flagged(shop):
    shop.circuit()
    assert shop.found() == []


def test_12_awg_105_c_carries_45_a(shop):
    """33 CFR 183.425 Table 5: 12 AWG, 105 C column, 45 A."""
    shop.circuit(continuous_a=45.0, device=shop.device(60.0), length_m=0.1)
    assert "wire-ampacity" not in shop.said()


def test_12_awg_105_c_does_not_carry_46_a(shop):
    shop.circuit(continuous_a=46.0, device=shop.device(60.0), length_m=0.1)
    finding = next(f for f in shop.found() if f.rule_code == "wire-ampacity")
    assert (finding.value, finding.limit, finding.unit) == (46.0, 45.0, "A")
    assert finding.severity == "fix"
    assert "46 A" in finding.message
    assert "45 A" in finding.message


@pytest.mark.parametrize(("amps", "flagged"), [(27.0, False), (27.1, True)])
def test_six_in_a_bundle_leave_27_a(shop, amps, flagged):
    """ABYC E-11: 4 to 6 conductors x 0.6; 0.6 x 45 A = 27 A."""
    shop.circuit(continuous_a=amps, bundle_count=6, device=shop.device(40.0), length_m=0.1)
    assert ("wire-ampacity" in shop.said()) is flagged


@pytest.mark.parametrize(("amps", "flagged"), [(38.4, False), (38.7, True)])
def test_50_c_leaves_86_percent(shop, amps, flagged):
    """sqrt((105 - 50) / (105 - 30)) = 0.856, the 50 C cell of CEC Table 5A rounded; 0.8563 x 45 A = 38.5 A."""
    shop.circuit(continuous_a=amps, ambient_c=50.0, device=shop.device(60.0), length_m=0.1)
    assert ("wire-ampacity" in shop.said()) is flagged


@pytest.mark.parametrize(("amps", "flagged"), [(90.0, False), (91.0, True)])
def test_two_in_parallel_carry_twice_as_much(shop, amps, flagged):
    shop.circuit(continuous_a=amps, parallel=2, device=shop.device(120.0), length_m=0.1)
    assert ("wire-ampacity" in shop.said()) is flagged


@pytest.mark.parametrize(("cycle_s", "flagged"), [(20.0, False), (None, True)])
def test_peaks_count_by_their_heat_when_the_cycle_is_short(shop, cycle_s, flagged):
    """sqrt(60^2 x 0.25 + 10^2 x 0.75) = 31.2 A; without a cycle the 60 A are taken as if they lasted."""
    shop.circuit(
        continuous_a=10.0,
        peak_a=60.0,
        duty_frac=0.25,
        cycle_s=cycle_s,
        device=shop.device(60.0),
        length_m=0.1,
    )
    told = {f.rule_code: f for f in shop.found()}
    assert ("wire-ampacity" in told) is flagged
    if flagged:
        assert told["wire-ampacity"].value == 60.0


# 12 AWG stranded: 5.211 x 1.02 = 5.315 ohm/km at 20 C (ASTM B258 area, IEC 60028 copper). 10 A of 45 A warm the wire
# by (10/45)^2 x 75 K = 3.7 K to 33.7 C, so 5.315 x (234.5 + 33.7) / 254.5 = 5.601 ohm/km. 0.36 V / (10 A x 2 x
# 5.601 mohm/m) = 3.214 m.
@pytest.mark.parametrize(
    ("length_m", "critical", "flagged"),
    [(3.20, True, False), (3.23, True, True), (10.70, False, False), (10.73, False, True)],
)
def test_drop_of_three_and_ten_percent(shop, length_m, critical, flagged):
    """ABYC E-11: 3 % of 12 V for critical circuits, 10 % for the others."""
    shop.circuit(length_m=length_m, critical=critical)
    assert ("wire-drop" in shop.said()) is flagged


def test_drop_says_what_is_lost_and_what_may_be(shop):
    shop.circuit(length_m=5.0, critical=True)
    finding = shop.one()
    assert finding.value == pytest.approx(0.560, abs=0.001)
    assert (finding.limit, finding.unit) == (pytest.approx(0.36), "V")
    assert finding.working["steps"]
    assert "ABYC E-11" in finding.working["source"]


def test_drop_is_judged_at_the_peak(shop):
    shop.circuit(continuous_a=2.0, peak_a=20.0, duty_frac=0.1, cycle_s=5.0, length_m=3.0, critical=True)
    assert shop.said() == {"wire-drop": "fix"}


def test_a_wire_no_table_reaches_is_said(shop):
    shop.circuit(wire=shop.wire("28 AWG"), continuous_a=0.1, device=shop.device(1.0))
    assert "unknown" in shop.said().values()


@pytest.mark.parametrize(
    ("lacking", "word"), [("length_m", "length"), ("continuous_a", "current"), ("wire", "wire")]
)
def test_a_missing_figure_is_never_silent(shop, lacking, word):
    shop.circuit(**{lacking: None})
    finding = shop.one()
    assert (finding.rule_code, finding.severity) == ("circuit-unknown", "unknown")
    assert word in finding.message


def test_all_that_is_missing_is_one_finding(shop):
    shop.circuit(length_m=None, continuous_a=None, wire=None)
    assert len(shop.found()) == 1


def test_signal_circuits_need_no_figures(shop):
    shop.circuit(role="signal", wire=None, length_m=None, continuous_a=None, device=None)
    assert shop.found() == []
