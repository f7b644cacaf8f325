"""Import and export by page: preview first, all errors at once, then all of it or nothing."""

from __future__ import annotations

import io
import os
import time

import openpyxl
import pytest
from django.core.files.uploadedfile import SimpleUploadedFile
from django.urls import reverse

from inventory.models import Bin, Supplier
from shared.models import JobRun, Role
from shared.workbook import uploads
from tests.inventory.stockroom import make_scope, make_team

pytestmark = pytest.mark.django_db
GOOD = b"Code;Name;Travels\nA1;Shelf;no\nA2;Crate;yes\n"
BAD = b"Code;Name;Travels\nA 1;Shelf;no\n;Crate;yes\nA3;Box;maybe\n"


@pytest.fixture(autouse=True)
def data_dir(settings, tmp_path):
    settings.DATA_DIR = tmp_path
    return tmp_path


@pytest.fixture
def lead(client):
    scope = make_scope(make_team(), Role.LEAD)
    client.force_login(scope.user)
    return scope


def address(scope, name: str) -> str:
    return reverse(name, kwargs={"team": scope.team.slug})


def send(client, scope, data: bytes, name: str = "Bins.csv"):
    return client.post(address(scope, "workbook-import"), {"file": SimpleUploadedFile(name, data)})


def agree(client, scope, answer, **changed: str):
    agreed = {"token": answer.context["token"], "fingerprint": answer.context["plan"].fingerprint, **changed}
    return client.post(address(scope, "workbook-import"), agreed)


def test_the_page_explains_every_sheet_and_gives_both_files(client, lead):
    text = client.get(address(lead, "workbook")).content.decode()
    assert "Wire types" in text
    assert "Resistance" in text
    for name in ("workbook-template", "workbook-export"):
        book = client.get(address(lead, name))
        assert "Bins" in openpyxl.load_workbook(io.BytesIO(book.content)).sheetnames
        assert client.get(address(lead, name) + "?form=csv").content.startswith(b"PK")


def test_a_preview_changes_nothing_and_names_what_it_would_do(client, lead):
    answer = send(client, lead, GOOD)
    assert answer.status_code == 200
    assert "would add 2 and change 0 rows" in answer.content.decode()
    assert not Bin.objects.exists()


def test_agreeing_imports_and_queues_the_sweeps(client, lead):
    answer = agree(client, lead, send(client, lead, GOOD))
    assert "2 added, 0 changed" in answer.content.decode()
    assert set(Bin.objects.values_list("code", "travels")) == {("A1", False), ("A2", True)}
    run = JobRun.objects.get(name="sweep.stock")
    assert (run.trigger, run.team, run.asked_by) == (JobRun.Trigger.IMPORT, lead.team, lead.user)


def test_old_and_new_values_are_shown_and_the_same_file_changes_nothing(client, lead):
    agree(client, lead, send(client, lead, GOOD))
    again = send(client, lead, GOOD)
    assert again.context["plan"].changes_nothing
    assert "Import all of it" not in again.content.decode()
    text = send(client, lead, GOOD.replace(b"Shelf", b"Rack")).content.decode()
    assert "<del>Shelf</del>" in text
    assert "<ins>Rack</ins>" in text


def test_all_errors_are_told_at_once_and_nothing_can_be_agreed_to(client, lead, data_dir):
    answer = send(client, lead, BAD)
    text = answer.content.decode()
    assert answer.status_code == 200
    assert {(e.row, e.column) for e in answer.context["plan"].errors} == {
        (2, "Code"), (3, "Code"), (4, "Travels")}  # fmt: skip
    assert "Nothing was changed." in text
    assert "<code>maybe</code>" in text
    assert "Import all of it" not in text
    assert not Bin.objects.exists()
    assert list((data_dir / "uploads").iterdir()) == []


def test_data_that_changed_since_the_preview_are_shown_again(client, lead):
    answer = send(client, lead, GOOD)
    Bin.objects.create(team=lead.team, code="A1", name="Old shelf")
    again = agree(client, lead, answer)
    text = again.content.decode()
    assert "The data changed since the preview; nothing was imported." in text
    assert "would add 1 and change 1 row" in text
    assert Bin.objects.count() == 1
    assert agree(client, lead, again).status_code == 200
    assert Bin.objects.get(code="A1").name == "Shelf"


@pytest.mark.parametrize(
    ("data", "name", "told"),
    [
        (b"", "empty.xlsx", "empty"),
        (b"%PDF-1.7", "book.pdf", "This is a PDF, not a workbook"),
        (b"\xd0\xcf\x11\xe0\xa1\xb1\x1a\xe1old", "book.xls", "This is the old XLS format"),
        (b"PK\x03\x04 broken", "book.xlsx", "The file is damaged"),
    ],
)
def test_what_is_no_workbook_is_refused_in_a_sentence(client, lead, data, name, told):
    answer = send(client, lead, data, name)
    assert answer.status_code == 422
    assert told in answer.content.decode()


def test_a_kept_file_is_for_its_sender_in_its_team_only(client, lead):
    answer = send(client, lead, GOOD)
    colleague = make_scope(lead.team, Role.LEAD)
    client.force_login(colleague.user)
    refused = agree(client, colleague, answer)
    assert refused.status_code == 400
    assert "no longer kept" in refused.content.decode()
    assert agree(client, colleague, answer, token="../../secret").status_code == 400
    assert not Bin.objects.exists()


def test_a_kept_file_is_gone_after_an_hour(client, lead, data_dir):
    answer = send(client, lead, GOOD)
    (kept,) = (data_dir / "uploads").iterdir()
    old = time.time() - uploads.KEPT_S - 1
    os.utime(kept, (old, old))
    assert agree(client, lead, answer).status_code == 400
    send(client, lead, GOOD)
    assert not kept.exists()


def test_only_lead_and_mentor_bring_files_in(client):
    member = make_scope(make_team())
    client.force_login(member.user)
    assert "is for the logistics lead or a mentor" in client.get(address(member, "workbook")).content.decode()
    assert send(client, member, GOOD).status_code == 403


def test_the_export_page_gives_back_what_the_import_took(client, lead):
    agree(client, lead, send(client, lead, GOOD))
    Supplier.objects.create(team=lead.team, name="Harbour Electric")
    exported = client.get(address(lead, "workbook-export")).content
    assert send(client, lead, exported, "all.xlsx").context["plan"].changes_nothing


def test_file_names_are_text_not_markup(client, lead):
    assert "<b>x" not in send(client, lead, BAD, "<b>x.csv").content.decode()
