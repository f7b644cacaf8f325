"""The outbox on a plain http page: what is entered without network is sent later, once each, in order; nothing is lost.

The pages here are made by the test from the site's own frame and scripts, so that only the outbox is looked at; the
pit's own pages are tested in test_event_days.py.
"""

from __future__ import annotations

import re
from collections.abc import Iterator
from typing import Any

import pytest
from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.template import engines
from django.test import Client, override_settings
from django.urls import include, path
from playwright.sync_api import Browser, Page, Route, expect

from inventory.models import Bin
from shared.models import Receipt
from shared.pages import TeamPage
from tests import browsing
from tests.browser.every_page import sign_in
from tests.world import World, make_world

pytestmark = [pytest.mark.browser, pytest.mark.django_db(transaction=True)]

FORM = """{% extends "web/base.html" %}{% block title %}Bins{% endblock %}{% block content %}
<form method="post" action="/plain/" id="bin" data-once data-outbox="/api/v1/t/{{ team.slug }}/bins/"
  data-outbox-title="Bin {code}">{% csrf_token %}
<label>Code <input name="code" required></label><label>Name <input name="name"></label>
<button type="submit">Keep it</button></form>{% endblock %}"""


class BinForm(TeamPage):
    def get(self, request: HttpRequest, **kwargs: Any) -> HttpResponse:
        template = engines["django"].from_string(FORM)
        return HttpResponse(template.render({}, request))


urlpatterns = [
    path("t/<slug:team>/bin-form/", BinForm.as_view()),
    path("plain/", lambda request: render(request, "404.html")),
    path("", include("shared.urls")),
]


@pytest.fixture(autouse=True)
def _pages() -> Iterator[None]:
    with override_settings(ROOT_URLCONF=__name__):
        yield


@pytest.fixture
def world() -> World:
    return make_world()


@pytest.fixture
def phone(browser: Browser, live_server: Any, world: World) -> Iterator[Page]:
    """A phone on the form, signed in. Lost requests are meant here; script errors are not."""
    context = browser.new_context(viewport={"width": 390, "height": 844})
    page = context.new_page()
    errors: list[str] = []
    page.on("pageerror", lambda error: errors.append(str(error)))
    sign_in(page, live_server.url, world)
    page.goto(address(live_server))
    yield page
    context.close()
    assert errors == []


def address(live_server: Any) -> str:
    return f"{live_server.url}/t/gull-point/bin-form/"


def enter(page: Page, code: str, name: str = "Cart") -> None:
    page.fill("[name=code]", code)
    page.fill("[name=name]", name)
    page.get_by_role("button", name="Keep it").click()


def codes() -> list[str]:
    """In the order in which they were written."""
    return list(Bin.objects.filter(name__startswith="Cart").order_by("pk").values_list("code", flat=True))


def waiting(page: Page, number: int) -> None:
    expect(page.locator("[data-outbox-list]")).to_contain_text(f"Waiting to be sent ({number})")


def sent(page: Page, code: str) -> None:
    expect(page.locator("[data-outbox-list]")).to_contain_text(
        re.compile(rf"Sent at \d\d:\d\d: Bin {code}"), timeout=30000
    )


def all_sent(page: Page) -> None:
    """No more is waiting that was seen to wait before."""
    expect(page.locator(".outbox__waiting")).to_have_count(0, timeout=15000)


def go_online(page: Page) -> None:
    page.context.set_offline(False)


def test_an_entry_is_kept_and_sent_at_once(phone: Page) -> None:
    enter(phone, "B1")
    sent(phone, "B1")
    assert codes() == ["B1"]
    assert Receipt.objects.count() == 1
    expect(phone.locator("[name=code]")).to_have_value("")


def test_entries_without_network_are_sent_later_once_each_and_in_order(phone: Page) -> None:
    phone.context.set_offline(True)
    for number in range(1, 6):
        enter(phone, f"B{number}")
    waiting(phone, 5)
    expect(phone.locator(".outbox__waiting time").first).to_have_text(re.compile(r"^\d\d:\d\d$"))
    assert codes() == []
    go_online(phone)
    all_sent(phone)
    assert codes() == ["B1", "B2", "B3", "B4", "B5"]
    assert Receipt.objects.count() == 5


