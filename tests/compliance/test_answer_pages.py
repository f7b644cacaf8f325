"""The answers about a build as pages: what the studies say, and a draft that tries a fix."""

from __future__ import annotations

import pytest
from django.urls import reverse

from builds.models import Build, BuildState, Circuit
from builds.network import Scenario
from builds.selectors.studies import batteries_for, build_changes, cheapest_fix, current_limits, solved_build
from builds.services.fixes import fix_as_draft, free_label
from compliance.selectors.circuit_path import path_working, stages_to
from compliance.selectors.compare import change_notes
from shared.models import Role
from tests.builds.workshop import make_robot
from tests.compliance.power_shop import PowerShop, make_power_shop, wire
from tests.world import team_world

pytestmark = pytest.mark.django_db


@pytest.fixture
def power(client) -> PowerShop:
    made = make_power_shop()
    client.force_login(made.scope.user)
    return made


def url(power, name, build=None):
    row = build or power.build
    return reverse(name, kwargs={"team": power.shop.team.slug, "pk": row.pk})


# --- cheapest fix ------------------------------------------------------------------------------------
@pytest.mark.parametrize(("least_v", "fails"), [(4.0, False), (9.5, True)])
def test_the_heading_names_the_fix_the_study_ranks_first(client, power, least_v, fails):
    for size in ("14 AWG", "12 AWG", "8 AWG"):
        wire(power.shop, size)
    battery = power.battery("GP-04", 26.0)
    page = client.get(url(power, "build-fixes"), {"battery": battery.pk, "least_v": least_v})
    told = cheapest_fix(power.scope, power.build, battery, least_board_v=least_v)
    assert page.context["found"] == told
    assert told.fails == fails
    found = told.cheapest or (None if fails else told.fixes[0])
    words = (
        f"{found.code} from {found.old_size} to {found.new_size}" if found else "No single thicker wire mends"
    )
    assert words in page.content.decode()


def test_a_fix_is_tried_as_a_draft_and_the_build_stays(client, power):
    thick = wire(power.shop, "12 AWG")
    arm = power.circuits["ARM-1"]
    answer = client.post(url(power, "build-fixes"), {"circuit": arm.pk, "wire": thick.pk})
    draft = Build.objects.get(robot=power.build.robot, state=BuildState.DRAFT)
    assert answer.url == url(power, "build-compare", draft)
    assert draft.circuits.get(code="ARM-1").wire_id == thick.pk
    assert draft.circuits.count() == power.build.circuits.count()
    assert Circuit.objects.get(pk=arm.pk).wire_id == arm.wire_id
    page = client.get(answer.url)
    assert page.context["other"] == power.build
    assert [(c.kind, c.code) for c in page.context["found"].changes] == [("changed", "ARM-1")]
    assert "1 circuit differs" in page.content.decode()


def test_the_labels_of_drafts_do_not_meet(power):
    arm = power.circuits["ARM-1"]
    first = free_label(power.scope, power.build, arm)
    Build.objects.create(
        team=power.shop.team, robot=power.build.robot, label=first, dated="2026-10-01", state="draft"
    )
    second = free_label(power.scope, power.build, arm)
    assert second != first
    power.build.label = "x" * 40
    assert len(free_label(power.scope, power.build, arm)) <= 40


def test_a_fix_needs_a_circuit_of_the_build_and_a_wire_of_the_team(client, power):
    other = team_world("Far Shore", "far-shore")
    arm = power.circuits["ARM-1"]
    foreign = next(row for model, row in other.rows.items() if model.__name__ == "WireType")
    for data in (
        {"circuit": arm.pk, "wire": foreign.pk},
        {"circuit": arm.pk, "wire": "no"},
        {"circuit": "x", "wire": arm.wire_id},
        {},
    ):
        assert client.post(url(power, "build-fixes"), data).status_code == 404
    assert not Build.objects.filter(robot=power.build.robot, state=BuildState.DRAFT).exists()


def test_an_auditor_sees_fixes_and_tries_none(client):
    made = make_power_shop(Role.AUDITOR)
    client.force_login(made.scope.user)
    wire(made.shop, "12 AWG")
    assert "Try as draft<" not in client.get(url(made, "build-fixes")).content.decode()
    arm = made.circuits["ARM-1"]
    assert client.post(url(made, "build-fixes"), {"circuit": arm.pk, "wire": arm.wire_id}).status_code == 403


# --- batteries and limits ----------------------------------------------------------------------------
def test_the_batteries_are_counted_by_their_verdicts(client, power):
    power.battery("GP-01", 14.5)
    power.battery("GP-66", 90.0)
    power.battery("GP-09", None)
    page = client.get(url(power, "build-cart"))
    told = batteries_for(power.scope, power.build)
    by_code = {row.code: row.verdict for row in told.rows}
    assert (by_code["GP-66"], by_code["GP-09"]) == ("no", "unknown")
    yes = sum(1 for verdict in by_code.values() if verdict == "yes")
    assert f"{yes} of 3 batteries may run" in page.content.decode()


