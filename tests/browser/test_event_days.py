"""Two days of an event on a phone: planned, run with two surprises and a while without network, reviewed afterwards.

Time passes by a clock of the test that server and phone share; nobody waits two days.
"""

from __future__ import annotations

import re
from collections.abc import Iterator
from datetime import datetime, time, timedelta
from typing import Any
from wsgiref import handlers

import pytest
from django.test import Client
from django.utils import timezone
from playwright.sync_api import Browser, Locator, Page, Route, expect

from builds.models import Match, Outing, RotationPlan, RotationStep
from builds.rotation.judged import Judged
from builds.selectors.cart import CartState, cart
from builds.services.charging import put_on_charger
from builds.services.rotation import plan_look, plan_work_out
from compliance.selectors.rotation import judged_for
from inventory.models import Battery, BatteryState, Charge
from inventory.services.batteries import charge_end
from shared.models import Receipt
from tests.builds.pit_shop import Pit, make_pit

pytestmark = [pytest.mark.browser, pytest.mark.django_db(transaction=True)]

MINUTE = timedelta(minutes=1)
REAL_NOW = timezone.now
#: Seven matches on each of two days.
DAY = ("09:30", "10:20", "11:10", "12:00", "13:10", "14:00", "14:50")
PULLED_AFTER, CUT_OFF, ANSWER_LOST, MOVED_UP = "4", "7", "9", "11"


class Clock:
    """The time of the server, and of the phone once there is one; goes on by itself, and forward when told."""

    def __init__(self, start: datetime) -> None:
        self.ahead = start - REAL_NOW()
        self.page: Page | None = None

    def now(self) -> datetime:
        return REAL_NOW() + self.ahead

    def until(self, moment: datetime) -> None:
        """Forward to a moment."""
        step = moment - self.now()
        assert step > timedelta(0)
        self.ahead += step
        if self.page is not None:
            self.page.clock.set_system_time(self.now())


@pytest.fixture
def clock(monkeypatch: pytest.MonkeyPatch) -> Clock:
    made = Clock(timezone.make_aware(datetime.combine(timezone.localdate(), time(8, 0))))
    monkeypatch.setattr(timezone, "now", made.now)
    # The phone asks the answers' Date header how far its own clock is off.
    told = handlers.format_date_time
    monkeypatch.setattr(handlers, "format_date_time", lambda at: told(at + made.ahead.total_seconds()))
    return made


@pytest.fixture
def pit(clock: Clock) -> Pit:
    """Eight charged batteries and three chargers; today and tomorrow, no match yet."""
    made = make_pit(batteries=8, chargers=3, matches=0, now=clock.now())
    made.event.ends_on += timedelta(days=1)
    made.event.save()
    return made


@pytest.fixture
def phone(browser: Browser, live_server: Any, pit: Pit, clock: Clock) -> Iterator[Page]:
    """Signed in. Lost requests are meant here; script errors are not."""
    context = browser.new_context(viewport={"width": 390, "height": 844}, base_url=live_server.url)
    client = Client()
    assert pit.scope.user is not None
    client.force_login(pit.scope.user, backend="django.contrib.auth.backends.ModelBackend")
    context.add_cookies(
        [{"name": "sessionid", "value": client.cookies["sessionid"].value, "url": live_server.url}]
    )
    page = context.new_page()
    errors: list[str] = []
    page.on("pageerror", lambda error: errors.append(str(error)))
    page.clock.install(time=clock.now())
    clock.page = page
    yield page
    clock.page = None
    context.close()
    assert errors == []


def home(pit: Pit) -> str:
    return f"/t/{pit.scope.team.slug}"


def pit_page(page: Page, pit: Pit) -> None:
    page.goto(f"{home(pit)}/pit/{pit.event.pk}/")
    assert page.evaluate("document.documentElement.scrollWidth") <= 390


def fold(page: Page, words: str) -> Locator:
    found = page.locator("details.fold").filter(has=page.locator("summary", has_text=words)).first
    found.evaluate("fold => { fold.open = true; }")
    return found


def plan_all(pit: Pit) -> dict[str, str]:
    """Match -> battery of the plan that holds."""
    steps = RotationStep.objects.filter(plan__event=pit.event, plan__current=True)
    return {step.match.number: step.battery.code if step.battery else "" for step in steps}


