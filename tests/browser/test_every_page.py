"""Every page on a wide screen; in a file beside the phone's, so that two processes share the work."""

from __future__ import annotations

from typing import Any

import pytest
from playwright.sync_api import Page

from tests.browser.every_page import look_at_every_page

pytestmark = [pytest.mark.browser, pytest.mark.django_db(transaction=True)]


def test_every_page_wide(live_server: Any, page: Page) -> None:
    look_at_every_page(live_server, page, 1280, scheme="dark", other="light")
