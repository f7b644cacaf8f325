"""The robot as one circuit on both sides of its limits, worked out by hand with Ohm's and Kirchhoff's laws."""

from __future__ import annotations

from typing import Any

import pytest

from builds.models import Circuit
from compliance.models import RulePack, RuleSetting
from tests.compliance.network_shop import INTERNAL_MOHM, MAIN_MOHM_PER_M, OPEN_V, NetworkShop

pytestmark = pytest.mark.django_db


@pytest.fixture
def shop() -> NetworkShop:
    return NetworkShop.start()


def path_ohm(shop: NetworkShop) -> float:
    """Battery and half a metre of 4 AWG out and back at 20 C; it warms by a few kelvin at most."""
    return (INTERNAL_MOHM + 2 * 0.5 * MAIN_MOHM_PER_M) / 1e3


# 12.8 V over 10.83 mohm: 100 A leave 11.72 V at the board.
@pytest.mark.parametrize(("spare_v", "severity"), [(0.48, "fix"), (0.52, None)])
def test_the_board_keeps_what_the_controller_needs_and_half_a_volt(
    shop: NetworkShop, spare_v: float, severity: str | None
) -> None:
    board_v = OPEN_V - 101.0 * path_ohm(shop)
    shop.load("CTRL", 1.0, role="controller", minimum_v=round(board_v - spare_v, 3))
    shop.load("DRIVE-1", 20.0, role="motor", peak_a=100.0)
    found = shop.of_build().get("board-sag")
    assert (found.severity if found else None) == severity
    if found:
        assert found.value == pytest.approx(board_v, abs=0.02)
        assert "DRIVE" in found.message
        assert "MAIN (4 AWG, 0.5 m) loses" in found.message


def test_only_the_heaviest_mechanisms_push_and_the_pack_says_how_many(shop: NetworkShop) -> None:
    shop.load("CTRL", 1.0, role="controller", minimum_v=10.5)
    for code in ("DRIVE-1", "ARM-1", "LIFT-1"):
        shop.load(code, 2.0, role="motor", peak_a=60.0)
    # Two push: 123 A leave 11.47 V. Three push: 181 A leave 10.84 V, less than 10.5 V and half a volt.
    assert "board-sag" not in shop.of_build()
    pack = RulePack.objects.create(team=shop.team, name="All out")
    setting = RuleSetting.objects.create(
        team=shop.team, pack=pack, rule_code="board-sag", limits={"mechanisms": 3}
    )
    found = shop.of_build()["board-sag"]
    assert found.value == pytest.approx(OPEN_V - 181.0 * path_ohm(shop), abs=0.03)
    setting.limits = {"mechanisms": 3, "margin_v": 0.2}
    setting.save()
    assert "board-sag" not in shop.of_build()


# A source of V behind R gives at most V^2 / 4R: 12.8^2 / (4 x 10.83 mohm) = 3783 W, here as amperes at 12 V.
@pytest.mark.parametrize(("share", "severity"), [(0.97, None), (1.04, "stop")])
def test_loads_that_ask_more_than_the_battery_can_give(
    shop: NetworkShop, share: float, severity: str | None
) -> None:
    amps = share * OPEN_V**2 / (4 * path_ohm(shop)) / 12.0
    shop.load("HEATER", amps, draw="power", device=shop.fuse(400.0))
    shop.load("CTRL", 0.01, role="controller", minimum_v=7.0)
    said = shop.of_build()
    assert (said["supply-collapse"].severity if "supply-collapse" in said else None) == severity
    if severity:
        # Nothing that would come of a solution is said beside it.
        assert "board-sag" not in said
        assert not {"load-voltage", "main-trip", "wire-hot"} & set(shop.found())
        assert "no solution" in str(said["supply-collapse"].working)
        assert said["supply-collapse"].value == pytest.approx(1 / share, rel=0.03)
        assert "At most 94% of what they ask" in said["supply-collapse"].message


