"""From rows to an answer: how a build is put before the simulation, and what is kept of what it says."""

from __future__ import annotations

import json
from typing import Any

import numpy as np
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from builds.match_study import run_studies, study_inputs
from builds.match_study.duties import default_duty
from builds.match_study.motors import SPIN_UP_S
from builds.match_study.outcome import thinned
from builds.match_study.robot import StudyRobot
from builds.models import Build
from builds.services.match_studies import match_studies_update
from shared.electrical.network import LoadKind
from tests.builds.match_shop import MatchShop, make_match_shop
from tests.builds.study_shop import StudyShop

pytestmark = pytest.mark.django_db


@pytest.fixture
def shop() -> MatchShop:
    return make_match_shop()


@pytest.fixture
def short(shop) -> None:
    """The shortest matches there are: what is looked at here does not need more."""
    shop.change("season", match_s=10.0)


def robot_of(shop: MatchShop) -> StudyRobot:
    robot = shop.inputs().robot
    assert robot is not None
    return robot


def place(robot: StudyRobot, code: str) -> int:
    return [label.code for label in robot.labels].index(code)


def answers(shop: MatchShop, runs: int = 4) -> dict[str, dict[str, Any]]:
    found = shop.inputs()
    assert found.robot is not None
    batteries = [case.battery for case in found.cases]
    made = run_studies(found.robot, batteries, runs)
    return {battery.label: one for battery, one in zip(batteries, made, strict=True)}


# --- what enters -------------------------------------------------------------------------------------
def test_the_network_is_cold_and_counts_copper_joints_and_device(shop):
    robot = robot_of(shop)
    main = place(robot, "MAIN")
    # 0.6 m of 25 mm2 and the same back, 17.241 mohm mm2/m (IEC 60028) with the surcharge for strands; 0.5 mohm device.
    copper = robot.kernel.wire_ohm[main]
    assert copper == pytest.approx(2 * 0.6 * 17.241e-3 / 25, rel=0.06)
    total = float((robot.kernel.tree.supply_ohm + robot.kernel.tree.return_ohm)[main, 0])
    assert total == pytest.approx(copper + 4 * 0.5e-3 + 0.5e-3)
    assert robot.kernel.board == main
    assert robot.kernel.device_a[main] == pytest.approx(120 * 1.1), (
        "its own point says that it need not open there"
    )
    assert robot.kernel.device_tau_s[main] == 60


def test_a_device_warms_by_its_own_figures_and_a_coil_does_not(shop):
    robot = robot_of(shop)
    drive = place(robot, "DRIVE-1")
    # By its points: tau = t / ln(m^2 / (m^2 - 1)), 10 s at twice and 1 s at three times its rating; the sooner counts.
    assert robot.kernel.device_a[drive] == 40
    assert robot.kernel.device_tau_s[drive] == pytest.approx(1.0 / np.log(9 / 8))
    shop.change("F40", heat_s=5.0)
    assert robot_of(shop).kernel.device_tau_s[drive] == 5.0
    shop.change("F40", form="magnetic")
    assert np.isnan(robot_of(shop).kernel.device_tau_s[drive])


def test_motors_are_motors_and_the_others_draw_their_peak(shop):
    robot = robot_of(shop)
    kernel = robot.kernel
    drive, pump, cpu = (place(robot, code) for code in ("DRIVE-1", "PUMP", "CPU"))
    assert [int(np.asarray(kernel.loads.kind)[i]) for i in (drive, pump, cpu)] == [
        LoadKind.MOTOR, LoadKind.CURRENT, LoadKind.POWER,
    ]  # fmt: skip
    assert np.asarray(kernel.loads.motor_ohm)[drive] == pytest.approx(12 / 130)
    assert np.asarray(kernel.loads.current_a)[pump] == 20
    assert np.asarray(kernel.loads.power_w)[cpu] == pytest.approx(18)
    assert kernel.duties[cpu] is None
    assert kernel.spin_up_s[drive] == 0.2


def test_mechanisms_share_their_timing_and_keep_their_places(shop):
    robot = robot_of(shop)
    assert robot.mechanisms == ("CPU", "DRIVE", "MAIN", "PUMP", "RADIO")
    assert robot.kernel.group[place(robot, "DRIVE-1")] == robot.kernel.group[place(robot, "DRIVE-2")] == 1
    seed = robot.seed
    shop.change("MAIN", length_m=2.0)
    assert robot_of(shop).seed == seed, "a change of wiring meets the same matches"


def test_brown_out_levels_are_those_of_controller_and_radio_at_their_own_plugs(shop):
    robot = robot_of(shop)
    watched = [
        (robot.labels[i].code, v)
        for i, v in zip(robot.kernel.watch_branch, robot.kernel.watch_v, strict=True)
    ]
    assert watched == [("CPU", 6.8), ("RADIO", 9.0)]