def test_a_reload_loses_nothing(phone: Page, live_server: Any) -> None:
    phone.route("**/api/**", lambda route: route.abort())  # the page still loads, the API does not answer
    enter(phone, "B1")
    enter(phone, "B2")
    waiting(phone, 2)
    phone.reload()
    waiting(phone, 2)
    expect(phone.locator("[data-outbox-list]")).to_contain_text("No answer")
    phone.unroute("**/api/**")
    phone.reload()
    sent(phone, "B2")
    assert codes() == ["B1", "B2"]


def test_an_answer_lost_on_its_way_back_writes_nothing_twice(phone: Page) -> None:
    lost: list[int] = []

    def lose(route: Route) -> None:
        """The server does the work; the phone never hears of it."""
        if len(lost) < 2 and route.request.method == "POST":
            lost.append(route.fetch().status)
            route.abort()
        else:
            route.continue_()

    phone.route("**/bins/", lose)
    enter(phone, "B1")
    waiting(phone, 1)
    sent(phone, "B1")
    assert lost == [201, 201]
    assert codes() == ["B1"]


def test_a_refused_entry_waits_with_the_sentence_while_later_ones_go_on(phone: Page) -> None:
    phone.context.set_offline(True)
    enter(phone, "B1")
    enter(phone, "not a code")
    enter(phone, "B3")
    go_online(phone)
    all_sent(phone)
    look = phone.locator("[data-outbox-list]")
    expect(look).to_contain_text("Needs a look (1)")
    expect(look).to_contain_text("letters, digits")
    assert codes() == ["B1", "B3"]
    phone.get_by_role("button", name="Mend it").click()
    expect(phone.locator("[name=code]")).to_have_value("not a code")
    phone.fill("[name=code]", "B2")
    phone.get_by_role("button", name="Keep it").click()
    sent(phone, "B2")
    expect(phone.locator(".outbox__look")).to_have_count(0)
    assert codes() == ["B1", "B3", "B2"]


def test_an_entry_mended_while_it_is_on_its_way_again_is_not_lost(phone: Page) -> None:
    enter(phone, "not a code")
    phone.get_by_role("button", name="Mend it").click()
    held: list[Route] = []

    def hold(route: Route) -> None:
        if held:
            route.continue_()
        else:
            held.append(route)

    phone.route("**/bins/", hold)
    with phone.expect_request("**/bins/"):
        phone.get_by_role("button", name="Try again").click()
    phone.fill("[name=code]", "B2")
    phone.fill("[name=name]", "Cart")
    phone.get_by_role("button", name="Keep it").click()
    waiting(phone, 2)
    held[0].fulfill(status=201, json={})
    sent(phone, "B2")
    assert codes() == ["B2"]


def test_a_time_to_come_told_by_a_wrong_clock_is_mended_to_now(phone: Page) -> None:
    phone.evaluate("document.getElementById('bin').dataset.outboxTime = 'at'")
    later = "new Date(Date.now() + 864e5).toISOString()"
    enter(phone, "not a code")
    expect(phone.locator(".outbox__look li")).to_have_count(1)
    phone.evaluate(
        f"outboxStore.all().then(([e]) => outboxStore.change(e.seq, (k) => ({{ ...k, at: {later} }})))"
    )
    bodies: list[Any] = []
    phone.on(
        "request", lambda request: bodies.append(request.post_data_json) if "/bins/" in request.url else None
    )
    phone.get_by_role("button", name="Mend it").click()
    phone.fill("[name=code]", "B2")
    phone.get_by_role("button", name="Keep it").click()
    sent(phone, "B2")
    assert bodies[-1]["at"] <= phone.evaluate("new Date().toISOString()")


def test_a_refused_entry_is_thrown_away_only_when_sure(phone: Page) -> None:
    enter(phone, "not a code")
    phone.get_by_role("button", name="Throw away").click()
    expect(phone.locator(".outbox__look li")).to_have_count(1)
    phone.get_by_role("button", name="Really throw it away").click()
    expect(phone.locator(".outbox__look li")).to_have_count(0)
    phone.reload()
    expect(phone.locator(".outbox__look li")).to_have_count(0)


def test_a_double_tap_is_one_entry(phone: Page) -> None:
    phone.fill("[name=code]", "B1")
    phone.fill("[name=name]", "Cart")
    phone.evaluate(
        "() => { const f = document.getElementById('bin'); f.requestSubmit(); f.requestSubmit(); }"
    )
    sent(phone, "B1")
    expect(phone.locator("[data-outbox-list] h2")).to_have_count(0)
    assert codes() == ["B1"]


