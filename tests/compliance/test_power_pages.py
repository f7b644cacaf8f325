"""The power page says what the solved robot says, to the figure; every state has its words."""

from __future__ import annotations

from dataclasses import replace

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext
from django.urls import reverse
from django.utils import timezone

from builds.models import Build, Circuit, MatchStudy
from builds.network import Scenario
from builds.selectors.match_studies import StudyRow
from builds.selectors.studies import solved_build
from builds.studies import BatteryVerdict, Node, Runs
from compliance.selectors.power_drawings import match_picture, note_of
from compliance.selectors.power_pages import CartRow, headline, share_words, when_words
from shared.models import JobRun, Role
from tests.builds.workshop import make_build, make_circuit, make_robot
from tests.compliance.power_shop import PowerShop, make_power_shop

pytestmark = pytest.mark.django_db


@pytest.fixture
def power(client) -> PowerShop:
    made = make_power_shop()
    client.force_login(made.scope.user)
    return made


def url(power, name, build=None, **query):
    tail = "&".join(f"{key}={value}" for key, value in query.items())
    row = build or power.build
    where = reverse(name, kwargs={"team": power.shop.team.slug, "pk": row.pk})
    return f"{where}?{tail}" if tail else where


def outcome(power, **changes):
    """A study as the simulation leaves it."""
    arm = power.circuits["ARM-1"].pk
    whole = {
        "schema": 1,
        "summary": {
            "brownout_frac": 0.12, "brownout_low_frac": 0.08, "brownout_high_frac": 0.17, "runs": 200,
            "runs_hit": 24, "lowest_v": 6.21, "collapsed_runs": 0, "used_ah": 1.9, "used_wh": 21.0,
            "hottest": {"circuit": arm, "code": "ARM-1", "celsius": 91.0, "limit_c": 105.0},
            "breaker": {"circuit": power.circuits["MAIN"].pk, "code": "MAIN", "heat_frac": 0.4},
        },
        "build": {"board": "MAIN", "duration_s": 150, "step_s": 0.02, "mechanisms": ["DRIVE", "ARM"]},
        "battery": {"label": "GP-04", "as_new": False, "open_v": 12.8, "internal_mohm": 24.0, "words": ""},
        "levels": [
            {"circuit": power.circuits["BRAIN"].pk, "code": "BRAIN", "name": "Brain", "minimum_v": 6.8,
             "lowest_v": 6.2, "median_lowest_v": 8.0, "frac": 0.12, "low_frac": 0.08, "high_frac": 0.17,
             "runs_hit": 24, "seconds_below": 0.42},
        ],
        "trace": {"t_s": [0.0, 1.0, 2.0], "board_v": [12.1, 6.21, 11.8], "battery_v": [12.5, 9.0, 12.2],
                  "current_a": [20.0, 290.0, 40.0]},
        "band": {"t_s": [0, 1], "p05_v": [7.0, 6.9], "p50_v": [9.0, 9.0], "p95_v": [11.0, 10.8]},
        "contributors": [{"circuit": arm, "code": "ARM-1", "name": "Arm", "amps": 96.0, "share_frac": 0.4}],
        "circuits": [],
        "assumptions": ["Every match starts with a full battery."],
    }  # fmt: skip
    return {**whole, **changes}


def study(power, battery, **changes):
    return MatchStudy.objects.create(
        team=power.shop.team,
        build=power.build,
        battery=battery,
        key="a" * 64,
        runs=200,
        duration_s=150,
        seed=1,
        outcome=outcome(power, **changes),
        computed_at=timezone.now(),
    )


def test_the_heading_is_the_answer_of_the_solved_robot(client, power):
    weak = power.battery("GP-04", 26.0)
    power.battery("GP-01", 14.5)
    page = client.get(url(power, "build-power"))
    solved = solved_build(power.scope, power.build, weak)
    push = solved.scenarios[Scenario.PUSH]
    assert page.context["battery"] == weak  # the weakest is the answer that matters
    assert f"With GP-04 the board falls to {push.board_v:.1f} V when" in page.context["headline"]
    assert "push together" in page.context["headline"]
    assert page.context["headline"] in page.content.decode().replace("&#x27;", "'")


def test_a_chosen_battery_and_load_are_what_is_solved(client, power):
    fresh = power.battery("GP-01", 14.5)
    power.battery("GP-04", 26.0)
    page = client.get(url(power, "build-power", battery=fresh.pk, case="running"))
    running = solved_build(power.scope, power.build, fresh).scenarios[Scenario.RUNNING]
    assert page.context["now"] == running
    assert f"{running.board_v:.1f} V while everything runs steadily" in page.context["headline"]
    new = client.get(url(power, "build-power", battery="new"))
    assert new.context["battery"] is None


