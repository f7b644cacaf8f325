"""What `manage.py pit` tells the person at the laptop, and the page and codes it makes for the phones."""

from __future__ import annotations

import re
from pathlib import Path
from typing import Any

import pytest

from shared import embedded
from shared.pit import authority, page, plain

NAMES = ["pit-laptop", "pit-laptop.local", "192.168.7.20"]


@pytest.fixture
def made(tmp_path: Path) -> authority.Made:
    return authority.prepare(tmp_path / "pit", NAMES)


def told(capsys: Any, made: authority.Made, before: list[str]) -> str:
    embedded._tell_pit(made, before)
    return str(capsys.readouterr().out)


def test_the_fingerprint_and_a_new_authority_are_told(capsys: Any, made: authority.Made) -> None:
    said = told(capsys, made, [])
    assert made.fingerprint in said
    assert "every phone takes its certificate in once" in said
    assert "address has changed" not in said


def test_a_changed_address_is_told_and_phones_keep_their_certificate(
    capsys: Any, made: authority.Made, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(embedded, "own_addresses", lambda: ["10.42.0.1"])
    folder = made.root.parent
    assert embedded._addresses_before(folder) == []
    monkeypatch.setattr(embedded, "own_addresses", lambda: ["192.168.7.20"])
    before = embedded._addresses_before(folder)
    assert before == ["10.42.0.1"]
    again = authority.prepare(folder, NAMES)
    said = told(capsys, again, before)
    assert "192.168.7.20 (was 10.42.0.1)" in said
    assert "A new authority" not in said
    assert "address has changed" not in told(capsys, again, embedded._addresses_before(folder))


def test_a_public_address_is_told_to_be_left_out(capsys: Any, made: authority.Made) -> None:
    moved = authority.prepare(made.root.parent, [*NAMES, "203.0.113.7"])
    said = told(capsys, moved, [])
    assert "203.0.113.7" in said
    assert "private" in said


def test_addresses_by_number_come_first(made: authority.Made) -> None:
    found = page.addresses(made.covered, port=8443, plain_port=8000)
    assert [one.site for one in found] == [
        "https://192.168.7.20:8443/",
        "https://pit-laptop:8443/",
        "https://pit-laptop.local:8443/",
    ]
    assert found[0].steps == "http://192.168.7.20:8000/"


def test_the_page_names_fingerprint_addresses_and_end_and_needs_no_exception(
    made: authority.Made, tmp_path: Path
) -> None:
    site = tmp_path / "site"
    page.write_site(site, made, page.addresses(made.covered, port=8443, plain_port=8000))
    html = (site / "index.html").read_text()
    assert made.fingerprint in html
    assert f"{made.root_until:%Y-%m-%d}" in html
    assert html.count("<svg") == 6
    assert not re.search(r"style=|<script|\son[a-z]+=", html)
    assert (site / plain.CERTIFICATE).read_bytes() == made.root_der
    assert {name for name, _ in plain.FILES.values()} == {file.name for file in site.iterdir()}


def test_without_a_network_the_page_says_so(tmp_path: Path) -> None:
    alone = authority.prepare(tmp_path / "pit", [])
    page.write_site(tmp_path / "site", alone, [])
    assert "on no network yet" in (tmp_path / "site" / "index.html").read_text()
