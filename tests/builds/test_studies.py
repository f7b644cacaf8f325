"""What people ask of a build: solved, cheapest fix, which battery, how much current limit, what a change did."""

from __future__ import annotations

from dataclasses import replace
from decimal import Decimal
from typing import Any

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext

from builds.models import Build, Circuit
from builds.network import Scenario
from builds.selectors.studies import (
    batteries_for,
    build_changes,
    cheapest_fix,
    current_limits,
    solved_build,
)
from builds.studies import Limit, Runs
from inventory.models import Battery
from tests.builds.study_shop import StudyShop

pytestmark = pytest.mark.django_db


@pytest.fixture
def shop() -> StudyShop:
    return StudyShop.open()


# --- solved ----------------------------------------------------------------------------------------------
def test_every_node_obeys_kirchhoff(shop: StudyShop) -> None:
    told = solved_build(shop.scope, shop.build)
    assert told.cannot == ""
    by_code = {c.code: c for c in told.circuits}
    assert [c.code for c in told.circuits] == ["MAIN", "ARM-1", "CONTROLLER", "DRIVE-1", "DRIVE-2", "RADIO"]
    assert [c.depth for c in told.circuits] == [0, 1, 1, 1, 1, 1]
    for s in Scenario:
        main = by_code["MAIN"].nodes[s]
        whole = told.scenarios[s]
        fed = [c.nodes[s] for c in told.circuits if c.depth == 1]
        assert main.current_a == pytest.approx(sum(n.current_a or 0 for n in fed), rel=1e-9)
        assert whole.battery_v == pytest.approx(12.8 - 0.012 * (main.current_a or 0))
        assert main.supply_v == pytest.approx(whole.battery_v)
        assert main.load_v == whole.board_v
        for node in fed:
            assert node.supply_v == pytest.approx(main.load_v)
            assert node.path_drop_v == pytest.approx((main.drop_v or 0) + (node.drop_v or 0))


def test_where_the_board_is_taken_to_be_is_said(shop: StudyShop) -> None:
    def said() -> list[str]:
        return [str(a) for a in solved_build(shop.scope, shop.build).assumptions if "board" in str(a)]

    assert said() == []
    shop.add("MAIN-2", wire=shop.wiring.wire("4 AWG"), role="main", build=shop.build)
    assert said() == ["MAIN: the board is at the end of this main feed, not of MAIN-2 (our choice)"]
    Circuit.objects.filter(build=shop.build, role="main").update(role="feed")
    assert said() == ["board: at the battery's posts, as no main feed is drawn (our choice)"]


def test_the_worst_level_comes_first(shop: StudyShop) -> None:
    told = solved_build(shop.scope, shop.build)
    push = told.scenarios[Scenario.PUSH]
    assert [level.code for level in push.levels] == ["RADIO", "CONTROLLER"]
    assert push.worst is not None
    assert push.worst.margin_v == pytest.approx((push.worst.load_v or 0) - 9.0)
    assert told.scenarios[Scenario.RUNNING].board_v > push.board_v  # type: ignore[operator]


def test_a_measured_battery_takes_the_place_of_the_new_one(shop: StudyShop) -> None:
    tired = shop.battery("B7", 30.0)
    told = solved_build(shop.scope, shop.build, tired)
    main = told.circuits[0].nodes[Scenario.PUSH]
    assert told.battery.label == "B7"
    assert told.scenarios[Scenario.PUSH].battery_v == pytest.approx(12.8 - 0.030 * (main.current_a or 0))
    assert "Two-pulse DC" in told.battery.words


def test_collapse_is_an_answer(shop: StudyShop) -> None:
    greedy = shop.wiring.component("other", draw="power", nominal_v=12.0, nominal_a=400.0)
    shop.add("GREEDY", fed_from=shop.circuits["MAIN"], component=greedy, continuous_a=None)
    told = solved_build(shop.scope, shop.build)
    for whole in told.scenarios:
        assert not whole.solved
        assert whole.board_v is None
        assert whole.worst is not None
        assert whole.worst.margin_v is None
    assert all(n.load_v is None for c in told.circuits for n in c.nodes)


def test_what_cannot_be_solved_says_why(shop: StudyShop) -> None:
    shop.model.resistance_new_mohm = None
    shop.model.save()
    assert "resistance of this battery" in solved_build(shop.scope, shop.build).cannot
    never = shop.battery("B1")
    assert "resistance of this battery" in solved_build(shop.scope, shop.build, never).cannot
    assert solved_build(shop.scope, shop.build, shop.battery("B2", 15.0)).cannot == ""
    Circuit.objects.filter(code="MAIN").update(length_m=None)
    told = solved_build(shop.scope, shop.build, shop.battery("B3", 15.0))
    assert "left out" in told.cannot
    assert {x.code for x in told.left_out} == set(shop.circuits)


