"""The pit over https, as it is on the day: a real `manage.py pit`, a phone that trusts its certificate, and a laptop
that is out of reach for a while. Entries are kept and sent once each, in order; the page survives a reload."""

from __future__ import annotations

import hashlib
import json
import ssl
import time
import urllib.request
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
import segno
from playwright.sync_api import Browser, BrowserContext, Page, expect

from shared.labels.codes import Kind, label_text
from tests.pit_run import PitRun
from tests.working import wait_for

pytestmark = [pytest.mark.browser]

PASSWORD = "a-test-password-of-some-length"
#: Run in the pit's own database.
MAKE = f"""
from django.utils import timezone
from shared.models import Membership, Role, User
from tests.compliance.pit_shop import make_pit
shop = make_pit(Role.MEMBER, timezone.now(), batteries=5)
for number, minutes in (("1", 40), ("2", 110), ("3", 190)):
    shop.match(number, minutes)
for code in shop.batteries:
    shop.ready(code)
for name in ("first", "second"):
    user = User.objects.create_user(name, password={PASSWORD!r})
    Membership.objects.create(user=user, team=shop.scope.team, role=Role.MEMBER)
print("MADE", shop.scope.team.slug, shop.event.pk, shop.batteries["GP-01"].pk)
"""
PULL = """
from django.utils import timezone
from inventory.models import Battery, BatteryIncident
from inventory.services.incidents import incident_log
from shared.access import system_scope
battery = Battery.objects.get(code="GP-03")
kind = BatteryIncident.Kind.HOT
incident_log(scope=system_scope(battery.team), battery=battery, kind=kind, happened_at=timezone.now())
"""


@pytest.fixture(scope="module")
def pit(tmp_path_factory: pytest.TempPathFactory, worker_id: str) -> Iterator[PitRun]:
    run = PitRun(
        tmp_path_factory.mktemp("pit"),
        8600 + int(worker_id.removeprefix("gw") or 0) if worker_id != "master" else 8600,
    )
    run.manage("migrate", "-v", "0")
    made = run.manage("shell", "-v", "0", "-c", MAKE).split("MADE", 1)[1].split()
    run.team, run.event, run.battery = made[0], made[1], made[2]  # type: ignore[attr-defined]
    run.start()
    yield run
    run.stop()


@pytest.fixture
def phone(pit: PitRun, browser: Browser) -> Iterator[BrowserContext]:
    running = pit.phone(browser.browser_type)
    yield running.new_context(viewport={"width": 390, "height": 844})
    running.close()


def sign_in(context: BrowserContext, pit: Any, name: str = "first") -> Page:
    page = context.new_page()
    page.goto(f"{pit.site}/accounts/login/")
    page.fill("input[name=username]", name)
    page.fill("input[name=password]", PASSWORD)
    page.get_by_role("button", name="Sign in").click()
    page.wait_for_url(f"**/t/{pit.team}/**")
    return page


def pit_page(page: Page, pit: Any) -> Page:
    page.goto(f"{pit.site}/t/{pit.team}/pit/{pit.event}/")
    page.locator("details:has(#swap-code)").evaluate("fold => { fold.open = true; }")
    return page


def wait_until_kept(page: Page, path: str) -> None:
    """The worker is at work and has the page."""
    look = """async (path) => Boolean((await navigator.serviceWorker.ready).active)
        && Boolean(await (await caches.open("loadstock-pages")).match(path, {ignoreVary: true}))"""
    wait_for(lambda: page.evaluate(look, path), within_s=60, what=f"{path} kept in the phone")


def entries(page: Page) -> Any:
    return page.locator("[data-outbox-list]")


def test_the_plain_page_hands_out_the_certificate_and_nothing_else(pit: PitRun) -> None:
    with urllib.request.urlopen(f"{pit.plain}/loadstock-pit.crt", timeout=10) as answer:
        der = answer.read()
        assert answer.headers["Content-Type"] == "application/x-x509-ca-cert"
    shown = hashlib.sha256(der).hexdigest().upper()
    said = pit.said().replace(":", "")
    assert shown in said  # on the laptop's screen
    with urllib.request.urlopen(f"{pit.plain}/t/gull-point/", timeout=10) as answer:
        page = answer.read().decode()
        assert "default-src 'none'" in answer.headers["Content-Security-Policy"]
    assert shown in page.replace(":", "")
    assert "<svg" in page
    assert f"127.0.0.1:{pit.port}" not in page  # no phone reaches that