def test_signed_out_entries_stay_until_the_person_is_back(
    phone: Page, live_server: Any, world: World
) -> None:
    phone.context.clear_cookies()
    enter(phone, "B1")
    expect(phone.locator("[data-outbox-list]")).to_contain_text("Sign in to send them")
    assert codes() == []
    # Another person signs in on the same phone: not sent under a wrong name.
    client = Client()
    client.force_login(world.cast.member, backend="django.contrib.auth.backends.ModelBackend")
    phone.context.add_cookies(
        [{"name": "sessionid", "value": client.cookies["sessionid"].value, "url": live_server.url}]
    )
    phone.goto(address(live_server))
    expect(phone.locator("[data-outbox-list]")).to_contain_text("Made by mentor")
    assert codes() == []
    phone.context.clear_cookies()
    sign_in(phone, live_server.url, world)
    phone.goto(address(live_server))
    sent(phone, "B1")
    assert codes() == ["B1"]


def test_two_pages_of_one_phone_send_each_entry_once(phone: Page, live_server: Any) -> None:
    other = phone.context.new_page()
    other.goto(address(live_server))
    asked: list[str] = []
    for page in (phone, other):
        page.on("request", lambda request: asked.append(request.url) if request.method == "POST" else None)
    phone.context.set_offline(True)
    for number in range(1, 5):
        enter(phone if number % 2 else other, f"B{number}")
    waiting(phone, 4)
    waiting(other, 4)
    asked.clear()
    go_online(phone)
    all_sent(phone)
    all_sent(other)
    assert codes() == ["B1", "B2", "B3", "B4"]
    assert len([url for url in asked if url.endswith("/bins/")]) == 4


def test_the_lease_stands_in_for_locks_where_there_are_none(
    browser: Browser, live_server: Any, world: World
) -> None:
    """A plain http page of another machine is no secure context and has no locks: tried by taking them away."""
    context = browser.new_context()
    context.add_init_script("Object.defineProperty(Navigator.prototype, 'locks', {value: undefined})")
    pages = [context.new_page(), context.new_page()]
    sign_in(pages[0], live_server.url, world)
    for page in pages:
        page.goto(address(live_server))
    assert pages[0].evaluate("navigator.locks === undefined")
    context.set_offline(True)
    for number in range(1, 5):
        enter(pages[number % 2], f"B{number}")
    waiting(pages[0], 4)
    context.set_offline(False)
    all_sent(pages[0])
    all_sent(pages[1])
    assert codes() == ["B1", "B2", "B3", "B4"]
    context.close()


def test_a_server_that_fails_on_one_entry_does_not_hold_up_the_others(phone: Page) -> None:
    def fail(route: Route) -> None:
        if '"B1"' in (route.request.post_data or ""):
            route.fulfill(status=500, body="broken")
        else:
            route.continue_()

    phone.route("**/bins/", fail)
    phone.clock.install()
    enter(phone, "B1")
    enter(phone, "B2")
    for _ in range(8):
        phone.clock.run_for(31000)
        phone.wait_for_timeout(100)
    expect(phone.locator("[data-outbox-list]")).to_contain_text("Needs a look (1)")
    assert codes() == ["B2"]


def test_without_script_the_form_is_an_ordinary_one(browser: Browser, live_server: Any, world: World) -> None:
    context = browser.new_context(java_script_enabled=False)
    page = context.new_page()
    sign_in(page, live_server.url, world)
    page.goto(address(live_server))
    enter(page, "B1")
    assert page.url.endswith("/plain/")
    context.close()


def test_a_plain_http_page_of_another_machine_has_what_the_outbox_needs(
    browser: Browser, live_server: Any, world: World
) -> None:
    """Under a name that is not this machine's the page is no secure context, as on a phone in the pit."""
    base = re.sub(r"localhost|127\.0\.0\.1", "pit.test", live_server.url)
    phone = browsing.launch(browser.browser_type, "--host-resolver-rules=MAP pit.test 127.0.0.1")
    with override_settings(ALLOWED_HOSTS=["*"]):
        page = phone.new_page()
        sign_in(page, base, world)
        page.goto(f"{base}/t/gull-point/bin-form/")
        assert page.evaluate("isSecureContext") is False
        assert page.evaluate("navigator.locks === undefined && crypto.randomUUID === undefined")
        page.context.set_offline(True)
        enter(page, "B1")
        enter(page, "B2")
        waiting(page, 2)
        go_online(page)
        all_sent(page)
        assert codes() == ["B1", "B2"]
    phone.close()