# --- cheapest fix ----------------------------------------------------------------------------------------
def weak() -> StudyShop:
    """The radio's wire is so long and thin that it has too little while the robot pushes."""
    return StudyShop.open(radio_m=14.0)


def test_the_weak_branch_is_found_and_its_fix_clears_it() -> None:
    shop = weak()
    shop.offer(shop.wiring.wire("20 AWG"), "6.00")
    study = cheapest_fix(shop.scope, shop.build)
    assert study.fails
    assert study.target is not None
    assert study.target.code == "RADIO"
    assert study.cheapest is not None
    assert study.cheapest.code == "RADIO"
    assert study.cheapest.clears
    assert study.fixes[0] == study.cheapest
    Circuit.objects.filter(pk=study.cheapest.circuit_id).update(wire_id=study.cheapest.new_wire_id)
    after = solved_build(shop.scope, shop.build).scenarios[Scenario.PUSH].worst
    assert after is not None
    assert after.margin_v is not None
    assert after.margin_v >= 0
    # The study solved the very robot that the rewired rows make.
    radio = next(
        x for x in solved_build(shop.scope, shop.build).scenarios[Scenario.PUSH].levels if x.code == "RADIO"
    )
    assert radio.load_v == pytest.approx(study.cheapest.target_v, abs=1e-9)


def test_a_fix_costs_what_its_new_conductor_costs() -> None:
    shop = weak()
    shop.offer(shop.wiring.wire("20 AWG"), "6.00", pack="12")
    fix = next(f for f in cheapest_fix(shop.scope, shop.build).fixes if f.code == "RADIO")
    assert fix.new_size == "20 AWG"
    # Two conductors of 14 m and 5 cm at either end; 0.50 a metre.
    assert fix.wire_m == pytest.approx(28.2)
    assert fix.cost == Decimal("14.10")
    # 22 AWG 0.3255 and 20 AWG 0.5176 mm2 (ASTM B258), copper 8.89 g/cm3.
    assert fix.added_g == pytest.approx((0.5176 - 0.3255) * 28.2 * 8.89, rel=2e-3)
    assert fix.gain_v is not None
    assert fix.v_per_money == pytest.approx(fix.gain_v / 14.10)
    assert fix.v_per_100g == pytest.approx(fix.gain_v / fix.added_g * 100)


def test_without_an_offer_the_next_of_the_catalogue_without_that_a_trade_size() -> None:
    shop = weak()
    kept = shop.wiring.wire("18 AWG")
    fixes = {f.code: f for f in cheapest_fix(shop.scope, shop.build).fixes}
    assert (fixes["RADIO"].new_wire_id, fixes["RADIO"].note) == (kept.pk, "no offer for this wire")
    assert fixes["RADIO"].cost is None
    assert (fixes["DRIVE-1"].new_wire_id, fixes["DRIVE-1"].new_size) == (None, "10 AWG")
    assert fixes["DRIVE-1"].note == "not in the catalogue"
    kept.insulation_class_c = 60.0
    kept.save()
    fixes = {f.code: f for f in cheapest_fix(shop.scope, shop.build).fixes}
    assert fixes["RADIO"].new_size == "20 AWG"


def test_a_fix_whose_terminals_are_too_small_says_so() -> None:
    shop = weak()
    Circuit.objects.filter(code="RADIO").update(terminal_load=shop.wiring.terminal(0.1, 0.4))
    fix = next(f for f in cheapest_fix(shop.scope, shop.build).fixes if f.code == "RADIO")
    assert "terminals do not take this size" in fix.note


def test_a_thicker_main_feed_lifts_everything(shop: StudyShop) -> None:
    study = cheapest_fix(shop.scope, shop.build)
    assert not study.fails
    assert study.cheapest is None
    gains = {f.code: (f.gain_v, f.board_gain_v) for f in study.fixes}
    target, board = gains["MAIN"]
    assert target is not None
    assert board is not None
    assert target > 0
    assert board > 0
    assert gains["RADIO"][0] > 0  # type: ignore[operator]
    # Another branch's wire lets its motor draw more: the board does not gain.
    assert gains["DRIVE-1"][1] < 0  # type: ignore[operator]