def test_the_site_insists_on_nothing_a_plain_laptop_could_not_keep_tomorrow(pit: PitRun) -> None:
    trust = ssl.create_default_context(cafile=str(pit.folder / "pit" / "root.pem"))
    with urllib.request.urlopen(f"{pit.site}/accounts/login/", timeout=10, context=trust) as answer:
        assert "Strict-Transport-Security" not in answer.headers
        cookie = answer.headers["Set-Cookie"]
    assert cookie.startswith("__Host-csrftoken=")
    assert "Secure" in cookie
    with pytest.raises(urllib.error.URLError, match="CERTIFICATE_VERIFY_FAILED"):
        urllib.request.urlopen(f"{pit.site}/accounts/login/", timeout=10)


def test_the_laptop_is_away_and_nothing_is_lost_or_doubled(pit: Any, phone: BrowserContext) -> None:
    page = pit_page(sign_in(phone, pit), pit)
    wait_until_kept(page, f"/t/{pit.team}/pit/{pit.event}/")
    pit.stop()

    # The page opens again without the laptop, and says how old it is.
    page.reload()
    expect(page.locator(".as-of")).to_contain_text("as of")
    expect(page.locator("h1")).to_contain_text("Match 1 is next")
    assert page.evaluate("fetch('/api/v1/me/').then(() => 'answered', () => 'no answer')") == "no answer"

    # Three entries meanwhile: in, another one in, and one that turns out to be refused.
    swap = page.locator("form[data-swap]")
    for code, volts in (("GP-01", "12.81"), ("GP-03", "12.72"), ("GP-02", "12.83")):
        page.locator("#swap-code").fill(code)
        page.locator("#swap-start").fill(volts)
        swap.get_by_role("button", name="It is in").click()
        expect(entries(page)).to_contain_text(f"{code} into Heron")
        time.sleep(1.1)  # a battery stays in for some time
    expect(entries(page)).to_contain_text("Waiting to be sent (3)")
    page.reload()
    expect(entries(page)).to_contain_text("Waiting to be sent (3)")

    # GP-03 is put aside at the laptop, which comes back with a new certificate under the same authority.
    leaf = (pit.folder / "pit" / "leaf.pem").read_bytes()
    pit.manage("shell", "-v", "0", "-c", PULL)
    assert "A new authority" not in pit.start()
    assert (pit.folder / "pit" / "leaf.pem").read_bytes() != leaf
    expect(page.locator(".outbox__waiting")).to_have_count(0, timeout=60000)
    expect(entries(page)).to_contain_text("Needs a look (1)")
    expect(entries(page)).to_contain_text("GP-03")

    outings = pit.rows(
        "SELECT b.code, o.start_rest_v FROM builds_outing o JOIN inventory_battery b ON b.id = o.battery_id "
        "ORDER BY o.id"
    )
    assert outings == [("GP-01", 12.81), ("GP-02", 12.83)]
    assert pit.rows("SELECT count(*), count(DISTINCT key) FROM shared_receipt") == [(2, 2)]


def test_one_persons_page_is_not_shown_to_another(pit: Any, phone: BrowserContext) -> None:
    page = pit_page(sign_in(phone, pit), pit)
    path = f"/t/{pit.team}/pit/{pit.event}/"
    wait_until_kept(page, path)
    page.evaluate("document.querySelector('.masthead .cell--user form').requestSubmit()")
    page.wait_for_url("**/accounts/login/**")
    phone.set_offline(True)
    page.goto(f"{pit.site}{path}")
    expect(page.locator("h1")).to_contain_text("No connection")
    phone.set_offline(False)

    # Another person signs in without the first having signed out.
    page = pit_page(sign_in(phone, pit), pit)
    wait_until_kept(page, path)
    phone.clear_cookies()
    other = sign_in(phone, pit, "second")
    wait_for(
        lambda: other.evaluate("async (p) => !(await (await caches.open('loadstock-pages')).match(p))", path),
        within_s=20,
        what="the first person's page gone",
    )


