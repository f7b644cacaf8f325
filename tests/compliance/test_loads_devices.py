"""Protective devices, terminals and feeds, on both sides of published limits."""

from __future__ import annotations

import pytest

from tests.compliance.wiring_shop import WiringShop

pytestmark = pytest.mark.django_db


@pytest.fixture
def shop() -> WiringShop:
    return WiringShop.open()


# NEC 240.4: the device protects the conductor at its ampacity (45 A for 12 AWG, 33 CFR 183.425 Table 5); 33 CFR
# 183.455(c)(1) bears 1.5 x 45 = 67.5 A below 50 V and no more.
@pytest.mark.parametrize(
    ("rating_a", "severity"), [(45.0, None), (46.0, "fix"), (67.5, "fix"), (68.0, "stop")]
)
def test_a_device_is_not_larger_than_its_wire_bears(
    shop: WiringShop, rating_a: float, severity: str | None
) -> None:
    said = shop.said(shop.circuit(device=shop.device(rating_a)))
    assert said.get("device-rating") == severity


# NEC 210.20(A): the device has 125 % of the continuous load, so 16 A behind 20 A.
@pytest.mark.parametrize(("running_a", "severity"), [(16.0, None), (16.1, "watch")])
def test_a_device_carries_four_fifths_of_its_rating(
    shop: WiringShop, running_a: float, severity: str | None
) -> None:
    assert shop.said(shop.circuit(continuous_a=running_a)).get("device-load") == severity


# ISO 8820-3 blade fuses hold 110 % and open at 135 % between 0.75 s and 600 s; 0.15 s to 5 s at 200 % from memory.
BLADE = ((1.10, None, None), (1.35, 0.75, 600.0), (2.0, 0.15, 5.0))


@pytest.mark.parametrize(("pulse_s", "severity"), [(0.15, None), (0.2, "watch")])
def test_a_peak_must_end_before_the_device_may_open(
    shop: WiringShop, pulse_s: float, severity: str | None
) -> None:
    circuit = shop.circuit(
        device=shop.device(10.0, points=BLADE),
        continuous_a=2.0,
        peak_a=20.0,
        duty_frac=pulse_s / 10,
        cycle_s=10.0,
    )
    said = shop.said(circuit)
    assert said.get("device-peak") == severity
    assert "device-load" not in said


def test_a_device_that_holds_the_peak_is_not_named(shop: WiringShop) -> None:
    device = shop.device(10.0, points=BLADE)
    circuit = shop.circuit(device=device, continuous_a=2.0, peak_a=11.0, duty_frac=0.2, cycle_s=600.0)
    assert "device-peak" not in shop.found(circuit)


def test_without_points_of_its_own_no_curve_is_guessed(shop: WiringShop) -> None:
    circuit = shop.circuit(
        device=shop.device(10.0), continuous_a=2.0, peak_a=20.0, duty_frac=0.1, cycle_s=10.0
    )
    assert "device-peak" not in shop.found(circuit)


# I_f = V / R: 12.6 V over 15 mohm is 840 A.
@pytest.mark.parametrize(("interrupt_a", "severity"), [(840.0, None), (839.0, "stop")])
def test_a_device_must_break_the_fault_current(interrupt_a: float, severity: str | None) -> None:
    shop = WiringShop.open(source_mohm=15.0)
    shop.build.battery_model = shop.battery(full_rest_v=12.6)
    shop.build.save()
    finding = shop.found(shop.circuit(device=shop.device(20.0, interrupt_a=interrupt_a))).get(
        "device-interrupt"
    )
    assert (finding.severity if finding else None) == severity
    if finding:
        assert finding.value == pytest.approx(840)


def test_without_a_measured_source_the_battery_sheet_gives_the_largest_fault() -> None:
    shop = WiringShop.open(source_mohm=None)
    shop.build.battery_model = shop.battery(full_rest_v=12.8, resistance_new_mohm=16.0)
    shop.build.save()
    finding = shop.found(shop.circuit(device=shop.device(20.0, interrupt_a=799.0)))["device-interrupt"]
    assert finding.value == pytest.approx(800)
    assert "battery's sheet only" in finding.working["steps"][0]["numbers"]


def test_wire_before_a_device_lowers_the_fault(shop: WiringShop) -> None:
    # 20 mohm and 12.8 V: 640 A at the board. 2 m of 12 AWG (NEC Chapter 9 Table 8: 1.62 ohm/kft stranded at 20 C,
    # 5.31 mohm/m) out and back add 21.3 mohm, its four joints 2 mohm: 296 A.
    feed = shop.circuit(role="feed", length_m=2.0)
    branch = shop.circuit(fed_from=feed, device=shop.device(15.0, interrupt_a=290.0), continuous_a=5.0)
    finding = shop.found(branch)["device-interrupt"]
    assert finding.value == pytest.approx(12.8 / 0.04326, rel=2e-3)


