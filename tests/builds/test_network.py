"""Circuit rows become the network: what is in it, what it is made of, and that nothing counts twice."""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest

from builds.electrical import load_circuits
from builds.models import Build, Circuit
from builds.network import Assembled, Out, Scenario, assemble
from shared.electrical.network import LoadKind, path_ohm, solve
from tests.compliance.wiring_shop import WiringShop

pytestmark = pytest.mark.django_db


def network(*builds: Build, **options: Any) -> Assembled:
    return assemble(load_circuits(Build.objects.filter(pk__in=[b.pk for b in builds])), **options)


@pytest.fixture
def shop() -> WiringShop:
    shop = WiringShop.open(source_mohm=None)
    shop.build.battery_model = shop.battery(resistance_new_mohm=12.0, full_rest_v=12.9)
    shop.build.save()
    return shop


def main_of(shop: WiringShop, **values: Any) -> Circuit:
    given: dict[str, Any] = {
        "wire": shop.wire("4 AWG"),
        "length_m": 0.5,
        "joints_mohm": 2.0,
        "continuous_a": None,
    }
    return shop.circuit(code="MAIN", role="main", device=shop.device(120, form="thermal", resistance_mohm=1.5),
                        **(given | values))  # fmt: skip


def at(net: Assembled, circuit: Circuit) -> int:
    """The branch of a circuit."""
    place = int(np.flatnonzero(net.rows.ids == circuit.pk)[0])
    assert net.branch[place] >= 0, Out(int(net.out[place])).name
    return int(net.branch[place])


def test_a_branch_is_wire_out_and_back_with_joints_and_device(shop: WiringShop) -> None:
    # Data-sheet figure of the wire at 20 C; the conductor at its ambient because it carries nothing that heats it.
    wire = shop.wire("12 AWG", resistance_mohm_per_m=5.0)
    device = shop.device(20, resistance_mohm=3.0)
    circuit = shop.circuit(wire=wire, device=device, length_m=2.0, joints_mohm=4.0, continuous_a=1e-6)
    net = network(shop.build)
    warm = 5.0e-3 * (234.5 + 30.0) / 254.5 * 2.0
    here = at(net, circuit)
    assert net.return_ohm[here] == pytest.approx(warm + 2e-3, rel=1e-6)
    assert net.supply_ohm[here] == pytest.approx(warm + 2e-3 + 3e-3, rel=1e-6)
    assert net.assumptions() == []


def test_parallel_conductors_share_the_current(shop: WiringShop) -> None:
    wire = shop.wire("12 AWG", resistance_mohm_per_m=5.0)
    alone, twice = (shop.circuit(wire=wire, parallel=n, joints_mohm=1e-9, continuous_a=1e-6) for n in (1, 2))
    net = network(shop.build)
    assert net.return_ohm[at(net, twice)] == pytest.approx(net.return_ohm[at(net, alone)] / 2, rel=1e-9)


def test_what_nobody_measured_is_assumed_and_said(shop: WiringShop) -> None:
    shop.circuit(code="FUSED", device=shop.device(10))
    shop.circuit(code="SWITCHED", device=shop.device(10, form="solid"))
    net = network(shop.build)
    said = {(a.code, a.what): (a.value, a.unit) for a in net.assumptions()}
    assert said[("FUSED", "joints of both poles")] == (2.0, "mohm")
    value, unit = said[("FUSED", "resistance of the fuse")]
    # 109 mV at 10 A: the figure of the blade fuse table.
    assert value == pytest.approx(10.9)
    assert unit == "mohm"
    assert said[("SWITCHED", "resistance of the device")] == (0.0, "mohm")


def test_the_main_feed_is_not_counted_with_the_battery(shop: WiringShop) -> None:
    main = main_of(shop)
    branch = shop.circuit(fed_from=main)
    build = shop.build
    known = network(build)
    assert known.as_new.internal_ohm.tolist() == [0.012]
    assert known.board.tolist() == [at(known, main)]
    build.source_mohm = 25.0
    build.save()
    assert network(build).as_new.internal_ohm.tolist() == [0.012]
    build.battery_model = None
    build.save()
    measured = network(build)
    path = path_ohm(measured.tree)
    # Battery and main feed together are what was measured up to the board.
    assert measured.as_new.internal_ohm[0] + path[at(measured, main)] == pytest.approx(0.025)
    assert path[at(measured, branch)] > path[at(measured, main)]


def test_without_a_main_circuit_the_measured_leads_come_on_top_of_any_battery(shop: WiringShop) -> None:
    shop.circuit()
    shop.build.source_mohm = 20.0
    shop.build.save()
    net = network(shop.build)
    assert net.board.tolist() == [-1]
    assert net.as_new.internal_ohm == pytest.approx([0.020])
    assert net.as_new.leads_ohm == pytest.approx([0.008])


