"""What a browser asks for at the root: the worker, its stand-in page, the home-screen manifest."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import pytest
from django.conf import settings
from django.contrib.staticfiles import finders
from django.test import Client
from django.urls import reverse

from shared.views.offline import ASSETS, worker_facts
from tests.world import make_world


@pytest.mark.parametrize("name", ASSETS)
def test_every_file_it_brings_along_exists(name: str) -> None:
    assert finders.find(name)


def test_the_worker_may_look_after_every_page_and_is_asked_for_anew(client: Client) -> None:
    answer = client.get(reverse("worker"))
    assert answer["Service-Worker-Allowed"] == "/"
    assert answer["Content-Type"].startswith("text/javascript")
    assert "no-store" in answer["Cache-Control"]
    facts = json.loads(answer.content.decode().split("self.facts = ", 1)[1].split(";\n", 1)[0])
    assert facts["accounts"] == "/accounts/"
    assert reverse("offline") in facts["assets"]


def test_its_version_is_another_when_any_file_is(monkeypatch: pytest.MonkeyPatch) -> None:
    before = worker_facts()["version"]
    monkeypatch.setattr("shared.views.offline.ASSETS", [*ASSETS, "web/pit.css"])
    assert worker_facts()["version"] != before


def test_the_worker_is_offered_over_https_only(client: Client, db: None) -> None:
    world = make_world()
    client.force_login(world.cast.mentor, backend="django.contrib.auth.backends.ModelBackend")
    address = reverse("team-home", kwargs={"team": world.home.team.slug})
    assert "data-worker" not in client.get(address).content.decode()
    assert f'data-worker="{reverse("worker")}"' in client.get(address, secure=True).content.decode()


def test_the_manifest_names_icons_that_exist(client: Client) -> None:
    facts = client.get(reverse("app-manifest")).json()
    assert (facts["display"], facts["scope"]) == ("standalone", "/")
    for icon in facts["icons"]:
        assert finders.find(icon["src"].removeprefix(settings.STATIC_URL))


def test_the_vendored_reader_stands_beside_its_licence() -> None:
    folder = Path(str(finders.find("web/vendor/zxing-wasm-3.1.4/reader.js"))).parent
    assert "MIT License" in (folder / "LICENSE").read_text()
    assert (folder / "zxing_reader.wasm").read_bytes()[:4] == b"\0asm"


def test_the_stand_in_page_says_what_is_kept(client: Client) -> None:
    answer: Any = client.get(reverse("offline"))
    assert "Entries you made are" in answer.content.decode()
