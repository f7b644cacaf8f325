"""Workbook, jobs and members over the API."""

from __future__ import annotations

import io

import openpyxl
import pytest
from django.core.files.uploadedfile import SimpleUploadedFile
from rest_framework.test import APIClient

from inventory.models import Bin
from shared.models import JobRun, Membership, Role, User
from tests.inventory.stockroom import make_scope, make_team

pytestmark = pytest.mark.django_db
GOOD = b"Code,Name,Travels\nA1,Shelf,no\nA2,Crate,yes\n"
BAD = b"Code,Name,Travels\nA 1,Shelf,no\nA3,Box,maybe\n"


class Caller(APIClient):
    """An API client of one person in one team."""

    def __init__(self, role: str) -> None:
        super().__init__()
        self.scope = make_scope(make_team(), role)
        self.force_authenticate(self.scope.user)

    def at(self, path: str) -> str:
        return f"/api/v1/t/{self.scope.team.slug}/{path}"

    def send(self, data: bytes, **values):
        body = {"file": SimpleUploadedFile("Bins.csv", data), **values}
        return self.post(self.at("workbook/import/"), body, format="multipart")


@pytest.fixture
def lead():
    return Caller(Role.LEAD)


@pytest.fixture
def mentor():
    return Caller(Role.MENTOR)


def test_an_import_is_a_preview_unless_asked_otherwise(lead):
    answer = lead.send(GOOD)
    assert (answer.status_code, answer.data["added"], answer.data["applied"]) == (200, 2, False)
    assert not Bin.objects.exists()
    done = lead.send(GOOD, dry_run=False, fingerprint=answer.data["fingerprint"])
    assert (done.status_code, done.data["applied"]) == (200, True)
    assert Bin.objects.count() == 2


def test_a_preview_that_is_out_of_date_is_refused(lead):
    fingerprint = lead.send(GOOD).data["fingerprint"]
    Bin.objects.create(team=lead.scope.team, code="A1", name="Other")
    answer = lead.send(GOOD, dry_run=False, fingerprint=fingerprint)
    assert answer.status_code == 409
    assert "nothing was imported" in answer.data["detail"]
    assert Bin.objects.count() == 1


def test_errors_come_all_at_once_and_change_nothing(lead):
    answer = lead.send(BAD, dry_run=False)
    assert answer.status_code == 422
    assert [(e["row"], e["column"]) for e in answer.data["error_list"]] == [(2, "Code"), (3, "Travels")]
    assert all(e["remedy"] for e in answer.data["error_list"])
    assert not Bin.objects.exists()


def test_a_file_that_is_no_workbook_is_refused_in_a_sentence(lead):
    answer = lead.send(b"%PDF-1.7")
    assert answer.status_code == 400
    assert "This is a PDF" in answer.data["detail"]


def test_a_member_may_export_but_not_import():
    member = Caller(Role.MEMBER)
    assert member.send(GOOD).status_code == 403
    for name in ("template", "export"):
        answer = member.get(member.at(f"workbook/{name}/"))
        assert "Bins" in openpyxl.load_workbook(io.BytesIO(answer.content)).sheetnames
        assert member.get(member.at(f"workbook/{name}/?form=csv")).content.startswith(b"PK")


def test_a_sweep_can_be_asked_for_and_looked_up(lead):
    answer = lead.post(lead.at("jobs/"), {"name": "sweep.loads"}, format="json")
    assert answer.status_code == 202
    run = JobRun.objects.get()
    assert (run.name, run.trigger, run.team) == ("sweep.loads", "person", lead.scope.team)
    assert lead.get(lead.at(f"jobs/{run.pk}/")).data["state"] == "queued"
    assert lead.post(lead.at("jobs/"), {}, format="json").status_code == 202
    assert lead.get(lead.at("jobs/?name=sweep.stock")).data["count"] == 1


def test_an_unknown_job_is_refused(lead):
    answer = lead.post(lead.at("jobs/"), {"name": "sweep.all"}, format="json")
    assert (answer.status_code, list(answer.data)) == (400, ["name"])


def test_runs_of_other_teams_are_not_found(lead):
    other = Caller(Role.LEAD)
    run = other.post(other.at("jobs/"), {"name": "sweep.loads"}, format="json").data[0]
    assert lead.get(lead.at(f"jobs/{run['id']}/")).status_code == 404
    assert lead.get(lead.at("jobs/")).data["count"] == 0


def test_a_mentor_governs_the_members(mentor):
    User.objects.create_user(username="ben")
    made = mentor.post(mentor.at("members/"), {"username": "ben", "role": "member"}, format="json")
    assert made.status_code == 201
    where = mentor.at(f"members/{made.data['id']}/")
    assert mentor.patch(where, {"role": "lead"}, format="json").data["role"] == "lead"
    assert mentor.get(mentor.at("members/?role=lead")).data["count"] == 1
    assert mentor.delete(where).status_code == 204
    assert Membership.objects.filter(team=mentor.scope.team).count() == 1


def test_a_lead_does_not(lead):
    assert lead.get(lead.at("members/")).status_code == 200
    answer = lead.post(lead.at("members/"), {"username": "ben", "role": "mentor"}, format="json")
    assert answer.status_code == 403
    assert "Ask a mentor" in answer.data["remedy"]
