"""Short circuits and devices in series, on both sides of their limits; then what every robot needs."""

from __future__ import annotations

import pytest

from builds.models import Circuit, CircuitRole
from compliance.models import RulePack, RuleSetting
from tests.compliance.network_shop import BLADE, THERMAL, NetworkShop

pytestmark = pytest.mark.django_db


@pytest.fixture
def shop() -> NetworkShop:
    return NetworkShop.start()


# 14 AWG, 105 C: k2S2 = (87.4 x 2.081)^2 = 33,080 A2s (IEC 60949). The breaker's last point is 12 x 30 = 360 A, where
# it takes 1 s at most: 129,600 A2s. A blade fuse at 6 x 30 = 180 A takes 0.1 s: 3,240 A2s.
def test_a_slow_breaker_lets_through_more_than_a_thin_wire_bears(shop: NetworkShop) -> None:
    wire = shop.wire("14 AWG")
    slow = shop.circuit(wire=wire, device=shop.fuse(30.0, THERMAL, form="thermal"))
    quick = shop.circuit(wire=wire, device=shop.fuse(30.0))
    found = shop.found(slow)["fault-withstand"]
    assert found.severity == "fix"
    assert "its insulation burns" in found.message
    assert found.value is not None
    assert found.limit is not None
    assert found.value > found.limit
    assert shop.of_circuit(quick) == set()


# S2 of the device's 129,600 A2s at k = 87.4: 4.12 mm2. 10 AWG has 5.26 mm2, 12 AWG 3.31 mm2.
@pytest.mark.parametrize(("size", "said"), [("12 AWG", True), ("10 AWG", False)])
def test_the_wire_that_bears_it_is_by_the_adiabatic_equation(
    shop: NetworkShop, size: str, said: bool
) -> None:
    points = ((1.0, None, None), (1.5, 1.0, 10.0), (12.0, 0.25, 1.0))
    circuit = shop.circuit(wire=shop.wire(size), device=shop.fuse(30.0, points, form="thermal"))
    assert ("fault-withstand" in shop.found(circuit)) is said


# 18 AWG has 21.4 mohm/m stranded (33 CFR: 20 A at 105 C). Hot (339.5 / 254.5), out and back, 9 m make 513 mohm: with
# 16 mohm of a tired battery and the main feed a short draws 22.6 A of 12.0 V. A large 20 A blade needs 27 A to be sure
# to open; the wire bears 1.45 x 20 sqrt(85/75) = 30.9 A for ever, so nothing happens. At 5 m it draws 39 A: the
# fuse takes 60 s or more below 40 A, the wire 38 s tau ln(...) less.
MAXI = ((1.10, None, None), (1.35, 60.0, 1800.0), (2.0, 2.0, 60.0), (3.5, 0.2, 7.0), (6.0, 0.04, 1.0))


def test_a_long_thin_lead_draws_too_little_to_open_a_slow_fuse(shop: NetworkShop) -> None:
    wire = shop.wire("18 AWG")
    slow = shop.circuit(wire=wire, length_m=5.0, continuous_a=1.0, device=shop.fuse(20.0, MAXI))
    found = shop.found(slow)["fault-slow"]
    assert found.severity == "fix"
    assert "far end draws only" in found.message
    labels = {step["label"]: step["result"] for step in found.working["steps"]}
    hot = 2 * 5.0 * 17.241 * 1.02 / 0.8230 * 339.5 / 254.5
    main = 1e3 * 2 * 0.5 * 17.241 * 1.02 / 21.15 / 1e3 * 339.5 / 254.5
    assert labels["Least fault current"] == pytest.approx(12.0 / ((16.0 + main + hot) / 1e3), rel=0.01)
    assert "fault-withstand" not in shop.found(slow)


def test_the_small_quick_fuse_is_the_remedy(shop: NetworkShop) -> None:
    wire = shop.wire("18 AWG")
    quick = shop.circuit(wire=wire, length_m=5.0, continuous_a=1.0, device=shop.fuse(10.0))
    assert shop.of_circuit(quick) == set()