def test_neither_source_nor_interrupt_rating_is_ever_silence() -> None:
    shop = WiringShop.open(source_mohm=None)
    found = shop.found(shop.circuit(device=shop.device(20.0, interrupt_a=None)))
    assert set(found) == {"circuit-unknown"}
    assert "interrupt rating of the device" in found["circuit-unknown"].message
    assert "source resistance" in found["circuit-unknown"].message


def test_a_circuit_without_any_device_must_not_be_powered(shop: WiringShop) -> None:
    assert shop.said(shop.circuit(device=None)) == {"device-missing": "stop"}


@pytest.mark.parametrize(("upstream_a", "said"), [(45.0, {}), (50.0, {"device-missing": "stop"})])
def test_a_device_nearer_the_battery_may_protect_the_wire(
    shop: WiringShop, upstream_a: float, said: dict[str, str]
) -> None:
    feed = shop.circuit(role="feed", wire=shop.wire("4 AWG"), device=shop.device(upstream_a))
    assert shop.said(shop.circuit(device=None, fed_from=feed)) == said


# Insulated terminals: blue takes 16 to 14 AWG (1.0 to 2.6 mm2), yellow 12 to 10 AWG (2.6 to 6.6 mm2).
@pytest.mark.parametrize(("low", "high", "fits"), [(2.6, 6.6, True), (1.0, 2.6, False), (6.0, 16.0, False)])
def test_the_wire_lies_within_the_printed_range(
    shop: WiringShop, low: float, high: float, fits: bool
) -> None:
    said = shop.said(shop.circuit(terminal_load=shop.terminal(low, high)))
    assert said == ({} if fits else {"terminal-barrel": "fix"})


# Ring terminal guides: the hole is 0.3 to 0.5 mm wider than the stud. M8 does not pass 5/16 in (7.94 mm).
@pytest.mark.parametrize(
    ("stud_mm", "hole_mm", "fits"),
    [(5.0, 5.3, True), (5.0, 5.5, True), (5.0, 6.4, False), (8.0, 7.94, False)],
)
def test_the_hole_passes_the_stud_without_room_to_walk(
    shop: WiringShop, stud_mm: float, hole_mm: float, fits: bool
) -> None:
    ring = shop.terminal(form="ring", hole_mm=hole_mm)
    circuit = shop.circuit(terminal_source=ring, stud_source_mm=stud_mm)
    assert shop.said(circuit) == ({} if fits else {"terminal-hole": "fix"})


def test_the_stud_of_the_component_counts_at_the_load(shop: WiringShop) -> None:
    ring = shop.terminal(form="ring", hole_mm=6.4)
    known = shop.circuit(terminal_load=ring, component=shop.component(stud_mm=5.0))
    unknown = shop.circuit(terminal_load=ring)
    assert shop.said(known) == {"terminal-hole": "fix"}
    assert "stud at the load end" in shop.found(unknown)["circuit-unknown"].message


# Four branches of 40 A at full load are 160 A, 133 % of a 120 A main breaker; three are just its rating.
@pytest.mark.parametrize(("branches", "said"), [(3, {}), (4, {"feed-sum": "fix"})])
def test_a_feed_carries_the_sum_of_its_branches(
    shop: WiringShop, branches: int, said: dict[str, str]
) -> None:
    main = shop.circuit(
        role="main", wire=shop.wire("4 AWG"), device=shop.device(120.0), length_m=0.5, continuous_a=90.0
    )
    for _ in range(branches):
        shop.circuit(fed_from=main, continuous_a=40.0, device=shop.device(50.0), wire=shop.wire("10 AWG"))
    assert shop.said(main) == said
    if said:
        assert shop.found(main)["feed-sum"].value == pytest.approx(160)


def test_sums_climb_through_every_level_and_a_regulator_turns_amperes(shop: WiringShop) -> None:
    # Two loads of 3 A at 5 V behind a regulator of 85 %: 30 W / (12 V x 0.85) = 2.94 A; with 8 A beside it 10.94 A.
    main = shop.circuit(role="main", device=shop.device(10.0), continuous_a=7.0)
    regulator = shop.circuit(
        role="feed", fed_from=main, component=shop.component("regulator"), continuous_a=None
    )
    for _ in range(2):
        shop.circuit(
            fed_from=regulator, component=shop.component("sensor", nominal_v=5.0), continuous_a=3.0,
            device=shop.device(5.0),
        )  # fmt: skip
    shop.circuit(fed_from=main, continuous_a=8.0)
    assert shop.found(main)["feed-sum"].value == pytest.approx(8 + 30 / (12 * 0.85))


def test_a_feed_whose_own_figures_fail_is_flagged_for_those_only(shop: WiringShop) -> None:
    main = shop.circuit(role="main", device=shop.device(20.0), continuous_a=19.0)
    for _ in range(3):
        shop.circuit(fed_from=main, continuous_a=10.0)
    assert shop.said(main) == {"device-load": "watch"}


def test_circuits_that_feed_each_other_do_not_hang_the_sweep(shop: WiringShop) -> None:
    first = shop.circuit(role="feed")
    second = shop.circuit(role="feed", fed_from=first)
    first.fed_from = second
    first.save()
    assert "wire-ampacity" not in shop.found(first)