def shared_feed(shop: NetworkShop, length_m: float) -> Circuit:
    """A feed of 10 AWG (5.261 mm2) with a motor that pushes; what hangs beside it is told by the test."""
    given: dict[str, Any] = {"code": "PANEL", "role": "feed", "wire": shop.wire("10 AWG"), "length_m": length_m,
             "continuous_a": None, "device": shop.fuse(60.0)}  # fmt: skip
    feed = shop.circuit(**given)
    shop.load("ARM-1", 4.0, role="motor", peak_a=50.0, fed_from=feed)
    return feed


def test_a_shared_feed_takes_the_voltage_that_each_circuit_alone_leaves(shop: NetworkShop) -> None:
    # 51 A leave 12.25 V at the board; 2 x 3 m of 10 AWG, 20.06 mohm at 20 C, take 1.02 V of it, somewhat more warm.
    feed = shared_feed(shop, 3.0)
    board_v = OPEN_V - 51.0 * path_ohm(shop)
    arrives = board_v - 51.0 * 6.0 * 17.241 * 1.02 / 5.2612 / 1e3
    fine = shop.load("CTRL", 1.0, role="controller", minimum_v=round(arrives - 0.2, 2), fed_from=feed)
    assert shop.of_circuit(fine) == set()
    poor = shop.load("RADIO", 0.001, role="radio", minimum_v=round(arrives + 0.05, 2), fed_from=feed)
    found = shop.one(poor, "load-voltage")
    assert found is not None
    assert found.value == pytest.approx(arrives, abs=0.06)
    assert "PANEL (10 AWG, 3 m) loses" in found.message
    assert "with 8 AWG there" in found.message
    assert "wire-drop" not in shop.found()
    assert "Lost in PANEL" in [step["label"] for step in found.working["steps"]]


def test_the_size_a_message_names_removes_its_flag(shop: NetworkShop) -> None:
    feed = shared_feed(shop, 3.0)
    radio = shop.load("RADIO", 0.1, role="radio", minimum_v=11.3, fed_from=feed)
    found = shop.one(radio, "load-voltage")
    assert found is not None
    size = found.message.split("with ")[1].split(" there")[0]
    feed.wire = shop.wire(size)
    feed.save()
    assert shop.one(radio, "load-voltage") is None


def test_a_board_too_low_for_the_load_is_said_of_the_board_only(shop: NetworkShop) -> None:
    shop.load("DRIVE-1", 20.0, role="motor", peak_a=200.0, device=shop.fuse(200.0))
    controller = shop.load("CTRL", 1.0, role="controller", minimum_v=11.5)
    assert "board-sag" in shop.of_build()
    assert shop.one(controller, "load-voltage") is None


def test_what_the_own_wire_loses_is_said_by_the_drop_rule_only(shop: NetworkShop) -> None:
    lamp = shop.load(
        "LAMP", 10.0, minimum_v=11.9, wire=shop.wire("22 AWG"), length_m=3.0, device=shop.fuse(3.0)
    )
    said = shop.of_circuit(lamp)
    assert "wire-drop" in said
    assert "load-voltage" not in said


# RMS of 20 A running and 90 A for a quarter of the time: sqrt(0.25 x 90^2 + 0.75 x 20^2) = 48.2 A; 12 AWG, 105 C, at
# 20 C carries 45 sqrt(85 / 75) = 47.9 A (33 CFR 183.425 Table 5), so at 47 A and 49 A it stays, or passes, 105 C.
@pytest.mark.parametrize(("peak_a", "severity"), [(88.0, None), (92.0, "fix")])
def test_a_shared_wire_stays_below_its_class_over_pushes_and_rests(
    shop: NetworkShop, peak_a: float, severity: str | None
) -> None:
    feed = shop.circuit(code="PANEL", role="feed", length_m=0.1, continuous_a=None, device=shop.fuse(47.0))
    shop.load("ARM-1", 20.0, role="motor", peak_a=peak_a, duty_frac=0.25, cycle_s=4.0, fed_from=feed)  # fmt: skip
    found = shop.one(feed, "wire-hot")
    assert (found.severity if found else None) == severity
    if found:
        assert found.limit == 105.0
        assert found.value == pytest.approx(
            20 + 85 * (0.25 * peak_a**2 + 0.75 * 400) / (45**2 * 85 / 75), rel=0.01
        )
        assert "Fit 10 AWG" in found.message