def test_a_least_board_voltage_is_a_level_like_others(shop: StudyShop) -> None:
    board = solved_build(shop.scope, shop.build).scenarios[Scenario.PUSH].board_v
    assert board is not None
    study = cheapest_fix(shop.scope, shop.build, least_board_v=board + 0.01)
    assert study.fails
    assert study.target is not None
    assert study.target.name == "distribution board"
    assert study.cheapest is not None
    assert study.cheapest.code == "MAIN"


def behind_a_regulator(shop: StudyShop, **values: Any) -> None:
    """A camera on 5 V that needs 4.8 V: little to spare, whatever the battery does."""
    part = shop.wiring.component("regulator", output_v=5.0, efficiency_frac=0.9, **values)
    camera = shop.wiring.component("sensor", nominal_v=5.0, nominal_a=0.5, minimum_v=4.8)
    feed = shop.add("REG", role="feed", fed_from=shop.circuits["MAIN"], component=part, continuous_a=None)
    shop.add("CAM", fed_from=feed, component=camera, continuous_a=None, length_m=0.5)


def test_what_a_regulator_holds_is_not_the_worst_unless_it_fails(shop: StudyShop) -> None:
    behind_a_regulator(shop)
    push = solved_build(shop.scope, shop.build).scenarios[Scenario.PUSH]
    assert [level.code for level in push.levels] == ["RADIO", "CONTROLLER", "REG", "CAM"]
    assert push.levels[-1].margin_v < push.levels[0].margin_v  # type: ignore[operator]
    study = cheapest_fix(shop.scope, shop.build)
    assert study.target is not None
    assert study.target.code == "RADIO"
    Circuit.objects.filter(code="CAM").update(length_m=45.0)
    push = solved_build(shop.scope, shop.build).scenarios[Scenario.PUSH]
    assert push.levels[0].code == "CAM"
    study = cheapest_fix(shop.scope, shop.build)
    assert study.fails
    assert study.cheapest is not None
    assert study.cheapest.code == "CAM"


def test_a_regulator_needs_what_it_gives_out_unless_it_says_otherwise(shop: StudyShop) -> None:
    behind_a_regulator(shop, minimum_v=7.0)
    levels = {
        x.code: x.minimum_v for x in solved_build(shop.scope, shop.build).scenarios[Scenario.PUSH].levels
    }
    assert levels["REG"] == 7.0
    shop.circuits["REG"].component.minimum_v = None  # type: ignore[union-attr]
    shop.circuits["REG"].component.save()  # type: ignore[union-attr]
    levels = {
        x.code: x.minimum_v for x in solved_build(shop.scope, shop.build).scenarios[Scenario.PUSH].levels
    }
    assert levels["REG"] == 5.0


def test_where_no_wire_lifts_the_worst_place_the_board_counts(shop: StudyShop) -> None:
    behind_a_regulator(shop)
    Circuit.objects.filter(code__in=["RADIO", "CONTROLLER"]).delete()
    Circuit.objects.filter(code="REG").update(component=None, continuous_a=2.0)
    study = cheapest_fix(shop.scope, shop.build)
    assert study.target is not None
    assert study.target.code == "CAM"
    assert study.fixes[0].code == "MAIN" or study.fixes[0].gain_v is not None


def test_headroom_is_how_far_the_draws_may_grow(shop: StudyShop) -> None:
    told = solved_build(shop.scope, shop.build)
    rooms = [s.headroom for s in told.scenarios]
    assert all(room is None or room > 1.0 for room in rooms)
    assert rooms[Scenario.RUNNING] is not None


# --- batteries -------------------------------------------------------------------------------------------
def test_each_battery_is_judged_by_its_own_resistance(shop: StudyShop) -> None:
    good, bad = shop.battery("B1", 14.0), shop.battery("B2", 60.0)
    shop.battery("B3")
    shop.battery("B4", 10.0, state="retired", state_reason="Old")
    study = batteries_for(shop.scope, shop.build)
    assert [(r.code, r.verdict) for r in study.rows] == [
        ("B1", Runs.YES),
        ("B2", Runs.NO),
        ("B3", Runs.UNKNOWN),
    ]
    first = solved_build(shop.scope, shop.build, good).scenarios[Scenario.PUSH]
    assert study.rows[0].board_v == pytest.approx(first.board_v)
    assert study.rows[0].margin_v == pytest.approx(first.worst and first.worst.margin_v)
    assert "RADIO" in study.rows[1].reason
    assert study.rows[2].reason.startswith("Nothing tells the resistance")
    assert study.rows[2].words == "never measured"
    assert study.as_new is not None
    assert study.as_new.verdict == Runs.YES
    assert bad.pk == study.rows[1].battery_id