def test_every_branch_stands_in_the_tree_and_opens_its_working(client, power):
    html = client.get(url(power, "build-power")).content.decode()
    for circuit in power.circuits.values():
        link = reverse("circuit-detail", kwargs={"team": power.shop.team.slug, "pk": circuit.pk})
        assert f'class="d-row" href="{link}' in html


def test_a_circuit_that_takes_no_part_stands_in_the_tree_with_its_reason(client, power):
    Circuit.objects.filter(pk=power.circuits["ARM-1"].pk).update(length_m=None)
    tree = client.get(url(power, "build-power")).context["tree"]
    arm = next(branch for branch in tree.branches if branch.key == "ARM-1")
    assert (arm.severity, arm.parent, arm.current_a) == ("unknown", "MAIN", None)
    assert "length" in arm.note


@pytest.mark.parametrize(
    ("changes", "words"),
    [
        ({}, ""),
        ({"limited": True}, "held by its current limit"),
        ({"drop_v": 0.9, "limited": True}, "loses 0.9 V here"),
        ({"drop_v": 0.9, "dropout": True}, "regulator gets too little"),
        ({"margin_v": 1.25, "drop_v": 0.9}, "1.3 V above what it needs"),
        ({"margin_v": -0.4, "dropout": True}, "0.4 V below what it needs"),
    ],
)
def test_a_branch_says_what_matters_most_of_it(changes, words):
    calm = Node(12.0, 11.9, 3.0, 3.0, 0.1, 0.4, None, limited=False, dropout=False)
    assert note_of(replace(calm, **changes), None) == words


def test_the_margins_stand_by_what_matters(client, power):
    page = client.get(url(power, "build-power")).context
    rows = [*page["telling"], *page["calm"]]
    order = ["stop", "fix", "watch", "unknown", "ok"]
    places = [order.index(row.state) for row in rows]
    assert places == sorted(places)
    assert {row.found.code for row in rows} == set(power.circuits)


def test_every_battery_has_its_chance_of_a_brown_out(client, power):
    battery = power.battery("GP-04", 24.0)
    power.battery("GP-09", None)
    study(power, battery)
    page = client.get(url(power, "build-power"))
    assert [row.label for row in page.context["cart"]][:2] != []
    html = page.content.decode()
    for words in ("12", "8", "17", "ARM-1", "not simulated", "never measured"):
        assert words in html
    assert page.context["trace"].levels[0].below_s == 0.42
    assert "The worst match with GP-04" in html
    assert '<dd>200 of <span class="qty"><span class="fig">150</span>' in html, "how many, and how long each"
    assert "Every match starts with a full battery." in html


@pytest.mark.parametrize(
    ("runs", "share", "fresh", "state"),
    [
        (Runs.YES, None, True, "ok"),
        (Runs.YES, (0.0, 0.0), True, "ok"),
        (Runs.YES, (0.004, 0.001), True, "watch"),
        (Runs.YES, (0.3, 0.049), True, "watch"),
        (Runs.YES, (0.3, 0.05), True, "fix"),
        (Runs.YES, (0.9, 0.5), True, "stop"),
        (Runs.YES, (1.0, 0.8), False, "ok"),  # of a build that is no more
        (Runs.NO, (0.0, 0.0), True, "stop"),
        (Runs.UNKNOWN, None, True, "unknown"),
    ],
)
def test_a_battery_is_as_good_as_the_worse_of_its_two_answers(runs, share, fresh, state):
    verdict = BatteryVerdict(1, "GP-01", 12.8, 15.0, 9.0, None, 1.0, runs, "As solved.", "")
    names = ("brownout_frac", "brownout_low_frac")
    summary = dict(zip(names, share, strict=True)) if share else {}
    row = CartRow("GP-01", 1, verdict, StudyRow(1, "GP-01", "", None, summary, fresh))
    assert row.state == state
    told = runs != Runs.NO and fresh and share and share[0]
    assert row.reason == (
        f"Browns out in {share_words(told)} of the simulated matches." if told else "As solved."
    )


def test_a_rare_brown_out_is_never_said_to_be_none():
    assert [share_words(share) for share in (0.002, 0.01, 0.996)] == ["under 1%", "1%", "100%"]


