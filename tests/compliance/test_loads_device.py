"""The rules on protective devices, terminals and feeds, on both sides of their limits."""

from __future__ import annotations

import pytest

from builds.models import Build
from tests.compliance.load_shop import LoadShop

pytestmark = pytest.mark.django_db


@pytest.fixture
def shop() -> LoadShop:
    return LoadShop()


@pytest.mark.parametrize(("rating", "flagged"), [(45.0, False), (46.0, True)])
def test_a_device_is_no_larger_than_its_wire_carries(shop, rating, flagged):
    """NEC 240.4 with 33 CFR 183.425 Table 5: 12 AWG, 105 C carries 45 A."""
    shop.circuit(device=shop.device(rating))
    assert shop.said() == ({"device-rating": "fix"} if flagged else {})


def test_above_one_and_a_half_times_is_a_stop(shop):
    """33 CFR 183.455(c)(1): below 50 V at most 150 %, here 67.5 A."""
    shop.circuit(device=shop.device(70.0))
    assert shop.said() == {"device-rating": "stop"}


@pytest.mark.parametrize(("amps", "flagged"), [(24.0, False), (24.1, True)])
def test_four_fifths_of_the_rating_in_steady_use(shop, amps, flagged):
    """NEC 210.20(A): 24 A / 0.8 = 30 A."""
    shop.circuit(continuous_a=amps, length_m=0.5)
    assert shop.said() == ({"device-load": "watch"} if flagged else {})


@pytest.mark.parametrize(("interrupt", "flagged"), [(641.0, False), (639.0, True)])
def test_a_device_must_break_the_fault_current(shop, interrupt, flagged):
    """12.8 V / 20 mohm = 640 A."""
    shop.circuit(device=shop.device(interrupt_a=interrupt))
    assert shop.said() == ({"device-interrupt": "stop"} if flagged else {})


def test_no_device_is_a_stop(shop):
    shop.circuit(device=None)
    assert shop.said() == {"device-missing": "stop"}


@pytest.mark.parametrize(("upstream", "flagged"), [(40.0, False), (60.0, True)])
def test_a_device_upstream_protects_when_it_is_small_enough(shop, upstream, flagged):
    feed = shop.circuit("FEED", role="feed", wire=shop.wire("6 AWG"), device=shop.device(upstream))
    shop.circuit("C1", device=None, fed_from=feed)
    assert ("device-missing" in shop.said()) is flagged


@pytest.mark.parametrize(("cycle_s", "flagged"), [(10.0, False), (20.0, True)])
def test_a_peak_must_end_before_the_device_may_open(shop, cycle_s, flagged):
    """Points of the device: at twice its rating it opens after 2 s at the earliest; the peak lasts 1.5 or 3 s."""
    device = shop.device(20.0, code="SLOW")
    shop.points(device, (1.35, 60.0, 1800.0), (2.0, 2.0, 60.0))
    peaks = {"peak_a": 40.0, "duty_frac": 0.15, "cycle_s": cycle_s}
    shop.circuit(device=device, continuous_a=1.0, length_m=0.2, **peaks)
    assert ("device-peak" in shop.said()) is flagged


@pytest.mark.parametrize("end", ["source", "load"])
@pytest.mark.parametrize(("most", "flagged"), [(3.31, False), (2.6, True)])
def test_the_wire_lies_in_the_range_of_the_barrel(shop, end, most, flagged):
    """12 AWG is 3.309 mm2 (ASTM B258); a 16-14 AWG barrel ends at 2.6 mm2."""
    shop.circuit(**{f"terminal_{end}": shop.end("BARREL", 1.0, most)})
    assert shop.said() == ({"terminal-barrel": "fix"} if flagged else {})


@pytest.mark.parametrize("end", ["source", "load"])
@pytest.mark.parametrize(
    ("hole", "flagged"), [(4.9, True), (5.0, False), (5.3, False), (5.5, False), (5.6, True)]
)
def test_the_hole_passes_the_stud_without_play(shop, end, hole, flagged):
    """Stud <= hole <= stud + 0.5 mm (common practice, no source), here M5."""
    ring = shop.end("RING5", form="ring", hole_mm=hole)
    shop.circuit(**{f"terminal_{end}": ring, f"stud_{end}_mm": 5.0})
    assert shop.said() == ({"terminal-hole": "fix"} if flagged else {})


@pytest.mark.parametrize(("amps", "flagged"), [(14.9, False), (15.1, True)])
def test_a_feed_carries_the_sum_of_what_it_feeds(shop, amps, flagged):
    """Kirchhoff: four branches of 14.9 A make 59.6 A, of 15.1 A 60.4 A, behind a device of 60 A."""
    main = shop.circuit("MAIN", role="main", wire=shop.wire("6 AWG"), device=shop.device(60.0), length_m=0.2)
    for n in range(4):
        shop.circuit(f"C{n}", continuous_a=amps, fed_from=main)
    assert ("feed-sum" in shop.said()) is flagged


def test_sums_go_up_level_by_level(shop):
    main = shop.circuit("MAIN", role="main", wire=shop.wire("6 AWG"), device=shop.device(30.0), length_m=0.2)
    values = {"role": "feed", "wire": shop.wire("6 AWG"), "device": shop.device(100.0), "continuous_a": None}
    feed = shop.circuit("FEED", fed_from=main, length_m=0.2, **values)
    for n in range(2):
        shop.circuit(f"C{n}", continuous_a=18.0, fed_from=feed)
    sums = [f for f in shop.found() if f.rule_code == "feed-sum"]
    assert [f.value for f in sums] == [36.0]
    assert sums[0].subject_label.endswith("MAIN")


def test_circuits_that_feed_each_other_do_not_hang_the_sweep(shop):
    first = shop.circuit("C1")
    second = shop.circuit("C2", fed_from=first)
    type(first).objects.filter(pk=first.pk).update(fed_from=second)
    assert isinstance(shop.found(), list)


def test_only_current_builds_of_robots_in_use_are_judged(shop):
    shop.circuit(device=None)
    Build.objects.update(state="past")
    assert shop.found() == []
    Build.objects.update(state="current")
    shop.build.robot.archived = True
    shop.build.robot.save()
    assert shop.found() == []


def test_a_pack_changes_limit_severity_and_switch(shop):
    shop.circuit(device=shop.device(50.0))
    assert shop.said() == {"device-rating": "fix"}
    pack = shop.pack("device-rating", limits={"allowed_frac": 1.5})
    assert shop.said() == {}
    pack.settings.update(limits={}, severity="watch")
    assert shop.said() == {"device-rating": "watch"}
    pack.settings.update(enabled=False)
    assert shop.said() == {}


def test_the_pack_of_the_season_goes_before_the_general_one(shop):
    shop.circuit(device=shop.device(50.0))
    shop.pack("device-rating", limits={"allowed_frac": 1.0})
    shop.pack("device-rating", season=True, limits={"allowed_frac": 1.5})
    assert shop.said() == {}


def test_a_table_of_the_pack_decides(shop):
    """NEC Table 310.16: 12 AWG, 90 C column, 30 A; the federal boat table has 45 A at 105 C."""
    shop.circuit(continuous_a=31.0, device=shop.device(45.0), length_m=0.2)
    assert shop.said() == {}
    shop.pack("wire-ampacity", limits={"table": "nec310_16", "bundle_table": "nec310_15c1"})
    assert shop.said()["wire-ampacity"] == "fix"