def test_a_profile_is_read_in_the_order_of_its_phases(shop):
    robot = robot_of(shop)
    duty = robot.kernel.duties[place(robot, "DRIVE-1")]
    assert duty is not None
    assert duty.seconds.tolist() == [1.0, 0.5, 0.5]
    assert duty.draw_frac.tolist() == [0.6, 1.0, 0.0]
    assert duty.torque_frac.tolist() == [0.05, 0.5, 0.0]


def test_without_a_profile_running_and_peak_current_make_the_duty_and_the_peak_follows_the_voltage(shop):
    shop.change("DRIVE-1", profile_id=None, peak_a=72.0, continuous_a=18.0, duty_frac=0.25, cycle_s=8.0)
    robot = robot_of(shop)
    drive = place(robot, "DRIVE-1")
    duty = robot.kernel.duties[drive]
    assert duty is not None
    assert (duty.seconds.tolist(), duty.draw_frac.tolist()) == ([6.0, 2.0], [0.25, 1.0])
    assert int(np.asarray(robot.kernel.loads.kind)[drive]) == LoadKind.RESISTANCE
    assert np.asarray(robot.kernel.loads.load_ohm)[drive] == pytest.approx(12 / 72)
    shop.change("DRIVE-1", limit_a=48.0)
    limited = robot_of(shop)
    assert np.asarray(limited.kernel.loads.load_ohm)[drive] == pytest.approx(12 / 48)
    duty = limited.kernel.duties[drive]
    assert duty is not None
    assert duty.draw_frac.tolist() == [0.375, 1.0]


@pytest.mark.parametrize(
    ("given", "expected"),
    [
        ({"running_a": 5.0, "peak_a": 5.0}, None),
        ({"running_a": 0.0, "peak_a": 4.0}, None),
        ({"running_a": 0.0, "peak_a": 4.0, "peak_frac": 0.2}, ([8.0, 2.0], [0.0, 1.0])),
        ({"running_a": 1.0, "peak_a": 4.0, "peak_frac": 1.0}, None),
        ({"running_a": 1.0, "peak_a": 4.0, "peak_frac": 0.0}, ([10.0], [0.25])),
        ({"running_a": 1.0, "peak_a": 4.0, "peak_frac": 0.2, "cycle_s": 5.0}, ([4.0, 1.0], [0.25, 1.0])),
        ({"running_a": 2.0, "peak_a": 6.0, "motor": True}, ([8.0, 2.0], [1 / 3, 1.0])),
    ],
)
def test_default_duties_of_plain_loads(given, expected):
    unknown = {"peak_frac": float("nan"), "cycle_s": float("nan"), "motor": False}
    duty = default_duty(**{**unknown, **given})
    assert (duty and (duty.seconds.tolist(), duty.draw_frac.tolist())) == expected


def test_where_no_main_feed_is_drawn_the_board_hangs_on_leads_of_its_own(shop):
    shop.change("MAIN", role="feed")
    shop.change("build", source_mohm=20.0)
    robot = robot_of(shop)
    assert robot.kernel.board == len(robot.labels) - 1
    assert robot.labels[-1].circuit_id == 0
    # 20 mohm up to the board, of which the new battery makes 12.
    ohm = robot.kernel.tree.supply_ohm + robot.kernel.tree.return_ohm
    assert float(ohm[-1, 0]) == pytest.approx(8e-3)
    assert robot.as_new_ohm == pytest.approx(12e-3)
    assert int(robot.kernel.tree.parent[place(robot, "MAIN")]) == robot.kernel.board


def test_what_was_assumed_or_left_out_is_said(shop):
    shop.change("PUMP", length_m=None)
    shop.change("MOTOR", spin_up_s=None)
    said = robot_of(shop).assumptions
    assert "PUMP is left out: its length is not known." in said
    assert any(s.startswith("Joints of both poles not entered: 2 mΩ") and "MAIN" in s for s in said)
    (spin,) = (s for s in said if s.startswith("Spin-up time"))
    assert (
        spin
        == f"Spin-up time not entered: {SPIN_UP_S.value:g} s (common practice, no source): DRIVE-1, DRIVE-2."
    )


def test_a_collapse_tells_no_temperature():
    worn = StudyShop.open()
    worn.battery("WORN", 500.0)
    (found,) = study_inputs(worn.scope, Build.objects.filter(pk=worn.build.pk))
    assert found.robot is not None
    batteries = [case.battery for case in found.cases]
    new, tired = run_studies(found.robot, batteries, 2)
    assert [battery.label for battery in batteries][1] == "WORN"
    # 12.8 V behind half an ohm give 82 W at most (V^2 / 4R); at 12 V this robot runs on 280 W.
    assert (tired["summary"]["collapsed_runs"], tired["summary"]["runs_hit"]) == (2, 2)
    assert tired["summary"]["hottest"] is None
    assert {c["hottest_c"] for c in tired["circuits"]} == {None}
    assert new["summary"]["collapsed_runs"] == 0
    assert 30.0 < new["summary"]["hottest"]["celsius"] < new["summary"]["hottest"]["limit_c"]


