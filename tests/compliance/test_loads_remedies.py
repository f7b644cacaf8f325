"""What a finding tells people to fit, with sizes that can be read in the table it cites."""

from __future__ import annotations

import pytest

from tests.compliance.load_shop import LoadShop

pytestmark = pytest.mark.django_db

# 33 CFR 183.425 Table 5, 105 C column: 14 AWG 35 A, 12 AWG 45 A, 10 AWG 60 A, 8 AWG 80 A, 6 AWG 120 A.


@pytest.fixture
def shop() -> LoadShop:
    return LoadShop()


def message(shop: LoadShop, rule: str) -> str:
    return {finding.rule_code: finding.message for finding in shop.found()}[rule]


def test_a_thin_wire_names_the_next_that_carries_the_load(shop):
    shop.circuit(continuous_a=46.0, length_m=0.1, device=shop.device(45.0))
    assert message(shop, "wire-ampacity").endswith("it may carry 45 A. Fit 10 AWG.")


def test_the_wire_named_goes_with_the_device_too(shop):
    """46 A need 10 AWG, the device of 70 A needs 8 AWG."""
    shop.circuit(continuous_a=46.0, length_m=0.1, device=shop.device(70.0))
    assert message(shop, "wire-ampacity").endswith("Fit 8 AWG.")


def test_the_wire_named_keeps_the_drop_too(shop):
    """46 A over 6 m: 0.36 V of drop ask for far more copper than the ampacity does."""
    circuit = shop.circuit(continuous_a=46.0, length_m=6.0, critical=True, device=shop.device(45.0))
    told = message(shop, "wire-ampacity")
    named = told.rsplit("Fit ", 1)[1].rstrip(".")
    assert named != "10 AWG"
    circuit.wire = shop.wire(named)
    circuit.save()
    assert {"wire-drop", "wire-ampacity"}.isdisjoint(shop.said())


def test_in_a_bundle_the_named_wire_is_thicker(shop):
    """A bundle of six leaves 60 %: 30 A need a table value of 50 A, 10 AWG (60 A)."""
    shop.circuit(continuous_a=30.0, bundle_count=6, length_m=0.1, device=shop.device(27.0))
    assert message(shop, "wire-ampacity").endswith("Fit 10 AWG.")


def test_parallel_conductors_are_named_each(shop):
    """100 A through two: 50 A each, 10 AWG."""
    shop.circuit(continuous_a=100.0, parallel=2, length_m=0.1, device=shop.device(90.0))
    assert message(shop, "wire-ampacity").endswith("Fit 10 AWG.")


def test_where_no_wire_will_do_it_says_so(shop):
    """4/0 carries 445 A."""
    shop.circuit(continuous_a=500.0, length_m=0.1, device=shop.device(45.0))
    assert "no single wire will do" in message(shop, "wire-ampacity").lower()


def test_a_large_device_names_the_band_that_carries_the_load_and_spares_the_wire(shop):
    """16 A / 0.8 = 20 A (NEC 210.20(A)) up to 45 A; 50 A go with 10 AWG."""
    shop.circuit(continuous_a=16.0, device=shop.device(50.0), length_m=0.1)
    assert message(shop, "device-rating").endswith("Fit a device between 20 and 45 A, or fit 10 AWG.")


def test_a_smaller_device_is_not_proposed_where_it_would_not_carry_the_load(shop):
    """40 A / 0.8 = 50 A, more than the 45 A of the wire."""
    shop.circuit(continuous_a=40.0, device=shop.device(50.0), length_m=0.1)
    told = message(shop, "device-rating")
    assert told.endswith("Fit 10 AWG.")
    assert "between" not in told


def test_a_small_device_names_the_least_that_will_do(shop):
    """28 A / 0.8 = 35 A, which 12 AWG allows."""
    shop.circuit(continuous_a=28.0, length_m=0.1)
    assert message(shop, "device-load").endswith("Fit at least 35 A.")


def test_a_larger_device_brings_a_larger_wire_where_needed(shop):
    """40 A / 0.8 = 50 A, more than 45 A: 10 AWG."""
    shop.circuit(continuous_a=40.0, device=shop.device(45.0), length_m=0.1)
    assert message(shop, "device-load").endswith("its wire then is too thin: fit 10 AWG.")


def test_a_drop_names_wire_and_length_and_both_cure_it(shop):
    circuit = shop.circuit(length_m=5.0, critical=True)
    told = message(shop, "wire-drop")
    wire, length = told.rsplit("Fit ", 1)[1].rstrip(".").split(", or come down to ")
    circuit.wire = shop.wire(wire)
    circuit.save()
    assert shop.found() == []
    circuit.wire, circuit.length_m = shop.wire("12 AWG"), float(length.removesuffix(" m"))
    circuit.save()
    assert shop.found() == []
    circuit.length_m += 0.02
    circuit.save()
    assert shop.said() == {"wire-drop": "fix"}


def test_the_table_of_the_pack_decides_and_names_its_own_wire(shop):
    """NEC Table 310.16, 90 C column: 12 AWG 30 A, 10 AWG 40 A; the federal boat table has 45 A at 105 C."""
    shop.circuit(continuous_a=31.0, device=shop.device(39.0), length_m=0.1)
    assert shop.said() == {}
    shop.pack("wire-ampacity", limits={"table": "nec310_16", "bundle_table": "nec310_15c1"})
    assert message(shop, "wire-ampacity").endswith("it may carry 30 A. Fit 10 AWG.")


def test_messages_fit_where_they_are_kept(shop):
    shop.circuit(
        continuous_a=500.0,
        peak_a=501.0,
        length_m=30.0,
        critical=True,
        device=shop.device(900.0, code="D" * 40),
    )
    assert all(len(finding.message) <= 400 for finding in shop.found())
