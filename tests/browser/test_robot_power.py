"""The power of the demo robot in a real browser: its tree, its matches per battery, a weak branch and its fix."""

from __future__ import annotations

import re
from typing import Any

import pytest
from django.utils import timezone
from playwright.sync_api import Page, expect

from builds.models import Build, BuildState
from builds.services.match_studies import FEWEST_RUNS, match_studies_update
from compliance.demo.build import demo_make
from compliance.demo.people import GULL, SIGN_INS
from compliance.models import Flag
from inventory.models import Battery, BatteryState
from shared import jobs
from shared.access import Scope, system_scope
from shared.models import JobRun, Team

pytestmark = [pytest.mark.browser, pytest.mark.django_db(transaction=True)]
MENTOR = next(person for person in SIGN_INS if person.username == "mentor")
#: A good, a middling and a worn battery of the demo; the others stay at home to keep the simulation short.
CART = ("GP-10", "GP-04", "GP-07")


def kittiwake() -> tuple[Scope, Build]:
    """The demo world with Gull Point's robot judged by the sweep and simulated with three batteries."""
    demo_make(timezone.now())
    scope = system_scope(Team.objects.get(slug=GULL))
    Battery.objects.filter(team=scope.team).exclude(code__in=CART).update(
        state=BatteryState.RETIRED, state_reason="Stays at home"
    )
    jobs.run_now("sweep.loads", trigger=JobRun.Trigger.COMMAND, team=scope.team)
    builds = Build.objects.filter(team=scope.team, robot__code="KITTIWAKE", state=BuildState.CURRENT)
    match_studies_update(scope=scope, builds=builds, runs=FEWEST_RUNS)
    return scope, builds.get()


def sign_in(page: Page, base: str) -> None:
    page.goto(f"{base}/accounts/login/")
    page.fill("input[name=username]", MENTOR.username)
    page.fill("input[name=password]", MENTOR.password)
    page.click("main button[type=submit], form button[type=submit]")
    expect(page.get_by_text("Sign out").first).to_be_attached()  # a mentor of three teams chooses one first


def test_from_the_robot_to_the_fix_of_its_weak_branch(live_server: Any, page: Page) -> None:
    scope, build = kittiwake()
    home = f"{live_server.url}/t/{GULL}/"
    weak = Flag.objects.get(team=scope.team, rule_code="load-voltage", subject_kind="circuit")
    sign_in(page, live_server.url)

    # The robot leads to its power: the answer stands in the heading.
    page.goto(f"{home}robots/{build.robot_id}/")
    page.get_by_role("link", name="Power", exact=True).click()
    expect(page.locator("h1")).to_contain_text(re.compile(r"With GP-07 the board falls to \d+\.\d V"))

    # The tree shows every circuit that carries power, each a link.
    tree = page.locator(".feed svg.draw--wide")
    expect(tree).to_be_visible()
    links = tree.locator("a.d-row")
    assert links.count() == build.circuits.exclude(role="signal").count()

    # Every battery on the cart has its chance of a brown-out, and the worst match is drawn.
    cart = page.get_by_role("region", name="Batteries")
    for code in CART:
        expect(cart.get_by_role("row", name=code)).to_contain_text(re.compile(r"\d+\s%.*\d+\s%\sto\s\d+\s%"))
    expect(page.get_by_role("heading", name="The worst match with GP-07")).to_be_visible()
    expect(page.locator("svg.draw--wide[aria-labelledby^=match-voltage]")).to_be_visible()

    read_on_a_phone(page, live_server.url, build)
    page.set_viewport_size({"width": 1280, "height": 900})

    # The weak branch opens its working, stage by stage from the battery.
    tree.locator("a.d-row", has_text=weak.subject_label.split()[-1]).click()
    page.wait_for_url(f"**/circuits/{weak.subject_id}/**")
    expect(page.get_by_role("heading", name="In the solved robot")).to_be_visible()
    expect(page.locator(".working").first).to_contain_text("V")
    expect(page.get_by_text("Too little voltage arrives in a push").first).to_be_visible()

    # The cheapest fix clears it; tried as a draft it is compared with the build.
    page.goto(f"{home}builds/{build.pk}/fixes/")
    expect(page.locator("h1")).to_contain_text(re.compile(r"Cheapest fix: \S+ from 10 AWG to 8 AWG"))
    fixed = (page.locator("h1").inner_text().split("fix: ")[1]).split(" from")[0]
    page.get_by_role("row", name=fixed).get_by_role("button", name="Try as draft").click()
    page.wait_for_url("**/compare/")
    expect(page.locator("h1")).to_contain_text("1 circuit differs")
    assert page.locator(".pair svg.draw--compact:visible").count() == 2

    # Made current and judged again, the flag is gone.
    draft = Build.objects.get(robot=build.robot, state=BuildState.DRAFT)
    ends = draft.circuits.values_list("terminal_source__code", "terminal_load__code").get(code=fixed)
    assert ends == ("FER-08", "FER-08"), "what took 10 AWG does not take 8 AWG"
    page.goto(f"{home}builds/{draft.pk}/")
    page.get_by_role("button", name="Make current").click()
    page.get_by_role("dialog").get_by_role("button", name="Make it current").click()
    page.wait_for_load_state()
    jobs.run_now("sweep.loads", trigger=JobRun.Trigger.COMMAND, team=scope.team)
    assert not Flag.objects.filter(team=scope.team, rule_code="load-voltage", state="open").exists()


def read_on_a_phone(page: Page, base: str, build: Build) -> None:
    """Nothing wider than the screen, rows a thumb can hit, letters that can be read."""
    page.set_viewport_size({"width": 390, "height": 844})
    for name in ("power", "fixes", "cart", "limits", "compare"):
        page.goto(f"{base}/t/{GULL}/builds/{build.pk}/{name}/")
        assert page.evaluate("document.documentElement.scrollWidth") <= 390, name
    page.goto(f"{base}/t/{GULL}/builds/{build.pk}/power/")
    rows = page.locator(".feed svg.draw--compact a.d-row")
    assert min(rows.nth(n).bounding_box()["height"] for n in range(rows.count())) >= 44  # type: ignore[index]
    sizes = page.eval_on_selector_all(
        ".feed svg.draw--compact text", "ts => ts.map(t => t.getBoundingClientRect().height)"
    )
    assert min(sizes) > 10
    # Each battery is two columns of words, not a block of every figure.
    batteries = page.locator("table.stack--brief tbody tr")
    assert batteries.count() == len(CART) + 1  # and a new one
    assert max(batteries.nth(n).bounding_box()["height"] for n in range(batteries.count())) < 130  # type: ignore[index]
    worst = batteries.filter(has_text="GP-07")
    expect(worst).to_contain_text("Stop")
    expect(worst.locator(".wide-only").first).to_be_hidden()
