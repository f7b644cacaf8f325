"""Wires under load, on both sides of published limits."""

from __future__ import annotations

from typing import Any

import pytest

from tests.compliance.wiring_shop import WiringShop

pytestmark = pytest.mark.django_db


@pytest.fixture
def shop() -> WiringShop:
    return WiringShop.open()


# 33 CFR 183.425 Table 5: 12 AWG of 105 C carries 45 A at 30 C; with 4 to 6 conductors bundled 60 % of it (UL 1426
# boat cable: 27 A), with 7 to 24 half of it (22.5 A). 75 C insulation: 25 A. 14 AWG of 105 C: 35 A.
@pytest.mark.parametrize(
    ("size", "class_c", "bundle", "limit_a"),
    [("12 AWG", 105, 2, 45.0), ("12 AWG", 105, 6, 27.0), ("12 AWG", 105, 8, 22.5), ("12 AWG", 75, 2, 25.0),
     ("14 AWG", 105, 2, 35.0), ("4 AWG", 105, 2, 160.0)],
)  # fmt: skip
def test_ampacity_holds_at_the_published_figure_and_fails_above(
    shop: WiringShop, size: str, class_c: float, bundle: int, limit_a: float
) -> None:
    values: dict[str, Any] = {
        "wire": shop.wire(size, class_c), "bundle_count": bundle, "device": shop.device(limit_a), "length_m": 0.1,
    }  # fmt: skip
    at = shop.circuit(continuous_a=limit_a, **values)
    above = shop.circuit(continuous_a=limit_a + 0.1, **values)
    assert "wire-ampacity" not in shop.found(at)
    finding = shop.found(above)["wire-ampacity"]
    assert finding.severity == "fix"
    assert finding.limit == pytest.approx(limit_a)
    assert finding.value == pytest.approx(limit_a + 0.1)


def test_ambient_lowers_what_a_wire_carries(shop: WiringShop) -> None:
    # 33 CFR 183.425 note: in an engine space (50 C) 85 % of the 105 C column, 38 A for 12 AWG.
    cool_enough = shop.circuit(ambient_c=50.0, continuous_a=38.0, device=None)
    too_much = shop.circuit(ambient_c=50.0, continuous_a=39.0, device=None)
    assert "wire-ampacity" not in shop.found(cool_enough)
    assert shop.found(too_much)["wire-ampacity"].limit == pytest.approx(45 * 0.85, rel=0.01)


def test_parallel_conductors_share(shop: WiringShop) -> None:
    assert "wire-ampacity" not in shop.found(shop.circuit(continuous_a=90.0, parallel=2))
    assert shop.found(shop.circuit(continuous_a=90.1, parallel=2))["wire-ampacity"].limit == pytest.approx(90)


def test_pulses_count_by_their_rms(shop: WiringShop) -> None:
    # Worked example of a sizing page for intermittent loads: 840 A for 6 s and 200 A for 54 s heat like 326.4 A.
    # Table 5: 2/0 AWG of 105 C carries 330 A, 1/0 AWG 285 A.
    pulses: dict[str, Any] = {"continuous_a": 200.0, "peak_a": 840.0, "duty_frac": 0.1, "cycle_s": 60.0}
    thick = shop.circuit(wire=shop.wire("2/0 AWG"), **pulses)
    thin = shop.circuit(wire=shop.wire("1/0 AWG"), **pulses)
    assert "wire-ampacity" not in shop.found(thick)
    finding = shop.found(thin)["wire-ampacity"]
    assert finding.value == pytest.approx(326.4, rel=1e-3)
    assert finding.limit == pytest.approx(285)


def test_a_peak_of_unknown_duty_is_taken_to_last(shop: WiringShop) -> None:
    finding = shop.found(shop.circuit(continuous_a=10.0, peak_a=50.0, device=shop.device(45.0)))[
        "wire-ampacity"
    ]
    assert finding.value == pytest.approx(50)
    assert "as if it lasted" in finding.message


def test_a_slow_pulse_heats_more_than_its_rms(shop: WiringShop) -> None:
    # 12 AWG has a time constant of about 74 s (heat-balance model): over 740 s it follows the pulse.
    slow = shop.circuit(continuous_a=10.0, peak_a=60.0, duty_frac=0.3, cycle_s=740.0)
    quick = shop.circuit(continuous_a=10.0, peak_a=60.0, duty_frac=0.3, cycle_s=10.0)
    assert shop.found(slow)["wire-ampacity"].value == pytest.approx(60, rel=0.05)
    assert "wire-ampacity" not in shop.found(quick)  # RMS 33.9 A