def test_the_browser_is_offered_a_place_on_the_home_screen(pit: Any, phone: BrowserContext) -> None:
    page = sign_in(phone, pit)
    facts = page.evaluate(
        "fetch(document.querySelector('link[rel=manifest]').href).then((answer) => answer.json())"
    )
    assert facts["display"] == "standalone"
    statuses = [
        page.evaluate("(url) => fetch(url).then((a) => a.status)", icon["src"]) for icon in facts["icons"]
    ]
    assert statuses == [200, 200, 200]


def y4m(file: Path, text: str) -> Path:
    """A film of one label held before the camera: dark on white, as the label is printed (ISO/IEC 18004)."""
    width, height, module = 640, 480, 9
    matrix = [list(row) for row in segno.make_qr(text, error="m").matrix_iter(border=4)]
    left, top = (width - len(matrix) * module) // 2, (height - len(matrix) * module) // 2
    luma = bytearray(b"\x80" * (width * height))
    for y in range(len(matrix) * module):
        for x in range(len(matrix) * module):
            luma[(top + y) * width + left + x] = 30 if matrix[y // module][x // module] else 225
    frame = b"FRAME\n" + bytes(luma) + b"\x80" * (width * height // 2)
    file.write_bytes(b"YUV4MPEG2 W640 H480 F10:1 Ip A1:1 C420jpeg\n" + frame * 10)
    return file


def camera(pit: PitRun, browser: Browser, film: Path) -> Browser:
    return pit.phone(
        browser.browser_type,
        "--use-fake-ui-for-media-stream",
        "--use-fake-device-for-media-stream",
        f"--use-file-for-fake-video-capture={film}",
    )


def test_the_camera_reads_a_label(pit: Any, browser: Browser, tmp_path: Path) -> None:
    text = label_text(Kind.BATTERY, "GP-01")
    running = camera(pit, browser, y4m(tmp_path / "label.y4m", text))
    page = sign_in(running.new_context(permissions=["camera"]), pit)
    complaints: list[str] = []
    page.on("console", lambda said: complaints.append(said.text) if said.type == "error" else None)
    page.goto(f"{pit.site}/t/{pit.team}/scan/")
    page.wait_for_url(f"**/batteries/{pit.battery}/", timeout=30000)

    # From a form: there and back, the code in its field and the rest as it was.
    pit_page(page, pit)
    page.locator("#swap-start").fill("12.79")
    page.locator("[data-scan-into=swap-code]").click()
    page.wait_for_url(f"**/pit/{pit.event}/", timeout=30000)
    expect(page.locator("#swap-code")).to_have_value(text)
    expect(page.locator("#swap-start")).to_have_value("12.79")
    assert complaints == []
    running.close()


def test_only_the_scan_page_lets_webassembly_run(pit: Any, phone: BrowserContext) -> None:
    page = sign_in(phone, pit)
    policies = {
        path: page.evaluate(
            "(url) => fetch(url).then((a) => a.headers.get('content-security-policy'))",
            f"/t/{pit.team}/{path}",
        )
        for path in ("scan/", f"pit/{pit.event}/", "batteries/")
    }
    assert [path for path, policy in policies.items() if "wasm-unsafe-eval" in policy] == ["scan/"]
    assert not any("'unsafe-eval'" in policy or "unsafe-inline" in policy for policy in policies.values())
    assert json.dumps(policies).count("default-src 'none'") == 3


def test_a_still_photo_does_where_there_is_no_camera(pit: Any, phone: BrowserContext, tmp_path: Path) -> None:
    picture = tmp_path / "label.png"
    segno.make_qr(label_text(Kind.BATTERY, "GP-01"), error="m").save(str(picture), scale=9, border=4)
    page = sign_in(phone, pit)
    page.goto(f"{pit.site}/t/{pit.team}/scan/")
    page.set_input_files("[data-camera-photo]", str(picture))
    page.wait_for_url(f"**/batteries/{pit.battery}/", timeout=30000)