def test_what_was_assumed_of_a_battery_is_said(shop):
    model = shop.inputs().build.battery_model
    model.rest_curve, model.polarisation_mohm, model.polarisation_s = [], None, None
    model.save()
    for case in shop.inputs().cases:
        curve, polarisation = case.battery.assumptions
        assert curve.startswith(f"Rest voltages of {model.code} not entered: a usual curve (Small AGM")
        assert polarisation.startswith(f"Polarisation of {model.code} not entered: 0.238")
        # The usual curve starts where the solved robot takes a full battery to be, and is as steep as it was.
        (empty, low), *_, (full, top) = case.battery.kernel.curve
        assert (empty, full) == (0.0, 1.0)
        assert top == pytest.approx(model.full_rest_v)
        assert top - low == pytest.approx(12.85 - 11.80)
    model.rest_curve, model.polarisation_mohm, model.polarisation_s = [[0.0, 11.8], [1.0, 12.8]], 3.0, 30.0
    model.save()
    assert [case.battery.assumptions for case in shop.inputs().cases] == [(), ()]


def test_batteries_come_as_measured_and_as_tested(shop):
    found = shop.inputs()
    new, measured = (case.battery for case in found.cases)
    assert (new.kernel.internal_ohm, new.kernel.capacity_ah) == (pytest.approx(0.012), 18)
    assert (measured.kernel.internal_ohm, measured.kernel.capacity_ah) == (pytest.approx(0.015), 16)
    assert measured.kernel.polarisation_ohm == pytest.approx(0.015 / 4.2)
    assert "16.0 Ah as tested" in measured.words
    assert "Meter A" in measured.words
    assert [(code, reason) for _, code, reason in found.unjudged] == [("B02", "it was never measured")]


# --- what comes out ----------------------------------------------------------------------------------
@pytest.mark.usefixtures("short")
def test_an_answer_is_plain_data_and_repeats_to_the_digit(shop):
    first, again = answers(shop), answers(shop)
    assert json.loads(json.dumps(first)) == first == again
    assert set(first) == {"New AGM", "B01"}
    new, worn = first["New AGM"]["summary"], first["B01"]["summary"]
    assert new["runs"] == 4
    assert worn["lowest_v"] < new["lowest_v"] < 12.85
    assert new["used_ah"] > 0
    assert new["hottest"]["limit_c"] == 105
    assert new["breaker"]["code"] == "DRIVE-1"
    assert new["breaker"]["heat_frac"] > 0


@pytest.mark.usefixtures("short")
def test_the_trace_is_that_of_the_worst_run_and_reaches_its_minimum(shop):
    one = answers(shop)["B01"]
    worst = one["board"]["worst"]
    at = int(np.argmin(one["trace"]["board_v"]))
    assert one["trace"]["board_v"][at] == pytest.approx(worst["v"], abs=2e-3)
    assert one["trace"]["t_s"][at] == pytest.approx(worst["t_s"], abs=0.02)
    assert worst["v"] == one["board"]["lowest_of_runs"][0] == one["summary"]["lowest_v"]
    assert one["build"]["duration_s"] == 10.0
    assert len(one["band"]["t_s"]) == 10
    assert 9.5 < one["trace"]["t_s"][-1] < 10.0
    assert all(low <= high for low, high in zip(one["band"]["p05_v"], one["band"]["p95_v"], strict=True))


@pytest.mark.usefixtures("short")
def test_a_level_above_what_arrives_is_a_brown_out_in_every_run_and_one_below_in_none(shop):
    shop.change("CONTROLLER", minimum_v=12.8)
    cpu, radio = answers(shop)["B01"]["levels"]
    assert (cpu["code"], cpu["frac"], cpu["runs_hit"], cpu["high_frac"]) == ("CPU", 1.0, 4, 1.0)
    assert 0.3 < cpu["low_frac"] < 0.5, "four of four prove no more than that (Clopper and Pearson)"
    assert cpu["seconds_below"] > 1.0
    shop.change("CONTROLLER", minimum_v=1.0)
    shop.change("LINK", minimum_v=1.0)
    summary = answers(shop)["B01"]["summary"]
    assert (summary["brownout_frac"], summary["brownout_low_frac"], summary["runs_hit"]) == (0.0, 0.0, 0)
    assert radio["code"] == "RADIO"