def test_a_robot_without_any_resistance_of_its_battery_is_not_judged(shop: WiringShop) -> None:
    other = shop.robot("TERN", shop.season, source_mohm=None)
    shop.circuit()
    shop.circuit(build=other)
    net = network(shop.build, other)
    judged = {
        net.rows.builds.table.raw["id"][row]: ok
        for row, ok in zip(net.build_row, net.as_new.judged, strict=True)
    }
    assert judged == {shop.build.pk: True, other.pk: False}
    assert solve(net.tree, net.as_new.sources, net.loads).solved.all()


@pytest.mark.parametrize(
    ("change", "reason"),
    [
        ({"wire": None}, "its wire type is not known"),
        ({"length_m": None}, "its length is not known"),
        ({"continuous_a": None}, "its running current is not known"),
    ],
)
def test_what_cannot_be_part_is_left_out_with_its_reason(
    shop: WiringShop, change: dict[str, Any], reason: str
) -> None:
    fine = shop.circuit(code="FINE")
    shop.circuit(code="BAD", **change)
    net = network(shop.build)
    assert [(x.code, x.reason) for x in net.left_out()] == [("BAD", reason)]
    assert net.circuit.tolist() == [int(np.flatnonzero(net.rows.ids == fine.pk)[0])]


def test_what_hangs_on_a_circuit_left_out_is_left_out_too(shop: WiringShop) -> None:
    main = main_of(shop, length_m=None)
    shop.circuit(code="BRANCH", fed_from=main)
    net = network(shop.build)
    assert {x.code: x.reason for x in net.left_out()} == {
        "MAIN": "its length is not known",
        "BRANCH": "the circuit that feeds it is left out",
    }
    assert net.robots == 0
    assert net.robot_of_build.tolist() == [-1]


def test_a_ring_and_a_feed_from_elsewhere_are_left_out_not_fatal(shop: WiringShop) -> None:
    one, two = shop.circuit(code="ONE"), shop.circuit(code="TWO")
    Circuit.objects.filter(pk=one.pk).update(fed_from=two)
    Circuit.objects.filter(pk=two.pk).update(fed_from=one)
    other = shop.robot("TERN", shop.season)
    elsewhere = shop.circuit(code="FAR", build=other)
    strange = shop.circuit(code="STRANGE")
    Circuit.objects.filter(pk=strange.pk).update(fed_from=elsewhere)
    for builds in ((shop.build,), (shop.build, other)):
        net = network(*builds)
        assert {x.code for x in net.left_out() if "way to the battery" in x.reason} == {
            "ONE",
            "TWO",
            "STRANGE",
        }


def test_signals_take_no_part_and_are_not_missed(shop: WiringShop) -> None:
    shop.circuit(code="BUS", role="signal", wire=None)
    shop.circuit(code="LOAD")
    net = network(shop.build)
    assert net.branches == 1
    assert net.left_out() == []


def test_each_load_draws_by_its_kind(shop: WiringShop) -> None:
    motor = shop.component("motor", nominal_v=12.0, nominal_a=10.0, peak_a=40.0)
    radio = shop.component("radio", nominal_v=12.0, nominal_a=1.0, peak_a=2.0)
    heater = shop.component("other", draw="resistance", nominal_a=4.0)
    by_part = {"continuous_a": None}
    circuits = [shop.circuit(component=part, **by_part) for part in (motor, radio, heater)]
    plain = shop.circuit(continuous_a=5.0, peak_a=6.0)
    limited = shop.circuit(component=motor, limit_a=25.0, **by_part)
    net = network(shop.build)
    m, r, h, p, lim = (at(net, c) for c in (*circuits, plain, limited))
    every, running = Scenario.ALL, Scenario.RUNNING
    kind, loads = np.asarray(net.loads.kind), net.loads
    limit_a = np.asarray(loads.limit_a)
    assert kind[[m, r, h, p], running].tolist() == [
        LoadKind.CURRENT,
        LoadKind.POWER,
        LoadKind.RESISTANCE,
        LoadKind.CURRENT,
    ]
    assert np.asarray(loads.current_a)[[m, p], running].tolist() == [10.0, 5.0]
    assert kind[m, every] == LoadKind.MOTOR
    assert np.asarray(loads.motor_ohm)[m, every] == pytest.approx(12.0 / 40.0)
    assert np.asarray(loads.power_w)[r].tolist() == [12.0, 12.0, 24.0]
    assert np.asarray(loads.load_ohm)[h].tolist() == [3.0, 3.0, 3.0]
    assert np.asarray(loads.current_a)[p, every] == 6.0
    assert limit_a[lim] == 25.0
    assert np.isinf(limit_a[m])
    done = solve(net.tree, net.as_new.sources, net.loads)
    assert done.load_a[lim, every] == pytest.approx(25.0)
    assert done.load_a[m, every] == pytest.approx(done.load_v[m, every] * 40.0 / 12.0)