def test_the_largest_resistance_that_still_runs(shop: StudyShop) -> None:
    limit = batteries_for(shop.scope, shop.build).resistance_limit_mohm
    assert limit is not None
    shop.battery("JUST", limit)
    shop.battery("OVER", limit + 0.2)
    verdicts = {r.code: r.verdict for r in batteries_for(shop.scope, shop.build).rows}
    assert verdicts == {"JUST": Runs.YES, "OVER": Runs.NO}


def test_without_any_need_no_battery_is_called_fit(shop: StudyShop) -> None:
    shop.battery("B1", 14.0)
    shop.wiring.build.circuits.filter(code__in=["RADIO", "CONTROLLER"]).delete()
    study = batteries_for(shop.scope, shop.build)
    assert [r.verdict for r in study.rows] == [Runs.UNKNOWN]
    assert "lowest voltage it works at" in study.rows[0].reason
    assert study.resistance_limit_mohm is None


# --- current limits --------------------------------------------------------------------------------------
def test_the_limit_is_the_largest_whole_ampere_that_helps(shop: StudyShop) -> None:
    tired = shop.battery("B9", 40.0)
    study = current_limits(shop.scope, shop.build, tired)
    assert study.before is not None
    assert (study.before.margin_v or 0) < 0
    rows = {r.mechanism: r for r in study.rows}
    assert set(rows) == {"DRIVE", "ARM"}
    drive = rows["DRIVE"]
    assert drive.verdict == Limit.SET
    assert drive.limit_a is not None
    assert drive.motors == 2
    assert (drive.margin_v or -1) >= 0
    drives = Circuit.objects.filter(code__startswith="DRIVE")
    for limit, holds in ((drive.limit_a, True), (drive.limit_a + 1, False)):
        drives.update(limit_a=limit)
        worst = solved_build(shop.scope, shop.build, tired).scenarios[Scenario.PUSH].worst
        assert worst is not None
        assert ((worst.margin_v or 0) >= 0) is holds
    assert rows["ARM"].verdict == Limit.NOT_ENOUGH
    assert study.all_motors is not None
    assert (study.all_motors.limit_a or 0) <= drive.limit_a


def test_no_limit_is_needed_when_nothing_lacks_voltage(shop: StudyShop) -> None:
    study = current_limits(shop.scope, shop.build)
    assert {r.verdict for r in study.rows} == {Limit.NONE_NEEDED}
    assert all(r.limit_a is None for r in study.rows)


def test_the_limit_now_is_told_where_motors_share_one(shop: StudyShop) -> None:
    Circuit.objects.filter(code__startswith="DRIVE").update(limit_a=40.0)
    study = current_limits(shop.scope, shop.build)
    assert {r.mechanism: r.limit_now_a for r in study.rows} == {"DRIVE": 40.0, "ARM": None}
    assert study.all_motors is not None
    assert study.all_motors.limit_now_a is None


def test_a_limit_below_the_running_current_is_not_raised_in_the_search(shop: StudyShop) -> None:
    Circuit.objects.filter(code__startswith="DRIVE").update(limit_a=4.0)
    study = current_limits(shop.scope, shop.build, shop.battery("B-TIRED", 150.0))
    drive = next(row for row in study.rows if row.mechanism == "DRIVE")
    assert (drive.verdict, drive.limit_now_a, drive.peak_a) == (Limit.NOT_ENOUGH, 4.0, 4.0)
    assert "even 4 A" in drive.words


# --- reading ---------------------------------------------------------------------------------------------
def test_queries_do_not_grow_with_circuits_and_batteries(shop: StudyShop) -> None:
    def counts() -> list[int]:
        found = []
        build = Build.objects.select_related("battery_model").get(pk=shop.build.pk)
        battery = Battery.objects.order_by("pk").first()
        for ask in (
            lambda: solved_build(shop.scope, build, battery),
            lambda: cheapest_fix(shop.scope, build, battery),
            lambda: batteries_for(shop.scope, build),
            lambda: current_limits(shop.scope, build, battery),
            lambda: build_changes(shop.scope, build, build),
        ):
            with CaptureQueriesContext(
                connection,
            ) as seen:
                ask()
            found.append(len(seen))
        return found

    shop.battery("B1", 14.0)
    few = counts()
    for n in range(2, 6):
        battery = shop.battery(f"B{n}", 14.0)
        shop.reading(battery, 15.0, instrument="Other")
        shop.add(f"LAMP-{n}", fed_from=shop.circuits["MAIN"])
        shop.offer(shop.wiring.wire("10 AWG"), "3.00")
    assert counts() == few


def test_answers_are_values(shop: StudyShop) -> None:
    study = cheapest_fix(shop.scope, shop.build)
    assert replace(study) == study