def test_how_tired_a_battery_may_be_is_a_limit(shop: NetworkShop) -> None:
    # 3.5 m of 18 AWG, hot: 200 mohm, with battery and main feed 217 mohm. 12.0 V drive 55 A, 2.8 x: 1.3 s at most, and
    # the wire bears 1.7 s. 7.3 V drive 34 A, 1.7 x: up to 30 s, and the wire bears 16 s.
    circuit = shop.circuit(wire=shop.wire("18 AWG"), length_m=3.5, continuous_a=1.0, device=shop.fuse(20.0))
    assert "fault-slow" not in shop.found(circuit)
    pack = RulePack.objects.create(team=shop.team, name="Old cart")
    RuleSetting.objects.create(team=shop.team, pack=pack, rule_code="fault-slow", limits={"tired_v": 7.3})
    found = shop.found(circuit)["fault-slow"]
    assert found.working["limit"]["source"] == "rule pack Old cart"
    assert found.value == pytest.approx(30.0, rel=0.1)


def test_a_device_too_large_for_its_wire_is_one_cause_and_one_flag(shop: NetworkShop) -> None:
    circuit = shop.circuit(wire=shop.wire("18 AWG"), continuous_a=1.0, device=shop.fuse(40.0, THERMAL))
    said = shop.of_circuit(circuit)
    assert "device-rating" in said
    assert not {"fault-slow", "fault-withstand"} & said


def test_a_wire_without_a_device_is_guarded_by_the_one_before(shop: NetworkShop) -> None:
    feed = shop.circuit(code="PANEL", role="feed", wire=shop.wire("14 AWG"), continuous_a=None,
                        device=shop.fuse(25.0, THERMAL, form="thermal"))  # fmt: skip
    branch = shop.circuit(fed_from=feed, wire=shop.wire("14 AWG"), device=None, continuous_a=2.0)
    found = shop.found(branch)["fault-withstand"]
    assert "in PANEL" in found.message


# ISO 8820-3: a fuse holds 1.1 x and may open at 1.35 x after 0.75 s; 10 A behind 20 A takes up to 3.4 s at 22 A.
@pytest.mark.parametrize(("upstream_a", "said"), [(20.0, True), (30.0, False)])
def test_the_fuse_nearest_the_fault_opens_first(shop: NetworkShop, upstream_a: float, said: bool) -> None:
    points = (*BLADE, (40.0, 0.0012, 0.00225))
    feed = shop.circuit(code="PANEL", role="feed", continuous_a=None, device=shop.fuse(upstream_a, points))
    for code in ("B-1", "B-2"):
        shop.circuit(code=code, fed_from=feed, continuous_a=2.0, device=shop.fuse(10.0, points))
    found = shop.found(feed).get("selectivity")
    assert (found is not None) is said
    if found:
        assert found.limit == pytest.approx(22.0)
        assert "B-1" in found.message
        assert "B-2" in found.message
    assert sum(f.rule_code == "selectivity" for f in shop.everything()) == (1 if said else 0)


def test_points_that_end_before_the_fault_are_asked_for_once(shop: NetworkShop) -> None:
    upstream = shop.fuse(30.0)
    feed = shop.circuit(code="PANEL", role="feed", continuous_a=None, device=upstream)
    shop.circuit(fed_from=feed, continuous_a=2.0, device=shop.fuse(10.0))
    assert "selectivity" not in shop.found(feed)
    found = shop.of_build()["device-points"]
    assert found.severity == "unknown"
    assert f"{upstream.code} (up to" in found.message


def test_devices_without_points_are_one_finding_of_the_build(shop: NetworkShop) -> None:
    bare = [shop.fuse(rating, ()) for rating in (10.0, 15.0)]
    circuits = [shop.circuit(continuous_a=2.0, device=device) for device in (*bare, bare[0])]
    found = shop.of_build()["device-points"]
    assert all(device.code in found.message for device in bare)
    assert found.message.count(bare[0].code) == 1
    assert found.value == 3
    assert all(shop.of_circuit(circuit) == set() for circuit in circuits)