@pytest.mark.usefixtures("short")
def test_without_any_level_no_chance_is_told(shop):
    shop.change("CONTROLLER", minimum_v=None)
    shop.change("LINK", minimum_v=None)
    one = answers(shop)["B01"]
    assert one["levels"] == []
    assert one["summary"]["brownout_frac"] is None


@pytest.mark.usefixtures("short")
def test_the_motors_contribute_most_and_every_circuit_is_told(shop):
    one = answers(shop)["B01"]
    assert {row["code"] for row in one["contributors"][:2]} == {"DRIVE-1", "DRIVE-2"}
    shares = [row["share_frac"] for row in one["contributors"]]
    assert shares == sorted(shares, reverse=True)
    assert 0.9 < sum(shares) <= 1.0001
    assert {row["code"] for row in one["circuits"]} == {"MAIN", "DRIVE-1", "DRIVE-2", "PUMP", "CPU", "RADIO"}


@pytest.mark.usefixtures("short")
def test_a_study_is_kept_whole(shop):
    counts = match_studies_update(scope=shop.scope, builds=shop.builds, runs=20)
    assert counts["simulated"] == 2


def test_a_thinned_trace_keeps_ends_peaks_and_dips():
    values = np.full(7500, 12.0)
    values[[123, 4567]] = 5.0, 13.5
    values[2000] = np.nan
    kept = thinned(values, 600)
    assert kept.size <= 600
    assert {0, 123, 4567, 7499} <= set(kept.tolist())
    assert (np.diff(kept) > 0).all()
    assert thinned(np.arange(5.0), 600).tolist() == [0, 1, 2, 3, 4]


#: Columns that forms leave free, with what they allow.
FREE: dict[tuple[str, str], st.SearchStrategy[Any]] = {
    ("DRIVE-1", "length_m"): st.none() | st.floats(1e-3, 50),
    ("DRIVE-1", "joints_mohm"): st.none() | st.floats(1e-3, 500),
    ("DRIVE-1", "limit_a"): st.none() | st.floats(0.01, 500),
    ("DRIVE-1", "continuous_a"): st.none() | st.floats(0, 30),
    ("DRIVE-1", "peak_a"): st.none() | st.floats(30, 2000),
    ("DRIVE-1", "role"): st.sampled_from(["main", "feed", "branch", "signal"]),
    ("DRIVE-2", "profile_id"): st.none(),
    ("DRIVE-2", "fed_from_id"): st.none(),
    ("PUMP", "duty_frac"): st.none() | st.floats(0, 1),
    ("PUMP", "cycle_s"): st.none() | st.floats(1e-3, 1e4),
    ("PUMP", "continuous_a"): st.none() | st.floats(0, 20),
    ("COMPRESSOR", "draw"): st.sampled_from(["", "current", "power", "resistance", "motor"]),
    ("CONTROLLER", "nominal_a"): st.none() | st.floats(0, 400),
    ("CONTROLLER", "minimum_v"): st.none() | st.floats(0.1, 30),
    ("MOTOR", "nominal_v"): st.none() | st.floats(1, 50),
    ("MOTOR", "stall_a"): st.none() | st.floats(3, 5000),
    ("MOTOR", "spin_up_s"): st.none() | st.floats(1e-3, 100),
    ("push", "lasts_s"): st.floats(1e-3, 1000),
    ("push", "torque_frac"): st.floats(0, 1),
    ("W3", "area_mm2"): st.floats(0.01, 300),
    ("W3", "insulation_class_c"): st.sampled_from([60.0, 105.0, 200.0]),
    ("build", "ambient_c"): st.floats(-40, 90),
    ("build", "source_mohm"): st.none() | st.floats(0.1, 500),
    ("build", "battery_model_id"): st.none(),
    ("reading", "resistance_mohm"): st.floats(1, 500),
    ("thrice", "opens_min_s"): st.none() | st.floats(1e-3, 3),
    ("MAIN", "role"): st.sampled_from(["main", "feed", "branch"]),
}


@pytest.mark.usefixtures("short")
@settings(max_examples=12, suppress_health_check=[HealthCheck.function_scoped_fixture], deadline=None)
@given(data=st.data())
def test_whatever_the_forms_allow_is_answered(shop, data):
    chosen = data.draw(st.lists(st.sampled_from(sorted(FREE)), unique=True, max_size=6))
    before = {(name, field): getattr(shop[name], field) for name, field in chosen}
    try:
        for name, field in chosen:
            shop.change(name, **{field: data.draw(FREE[name, field], label=f"{name}.{field}")})
        found = shop.inputs()
        assert found.cannot or found.cases
        if found.robot is not None and found.cases:
            json.dumps(answers(shop, 2), allow_nan=False)
    finally:
        for (name, field), value in before.items():
            shop.change(name, **{field: value})