# 60 A running and 220 A for a fifth of the time: sqrt(0.2 x 220^2 + 0.8 x 60^2) = 112 A; for a quarter, 121.6 A.
@pytest.mark.parametrize(("duty", "severity"), [(0.2, None), (0.25, "fix")])
def test_the_main_breaker_holds_the_rms_of_pushes_and_rests(
    shop: NetworkShop, duty: float, severity: str | None
) -> None:
    shop.load("DRIVE-1", 60.0, role="motor", peak_a=220.0, duty_frac=duty, cycle_s=4.0, device=shop.fuse(300.0),
              wire=shop.wire("4/0 AWG"))  # fmt: skip
    found = shop.one(shop.main, "main-trip")
    assert (found.severity if found else None) == severity
    if found:
        assert found.value == pytest.approx(121.7, abs=0.3)
        assert found.limit == 120.0


# At 240 A, twice its rating, the breaker's own points let it open after 10 s at the soonest.
@pytest.mark.parametrize(("cycle_s", "severity"), [(99.0, None), (101.0, "fix")])
def test_the_longest_push_ends_before_the_main_breaker_may_open(
    shop: NetworkShop, cycle_s: float, severity: str | None
) -> None:
    shop.load("DRIVE-1", 30.0, role="motor", peak_a=240.0, duty_frac=0.1, cycle_s=cycle_s, device=shop.fuse(300.0),
              wire=shop.wire("4/0 AWG"))  # fmt: skip
    found = shop.one(shop.main, "main-trip")
    assert (found.severity if found else None) == severity
    if found:
        assert "10.1 s in a push" in found.message


def test_a_limit_set_in_the_motor_controller_counts(shop: NetworkShop) -> None:
    motor = shop.load("DRIVE-1", 60.0, role="motor", peak_a=260.0, duty_frac=0.25, cycle_s=4.0,
                      device=shop.fuse(300.0), wire=shop.wire("4/0 AWG"))  # fmt: skip
    assert shop.one(shop.main, "main-trip") is not None
    motor.limit_a = 150.0
    motor.save()
    assert shop.one(shop.main, "main-trip") is None


def test_without_a_battery_nothing_is_solved_and_that_is_said(shop: NetworkShop) -> None:
    shop.build.battery_model = None
    shop.build.save()
    controller = shop.load("CTRL", 1.0, role="controller", minimum_v=12.7)
    assert not {"board-sag", "supply-collapse"} & set(shop.of_build())
    assert "source resistance" in shop.found(controller)["circuit-unknown"].message
    assert "battery" in shop.of_build()["wiring-minimum"].message


def test_a_robot_that_cannot_be_judged_leaves_the_others_alone(shop: NetworkShop) -> None:
    lone = shop.robot("LONE", shop.season, source_mohm=None)
    shop.board(lone)
    shop.load("CTRL", 1.0, role="controller", minimum_v=12.75)
    assert shop.of_build()["board-sag"].value == pytest.approx(OPEN_V - path_ohm(shop), abs=0.01)
    assert "board-sag" not in shop.of_build(lone)


@pytest.mark.parametrize(("role", "said"), [("controller", True), ("radio", True), ("light", False)])
def test_a_controller_or_radio_must_say_at_which_voltage_it_resets(
    shop: NetworkShop, role: str, said: bool
) -> None:
    found = shop.found(shop.load("X", 1.0, role=role)).get("circuit-unknown")
    assert (found is not None and "least voltage of its component" in found.message) is said
