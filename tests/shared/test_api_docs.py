"""The API's page for people works under the policy every page has, without an exception."""

from __future__ import annotations

import re

import pytest
from django.urls import path
from drf_spectacular.views import SpectacularAPIView
from rest_framework import serializers
from rest_framework.generics import GenericAPIView
from rest_framework.request import Request
from rest_framework.response import Response

from shared.api_docs import ApiDocsView


class AnswerSerializer(serializers.Serializer[dict[str, int]]):
    value = serializers.IntegerField()


class ProbeView(GenericAPIView):  # type: ignore[type-arg] # it has no model
    serializer_class = AnswerSerializer

    def get(self, request: Request) -> Response:
        return Response({"value": 1})


urlpatterns = [
    path("schema/", SpectacularAPIView.as_view(), name="schema"),
    path("docs/", ApiDocsView.as_view(), name="api-docs"),
    path("probe/", ProbeView.as_view()),
]
pytestmark = pytest.mark.urls(__name__)


def test_the_page_has_no_inline_code_and_the_strict_policy(client):
    answer = client.get("/docs/")
    text = answer.content.decode()
    assert answer.status_code == 200
    assert re.findall(r"<script(?![^>]*\bsrc=)|<style|\bstyle=|\bon\w+=", text) == []
    policy = answer.headers["Content-Security-Policy"]
    assert "default-src 'none'" in policy
    assert "unsafe" not in policy


def test_its_starting_lines_come_as_a_script_of_their_own(client):
    source = re.search(r'<script src="(/docs/\?script=[^"]*)"', client.get("/docs/").content.decode())
    assert source is not None
    answer = client.get(source[1])
    assert answer.headers["Content-Type"].startswith("application/javascript")
    assert "/schema/" in answer.content.decode()


@pytest.mark.browser
def test_it_draws_the_operations_without_a_complaint(page, live_server):
    page.goto(f"{live_server.url}/docs/")
    page.wait_for_selector(".opblock-summary")
    page.click(".opblock-summary")
    page.wait_for_selector(".opblock-description, .responses-wrapper")
    assert page.locator(".opblock").count() == 1
    assert "/probe/" in page.inner_text("body")
