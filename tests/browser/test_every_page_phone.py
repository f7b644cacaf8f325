"""Every page on a phone; in a file beside the wide screen's, so that two processes share the work."""

from __future__ import annotations

from typing import Any

import pytest
from playwright.sync_api import Page

from tests.browser.every_page import look_at_every_page

pytestmark = [pytest.mark.browser, pytest.mark.django_db(transaction=True)]


def test_every_page_phone(live_server: Any, page: Page) -> None:
    look_at_every_page(live_server, page, 390, scheme="light", other="dark")