def planned(page: Page, pit: Pit, judged: Judged) -> None:
    """The schedule as it was handed out, pasted on the phone; then a proven plan."""
    days = (pit.event.starts_on, pit.event.ends_on)
    rows = [f"{day},{at}" for day in days for at in DAY]
    text = "Day,Time,Match\n" + "".join(f"{row},{number}\n" for number, row in enumerate(rows, start=1))
    page.goto(f"{home(pit)}/events/{pit.event.pk}/schedule/")
    page.get_by_label("Schedule").fill(text)
    page.get_by_role("button", name="Look at it").click()
    expect(page.locator("h1")).to_have_text("14 matches: 14 new, 0 changed, 0 as they are.")
    page.get_by_role("button", name="Bring it in").click()
    page.wait_for_url("**/rotation/")
    page.get_by_role("button", name="Make a plan").click()
    expect(page.locator("h1")).to_contain_text("goes out next, in match 1.")
    plan_work_out(scope=pit.scope, event=pit.event, judged=judged)
    page.reload()
    expect(page.locator("#rotation-lead")).to_contain_text("No better plan exists")
    assert len(plan_all(pit)) == 14
    assert all(plan_all(pit).values())


def volts(number: int) -> tuple[str, str, str]:
    """Before, after and lowest, another for each match."""
    return f"{12.95 - 0.01 * number:.2f}", f"{12.60 - 0.01 * number:.2f}", f"{9.5 - 0.05 * number:.2f}"


def goes_in(page: Page, number: int) -> str:
    """The battery the page names, scanned; its voltage typed."""
    code = page.locator(".next__code").inner_text()
    fold(page, "A battery goes into")
    page.locator("#swap-code").fill(code)
    page.locator("#swap-start").fill(volts(number)[0])
    page.get_by_role("button", name="It is in").click()
    return code


def goes_in_without_network(page: Page, number: int, clock: Clock) -> str:
    """The laptop is out of reach for ten minutes: the phone keeps what is entered until it is back."""
    page.context.set_offline(True)
    form = fold(page, "Who carries it?")
    form.get_by_label("Another name").fill("Tern")
    form.get_by_role("button", name="Save").click()
    code = goes_in(page, number)
    expect(page.locator("[data-outbox-list]")).to_contain_text("Waiting to be sent (2)")
    assert not Outing.objects.filter(match__number=number).exists()
    clock.until(clock.now() + 10 * MINUTE)
    page.context.set_offline(False)
    expect(page.locator(".outbox__waiting")).to_have_count(0, timeout=30_000)
    return code


def goes_in_and_the_answer_is_lost(page: Page, number: int) -> str:
    """The laptop writes it down, the phone never hears so and sends it again."""
    lost: list[int] = []

    def lose(route: Route) -> None:
        if lost:
            route.continue_()
            return
        lost.append(route.fetch().status)
        route.abort()

    page.route("**/swap/", lose)
    with page.expect_response("**/swap/", timeout=30_000) as second:
        code = goes_in(page, number)
    assert (lost, second.value.status) == ([200], 200)
    page.unroute("**/swap/")
    return code


def comes_out(page: Page, number: int, code: str) -> None:
    form = fold(page, f"{code} is in Heron")
    form.get_by_label("Rest voltage").fill(volts(number)[1])
    form.get_by_label("Lowest").fill(volts(number)[2])
    form.get_by_role("button", name="It came out").click()
    expect(page.locator("summary", has_text=f"{code} is in Heron")).to_have_count(0)


def meanwhile(page: Page, pit: Pit) -> None:
    """Somebody else at the cart: full ones come off, what is cool goes on; and the worker looks at the plan."""
    page.goto("about:blank")  # the phone lies there and asks nothing
    now = timezone.now()
    rows = cart(pit.scope, pit.event, now)
    for row in rows:
        if row.charge is not None and row.next_at is not None and row.next_at <= now:
            charge_end(scope=pit.scope, battery=row.battery)
    free = [one for one in pit.chargers if not Charge.objects.filter(charger=one, ended_at=None).exists()]
    waits = [row for row in rows if row.state == CartState.WAITING]
    for row, charger in zip(waits, free, strict=False):
        put_on_charger(scope=pit.scope, battery=row.battery, charger=charger)
    plan_look(scope=pit.scope, judged_of=lambda event: judged_for(pit.scope, event), now=now)
    plan_work_out(scope=pit.scope, event=pit.event, judged=judged_for(pit.scope, pit.event))


def pull_the_next(page: Page, pit: Pit) -> str:
    """The first surprise: the battery of the next match is hot."""
    code = page.locator(".next__code").inner_text()
    form = fold(page, "A battery is pulled")
    form.get_by_label("Which one").select_option(code)
    form.get_by_role("button", name="Hot").click()
    expect(page.locator("#messages")).to_contain_text(f"{code} is pulled (hot)")
    expect(page.locator(".next__code")).not_to_have_text(code)
    assert Battery.objects.get(code=code).state == BatteryState.QUARANTINE
    return code


