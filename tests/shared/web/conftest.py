"""A request without a server, for templates that ask where they are."""

from __future__ import annotations

import pytest
from django.http import HttpRequest
from django.test import RequestFactory


@pytest.fixture
def request_to() -> HttpRequest:
    return RequestFactory().get("/t/gull-point/flags/?severity=stop&page=2")