def test_two_heaviest_mechanisms_push(shop: WiringShop) -> None:
    for code, peak, name in (("DRIVE-1", 40, ""), ("DRIVE-2", 40, ""), ("ARM-1", 30, ""), ("LIFT-1", 35, ""),
                             ("X9", 30, "arm")):  # fmt: skip
        shop.circuit(code=code, continuous_a=5.0, peak_a=peak, mechanism=name)
    net = network(shop.build)
    codes = [net.rows.circuits.texts("code")[i] for i in net.circuit]

    def pushing(net: Assembled) -> set[str]:
        return {code for code, pushes in zip(codes, net.pushes, strict=True) if pushes}

    assert pushing(net) == {"DRIVE-1", "DRIVE-2", "LIFT-1"}
    assert pushing(network(shop.build, push=np.array([1]))) == {"DRIVE-1", "DRIVE-2"}
    push = np.asarray(net.loads.current_a)[:, Scenario.PUSH]
    assert dict(zip(codes, push.tolist(), strict=True)) == {
        "DRIVE-1": 40, "DRIVE-2": 40, "LIFT-1": 35, "ARM-1": 5, "X9": 5,
    }  # fmt: skip


def test_a_current_limit_counts_when_mechanisms_are_weighed(shop: WiringShop) -> None:
    shop.circuit(code="DRIVE-1", continuous_a=5.0, peak_a=90.0, limit_a=20.0)
    shop.circuit(code="ARM-1", continuous_a=5.0, peak_a=30.0)
    net = network(shop.build, push=1)
    assert net.pushes.tolist() == [False, True]


def test_a_regulator_holds_its_output_and_passes_power_on(shop: WiringShop) -> None:
    part = shop.component("regulator", output_v=5.0, efficiency_frac=0.8, nominal_a=0.1)
    feed = shop.circuit(code="REG", role="feed", component=part, continuous_a=3.0)
    load = shop.circuit(code="CAM", fed_from=feed, continuous_a=2.0)
    net = network(shop.build)
    done = solve(net.tree, net.as_new.sources, net.loads)
    reg, cam = at(net, feed), at(net, load)
    assert np.asarray(net.loads.kind)[reg].tolist() == [LoadKind.REGULATOR] * 3
    assert done.load_v[cam, 0] < 5.0
    behind = 5.0 * done.current_a[cam, 0]
    assert done.current_a[reg, 0] * done.load_v[reg, 0] * 0.8 == pytest.approx(behind)


def test_behind_a_regulator_without_output_voltage_nothing_is_guessed(shop: WiringShop) -> None:
    part = shop.component("regulator")
    feed = shop.circuit(code="REG", role="feed", component=part, continuous_a=3.0)
    shop.circuit(code="CAM", fed_from=feed)
    net = network(shop.build)
    assert {x.code for x in net.left_out()} == {"CAM"}
    here = at(net, feed)
    assert np.asarray(net.loads.kind)[here].tolist() == [LoadKind.POWER] * 3
    assert np.asarray(net.loads.power_w)[here] == pytest.approx([36.0] * 3)


def test_full_voltage_is_the_top_of_the_rest_curve(shop: WiringShop) -> None:
    shop.circuit()
    assert network(shop.build).as_new.open_v.tolist() == [12.9]
    model = shop.build.battery_model
    assert model is not None
    model.rest_curve = [[0.5, 12.3], [1.0, 13.05]]
    model.save()
    assert network(shop.build).as_new.open_v.tolist() == [13.05]


def test_many_builds_at_once_are_each_as_alone(shop: WiringShop) -> None:
    builds = [shop.build, *(shop.robot(f"R{n}", shop.season) for n in range(3))]
    for n, build in enumerate(builds):
        main = shop.circuit(build=build, code="MAIN", role="main", continuous_a=None)
        for k in range(n + 1):
            shop.circuit(build=build, code=f"D-{k}", fed_from=main, continuous_a=5.0 + n, peak_a=20.0)
    net = network(*builds)
    every = solve(net.tree, net.as_new.sources, net.loads)
    for robot, row in enumerate(net.build_row):
        alone = network(Build.objects.get(pk=net.rows.builds.table.raw["id"][row]))
        one = solve(alone.tree, alone.as_new.sources, alone.loads)
        assert every.battery_v[robot] == pytest.approx(one.battery_v[0], rel=1e-12)
        assert every.load_v[net.robot == robot] == pytest.approx(one.load_v, rel=1e-12)


def test_no_circuits_at_all(shop: WiringShop) -> None:
    net = network(shop.build)
    assert net.robots == 0
    assert net.branches == 0
    assert net.left_out() == []
    assert net.assumptions() == []


def test_a_data_bus_takes_nothing_from_what_it_starts_at(shop: WiringShop) -> None:
    controller = shop.component("controller", nominal_a=1.5, nominal_v=12.0)
    fed = shop.circuit(code="CONTROLLER", component=controller, fed_from=main_of(shop), continuous_a=None)
    alone = network(shop.build)
    watts = np.asarray(alone.loads.power_w)[at(alone, fed)]
    assert watts[Scenario.RUNNING] == pytest.approx(1.5 * 12.0)
    shop.circuit(code="BUS", role="signal", fed_from=fed, continuous_a=None)
    assert np.asarray(network(shop.build).loads.power_w)[at(alone, fed)].tolist() == watts.tolist()