def test_the_heading_tells_of_simulated_matches(power):
    solved = solved_build(power.scope, power.build)
    assert "and browns out in 12% of simulated matches; " in headline(solved, Scenario.PUSH, 0.12)
    assert "browns out" not in headline(solved, Scenario.PUSH, 0.0)


def test_a_match_that_left_no_trace_is_not_drawn(power):
    assert match_picture(power.build, outcome(power, trace=None), "GP-04") is None
    drawn = match_picture(power.build, outcome(power, band=None), "GP-04")
    assert drawn is not None
    assert (len(drawn.points), drawn.band, drawn.levels[0].severity) == (3, [], "stop")


def test_what_is_missing_is_said_with_where_to_enter_it(client, power):
    bare = make_build(power.shop, make_robot(power.shop))
    assert "Add a circuit" in client.get(url(power, "build-power", bare)).content.decode()
    Build.objects.filter(pk=power.build.pk).update(battery_model=None, source_mohm=None)
    page = client.get(url(power, "build-power"))
    assert page.context["solved"].cannot
    assert page.context["solved"].cannot in page.content.decode().replace("&#x27;", "'")
    assert "Edit the build" in page.content.decode()


def test_a_collapse_is_an_answer(power):
    weak = power.battery("GP-66", 140.0)
    Circuit.objects.filter(pk=power.circuits["BRAIN"].pk).update(continuous_a=45)
    solved = solved_build(power.scope, power.build, weak)
    if solved.scenarios[Scenario.ALL].solved:
        pytest.skip("this load still has a solution")
    assert "the voltage collapses when everything peaks at once" in headline(solved, Scenario.ALL)


def test_who_pushes_is_named(power):
    solved = solved_build(power.scope, power.build)
    assert when_words(solved, Scenario.PUSH) in (
        "when DRIVE and ARM push together",
        "when ARM and DRIVE push together",
    )


def test_simulating_is_queued_once_and_its_progress_shown(client, power):
    power.battery("GP-01", 15.0)
    answer = client.post(url(power, "build-simulate"))
    assert answer.status_code == 302
    client.post(url(power, "build-simulate"))
    runs = JobRun.objects.filter(name="match.build", state=JobRun.State.QUEUED)
    assert runs.count() == 1
    page = client.get(url(power, "build-power"))
    assert page.context["run"] == runs.get()
    assert f"/jobs/{runs.get().pk}/" in page.content.decode()


def test_an_auditor_reads_but_starts_nothing(client):
    made = make_power_shop(Role.AUDITOR)
    client.force_login(made.scope.user)
    page = client.get(url(made, "build-power"))
    assert page.status_code == 200
    assert "Simulate the matches" not in page.content.decode()
    assert client.post(url(made, "build-simulate")).status_code == 403


def test_a_robot_leads_to_the_power_of_its_current_build(client, power):
    where = reverse("robot-power", kwargs={"team": power.shop.team.slug, "pk": power.build.robot_id})
    assert client.get(where).url == url(power, "build-power")
    empty = make_robot(power.shop)
    where = reverse("robot-power", kwargs={"team": power.shop.team.slug, "pk": empty.pk})
    assert client.get(where).url.endswith(f"/robots/{empty.pk}/")


def queries(client, where):
    with CaptureQueriesContext(connection) as asked:
        assert client.get(where).status_code == 200
    return len(asked)


@pytest.mark.parametrize(
    "name", ["build-power", "build-fixes", "build-cart", "build-limits", "build-compare"]
)
def test_more_circuits_and_batteries_cost_no_more_queries(client, power, name):
    for n in range(2):
        power.battery(f"A-{n}", 15.0 + n)
    other = make_build(power.shop, power.build.robot, "rev 0", state="past")
    make_circuit(power.shop, other, "MAIN", role="main")
    where = url(power, name)
    queries(client, where)  # what is asked only the first time
    few = queries(client, where)
    for n in range(12):
        make_circuit(
            power.shop, power.build, f"MORE-{n}", fed_from=power.circuits["MAIN"], continuous_a=2, peak_a=4
        )
        power.battery(f"B-{n}", 16.0 + n)
    assert queries(client, where) == few


@pytest.mark.parametrize(("name", "most"), [("build-power", 28), ("build-cart", 23)])
def test_the_circuits_are_read_once_for_the_whole_page(client, power, name, most):
    power.battery("GP-04", 24.0)
    where = url(power, name)
    queries(client, where)  # what is asked only the first time
    assert queries(client, where) <= most