def move_up(page: Page, match: Match) -> None:
    """The second surprise: a match is 20 minutes earlier."""
    form = fold(page, "A match is earlier or later")
    form.get_by_label("From which match on").select_option(str(match.pk))
    form.get_by_role("button", name="20 earlier").click()
    expect(page.locator("#messages")).to_contain_text(f"Match {match.number}: 20 min earlier.")
    assert Match.objects.get(pk=match.pk).starts_at == match.starts_at - 20 * MINUTE


def run_both_days(phone: Page, pit: Pit, clock: Clock) -> tuple[dict[str, str], str]:
    """Match -> battery that ran it, and the battery that was pulled."""
    matches = {match.number: match for match in Match.objects.filter(event=pit.event)}
    ran: dict[str, str] = {}
    pulled = ""
    for number in map(str, range(1, 15)):
        starts_at = Match.objects.get(pk=matches[number].pk).starts_at
        clock.until(starts_at - (38 if number == MOVED_UP else 18) * MINUTE)
        meanwhile(phone, pit)
        pit_page(phone, pit)
        if number == MOVED_UP:
            move_up(phone, matches[number])
            starts_at -= 20 * MINUTE
        if number == CUT_OFF:
            ran[number] = goes_in_without_network(phone, int(number), clock)
        elif number == ANSWER_LOST:
            ran[number] = goes_in_and_the_answer_is_lost(phone, int(number))
        else:
            ran[number] = goes_in(phone, int(number))
        expect(phone.locator("h1")).to_have_text(
            f"{ran[number]} is in Heron for match {number}.", timeout=30_000
        )
        clock.until(starts_at + 8 * MINUTE)
        pit_page(phone, pit)
        comes_out(phone, int(number), ran[number])
        if number == PULLED_AFTER:
            pulled = pull_the_next(phone, pit)
    clock.until(clock.now() + 30 * MINUTE)
    return ran, pulled


def assert_nothing_is_lost_or_doubled(pit: Pit, ran: dict[str, str]) -> None:
    """What was entered without network stands at the time it was entered."""
    outings = Outing.objects.select_related("battery", "match").order_by("started_at")
    assert [(row.match.number, row.battery.code) for row in outings if row.match] == list(ran.items())
    for row in outings:
        assert row.match is not None
        figures = tuple(f"{value:.2f}" for value in (row.start_rest_v, row.end_rest_v, row.lowest_v) if value)
        assert figures == volts(int(row.match.number))
        assert row.started_at < row.match.starts_at - 14 * MINUTE
    keys = list(Receipt.objects.values_list("key", flat=True))
    assert len(keys) == len(set(keys)) == 2 * 14 + 2 + 1  # in, out, both surprises, and who carries one
    assert Match.objects.get(event=pit.event, number=CUT_OFF).carrier == "Tern"


def assert_the_review_tells_it(phone: Page, pit: Pit, ran: dict[str, str], pulled: str) -> None:
    """Which battery ran which match with which voltages, and what was learned about each."""
    phone.goto(f"{home(pit)}/events/{pit.event.pk}/review/")
    expect(phone.locator("h1")).to_contain_text("14 of 14 matches with a battery on record")
    expect(phone.locator("section[aria-labelledby=surprise-head]")).to_contain_text(f"{pulled}: hot")
    done = phone.locator("section[aria-labelledby=done-head] tbody tr")
    expect(done).to_have_count(14)
    for number, code in ran.items():
        before, after, lowest = volts(int(number))
        line = done.nth(int(number) - 1)
        expect(line).to_contain_text(code)
        for figure in (before, after, f"{float(lowest):.1f}"):
            expect(line).to_contain_text(figure)
    learned = phone.locator("section[aria-labelledby=learned-head] tbody tr")
    for code in sorted(set(ran.values())):
        line = learned.filter(has=phone.get_by_role("rowheader", name=code))
        expect(line).to_contain_text(re.compile(r"expected|sagged"))
    assert phone.evaluate("document.documentElement.scrollWidth") <= 390


def test_two_days_with_two_surprises(phone: Page, pit: Pit, clock: Clock) -> None:
    planned(phone, pit, judged_for(pit.scope, pit.event))
    ran, pulled = run_both_days(phone, pit, clock)
    assert_nothing_is_lost_or_doubled(pit, ran)
    assert pulled not in [code for number, code in ran.items() if int(number) > int(PULLED_AFTER)]
    reasons = set(RotationPlan.objects.filter(event=pit.event).values_list("reason", flat=True))
    assert {RotationPlan.Reason.BATTERIES, RotationPlan.Reason.TIMES} <= reasons
    assert_the_review_tells_it(phone, pit, ran, pulled)