def test_many_devices_without_points_still_make_one_short_sentence(shop: NetworkShop) -> None:
    for n in range(12):
        shop.circuit(continuous_a=2.0, device=shop.device(10.0 + n, resistance_mohm=1e-6))
    found = shop.of_build()["device-points"]
    assert "and 6 more" in found.message
    assert len(found.message) < 400
    assert found.working["steps"][0]["result"] == 12


def regulated(shop: NetworkShop, **more: object) -> Circuit:
    regulator = shop.component("regulator", output_v=5.0, efficiency_frac=0.85, **more)
    return shop.circuit(
        code="REG", role="feed", component=regulator, continuous_a=None, device=shop.fuse(15.0)
    )


def test_no_pair_of_devices_is_compared_across_a_regulator(shop: NetworkShop) -> None:
    feed = regulated(shop, output_max_a=10.0)
    sensor = shop.load(
        "SENSE", 1.0, fed_from=feed, device=shop.fuse(15.0), wire=shop.wire("20 AWG"), length_m=0.5
    )
    assert "selectivity" not in shop.found(feed)
    # 10 A is all the regulator gives; the wire bears that, so it need not open.
    assert not {"fault-slow", "fault-withstand"} & shop.of_circuit(sensor)


def test_a_regulator_without_output_voltage_leaves_a_gap_that_is_said(shop: NetworkShop) -> None:
    regulator = shop.component("regulator", nominal_a=1.0)
    feed = shop.circuit(code="REG", role="feed", component=regulator, continuous_a=None)
    shop.load("SENSE", 1.0, fed_from=feed)
    found = shop.of_build()["network-gap"]
    assert "REG: its output voltage is not known" in found.message


def test_a_robot_with_all_that_every_robot_needs_passes(shop: NetworkShop) -> None:
    shop.whole()
    assert shop.everything() == []


@pytest.mark.parametrize(
    ("code", "named"),
    [("CTRL", "main controller"), ("RADIO", "radio"), ("BEACON", "beacon"), ("M-1", "motor"), ("BUS", "data bus")],
)  # fmt: skip
def test_what_is_missing_is_named(shop: NetworkShop, code: str, named: str) -> None:
    shop.whole()
    Circuit.objects.get(code=code).delete()
    found = shop.of_build()["wiring-minimum"]
    assert named in found.message
    assert found.value == 1


def test_main_breaker_and_board_are_looked_for_in_the_main_circuit(shop: NetworkShop) -> None:
    shop.whole()
    shop.main.device = None
    shop.main.component = None
    shop.main.save()
    message = shop.of_build()["wiring-minimum"].message
    assert "main breaker, distribution board" in message


@pytest.mark.parametrize(
    ("form", "regulator", "feeds", "said"),
    [("blade", False, 1, True), ("pin", False, 1, True), ("ferrule", False, 1, False), ("blade", True, 1, True),
     ("pin", True, 1, False), ("blade", False, 2, False)],
)  # fmt: skip
def test_a_radio_does_not_hang_on_one_friction_plug(
    shop: NetworkShop, form: str, regulator: bool, feeds: int, said: bool
) -> None:
    source = regulated(shop, output_max_a=5.0) if regulator else shop.main
    end = shop.terminal(form=form)
    radios = [
        shop.load(f"RADIO-{n}", 0.5, role="radio", fed_from=source, terminal_load=end) for n in range(feeds)
    ]
    assert ("radio-feed" in shop.found(radios[0])) is said


def test_a_signal_circuit_is_no_feed_and_asks_for_no_device(shop: NetworkShop) -> None:
    bus = shop.circuit(code="BUS", role=CircuitRole.SIGNAL, device=None, fed_from=None)
    assert shop.of_circuit(bus) == set()
