"""Pages are rendered here without a server, so static files keep their plain names."""

from __future__ import annotations

import pytest
from django.http import HttpRequest
from django.test import RequestFactory


@pytest.fixture(autouse=True)
def plain_static_names(settings):
    settings.STORAGES = {
        **settings.STORAGES,
        "staticfiles": {"BACKEND": "django.contrib.staticfiles.storage.StaticFilesStorage"},
    }


@pytest.fixture
def request_to() -> HttpRequest:
    return RequestFactory().get("/t/gull-point/flags/?severity=stop&page=2")