def test_a_wire_no_table_reaches_cannot_be_judged(shop: WiringShop) -> None:
    circuit = shop.circuit(wire=shop.wire("28 AWG"), continuous_a=0.2, device=shop.device(1.0))
    assert shop.said(circuit) == {"wire-ampacity": "unknown"}


# Marine 3 % chart after ABYC E-11, round-trip feet: 10 A over 20 ft asks for 12 AWG, over 10 ft for 14 AWG.
@pytest.mark.parametrize(
    ("size", "round_trip_ft", "fits"), [("12 AWG", 20, True), ("14 AWG", 20, False), ("14 AWG", 10, True)]
)
def test_critical_drop_agrees_with_the_marine_chart(
    shop: WiringShop, size: str, round_trip_ft: float, fits: bool
) -> None:
    length_m = round_trip_ft / 2 * 0.3048
    circuit = shop.circuit(wire=shop.wire(size), length_m=length_m, critical=True)
    said = shop.said(circuit)
    assert said == ({} if fits else {"wire-drop": "fix"})


def test_drop_uses_the_resistance_of_the_hot_wire(shop: WiringShop) -> None:
    # FAA AC 43.13-1B CHG 1 Table 11-7 row 3: 2.02 ohm/kft, 88 ft, 20 A give 3.555 V at 20 C; par. 11-66d for the
    # hot wire. At 30 C ambient 20 A of 45 A bring it to 30 + 75 x (20/45)^2 = 44.8 C: 3.902 V.
    wire = shop.wire("12 AWG", resistance_mohm_per_m=2.02 / 304.8 * 1000)
    circuit = shop.circuit(wire=wire, length_m=44 * 0.3048, continuous_a=20.0, device=shop.device(25.0))
    finding = shop.found(circuit)["wire-drop"]
    assert finding.value == pytest.approx(3.555 * (234.5 + 44.8148) / 254.5, rel=1e-3)
    assert finding.limit == pytest.approx(1.2)  # 10 % of 12 V


def test_drop_at_a_passing_peak_is_only_watched_unless_critical(shop: WiringShop) -> None:
    # Cold 12 AWG, 10 m: 0.106 ohm out and back; 2 A lose 0.2 V, a peak of 15 A more than 1.5 V.
    peak: dict[str, Any] = {
        "length_m": 10.0,
        "continuous_a": 2.0,
        "peak_a": 15.0,
        "duty_frac": 0.1,
        "cycle_s": 5.0,
    }
    assert shop.said(shop.circuit(**peak)) == {"wire-drop": "watch"}
    assert shop.said(shop.circuit(critical=True, **peak)) == {"wire-drop": "fix"}


def test_a_missing_figure_is_said_once_and_by_one_rule(shop: WiringShop) -> None:
    bare = shop.circuit(wire=None, length_m=None, continuous_a=None, terminal_source=None, terminal_load=None)
    found = shop.found(bare)
    assert set(found) == {"circuit-unknown"}
    message = found["circuit-unknown"].message
    for what in ("wire type", "length", "running current", "terminal at the source end"):
        assert what in message


def test_a_component_says_what_the_circuit_does_not(shop: WiringShop) -> None:
    motor = shop.component(nominal_a=46.0)
    circuit = shop.circuit(continuous_a=None, component=motor, device=shop.device(60.0), length_m=0.2)
    assert shop.found(circuit)["wire-ampacity"].value == pytest.approx(46)


def test_a_signal_circuit_needs_none_of_it(shop: WiringShop) -> None:
    signal = shop.circuit(role="signal", wire=None, device=None, length_m=None, continuous_a=None,
                          terminal_source=None, terminal_load=None)  # fmt: skip
    assert shop.said(signal) == {}


def test_the_working_can_be_followed(shop: WiringShop) -> None:
    finding = shop.found(shop.circuit(continuous_a=30.0, bundle_count=6))["wire-ampacity"]
    steps = {step["label"]: step for step in finding.working["steps"]}
    assert steps["Corrected ampacity"]["result"] == pytest.approx(27.0)
    assert "6 conductors bundled give 0.6" in steps["Corrected ampacity"]["numbers"]
    assert "33 CFR 183.425" in finding.working["source"]
    assert finding.working["limit"]["value"] == pytest.approx(27.0)