def test_a_weak_branch_is_no_fault_of_the_battery(power):
    """What only costs the robot a function judges the wiring, not which battery may go out."""
    power.battery("GP-01", 14.5)
    motor = power.circuits["ARM-1"].component
    motor.minimum_v = 12.0  # more than any battery brings through its thin lead
    motor.save()
    study = batteries_for(power.scope, power.build)
    assert [row.verdict for row in study.rows] == ["yes"]
    assert study.rows[0].worst is not None
    assert study.rows[0].worst.code in ("BRAIN", "REG", "RADIO")
    assert cheapest_fix(power.scope, power.build).fails


def test_a_wish_for_the_board_is_asked_of_the_study(client, power):
    power.battery("GP-01", 14.5)
    strict = client.get(url(power, "build-cart"), {"least_v": "12.5"}).context["found"]
    assert [row.verdict for row in strict.rows] == ["no"]
    wrong = client.get(url(power, "build-cart"), {"least_v": "much"})
    assert wrong.context["form"].errors


def test_the_limit_of_the_study_stands_in_the_heading(client, power):
    weak = power.battery("GP-04", 45.0)
    page = client.get(url(power, "build-limits"), {"battery": weak.pk})
    told = current_limits(power.scope, power.build, weak)
    assert {row.mechanism for row in page.context["found"].rows} == {row.mechanism for row in told.rows}
    assert told.all_motors is not None
    words = {
        "none needed": "No current limit is needed.",
        "limit": f"{told.all_motors.limit_a} A per motor leaves every device its voltage.",
        "not enough": "No current limit alone leaves every device its voltage.",
    }
    assert words[told.all_motors.verdict] in page.content.decode()


# --- compare -----------------------------------------------------------------------------------------
def test_one_build_alone_says_how_to_make_another(client, power):
    assert "Copy the build" in client.get(url(power, "build-compare")).content.decode()


def test_a_build_of_another_team_cannot_be_put_beside(client, power):
    other = team_world("Far Shore", "far-shore")
    foreign = other.pk(Build)
    assert client.get(url(power, "build-compare"), {"with": foreign}).status_code == 404


def test_the_differences_are_figures_of_both(power):
    thick = wire(power.shop, "12 AWG")
    before = solved_build(power.scope, power.build).scenarios[Scenario.PUSH].board_v
    draft = fix_as_draft(
        scope=power.scope, build=power.build, circuit=power.circuits["ARM-1"], wire=thick
    ).build
    found = build_changes(power.scope, power.build, draft)
    board = next(effect for effect in found.effects if effect.before == pytest.approx(before))
    assert board.after == pytest.approx(solved_build(power.scope, draft).scenarios[Scenario.PUSH].board_v)
    assert change_notes(found)[1]["ARM-1"].startswith("changed: ")


# --- a circuit in the solved robot -------------------------------------------------------------------
def test_the_path_of_a_circuit_starts_at_the_battery_and_its_sums_hold(power):
    """By hand at every stage: what arrives is what was fed less the current times both poles (Ohm, Kirchhoff)."""
    battery = power.battery("GP-04", 26.0)
    solved = solved_build(power.scope, power.build, battery)
    stages = stages_to(solved, power.circuits["RADIO"].pk)
    assert [stage.found.code for stage in stages] == ["MAIN", "REG", "RADIO"]
    assert [stage.is_last for stage in stages] == [False, False, True]
    working = path_working(solved, stages, Scenario.PUSH)
    assert working is not None
    source, *rest = working["steps"]
    numbers = source["numbers"]
    assert source["result"] == pytest.approx(
        numbers["U₀"][0] - numbers["Rᵢ"][0] / 1e3 * numbers["I"][0], abs=1e-6
    )
    for step in rest:
        given = {symbol: value for symbol, (value, _) in step["numbers"].items()}
        lost = (given["R₊"] + given["R₋"]) / 1e3 * given["I"]
        assert step["result"] == pytest.approx(given["U_feed"] - lost, abs=1e-6)
    assert working["limit"]["value"] == 4.6


def test_the_circuit_page_shows_its_path_with_the_battery_asked_for(client, power):
    battery = power.battery("GP-04", 26.0)
    page = client.get(url(power, "circuit-detail", power.circuits["ARM-1"]), {"battery": battery.pk})
    html = page.content.decode()
    assert "In the solved robot" in html
    assert page.context["solved"].battery.label == "GP-04"
    volts = page.context["stages"][-1].nodes[Scenario.PUSH].load_v
    assert f"{volts:.2f}" in html


def test_a_circuit_left_out_has_no_path(client, power):
    Circuit.objects.filter(pk=power.circuits["ARM-1"].pk).update(length_m=None)
    page = client.get(url(power, "circuit-detail", power.circuits["ARM-1"]))
    assert page.context["stages"] == []
    assert "In the solved robot" not in page.content.decode()


def test_every_page_of_a_build_has_the_same_tabs(client, power):
    make_robot(power.shop)
    names = ["build-detail", "build-power", "build-fixes", "build-cart", "build-limits", "build-compare"]
    for name in names:
        page = client.get(url(power, name))
        assert [tab[1] for tab in page.context["tabs"]] == [url(power, n) for n in names]
        current = [tab for tab in page.context["tabs"] if tab[2] == page.context["tab_key"]]
        assert [tab[1] for tab in current] == [url(power, name)]
