"""The workbook on the command line: a preview, every error, then all of it or nothing."""

from __future__ import annotations

import io

import pytest
from django.core.management import CommandError, call_command

from inventory.models import Bin
from shared.models import JobRun
from tests.inventory.stockroom import make_team

pytestmark = pytest.mark.django_db
GOOD = "Code,Name,Travels\nA1,Shelf,no\nA2,Crate,yes\n"
THREE_MISTAKES = "Code,Name,Travels\nA 1,Shelf,no\n,Crate,yes\nA3,Box,maybe\n"


@pytest.fixture
def team():
    return make_team()


@pytest.fixture
def run(tmp_path, team):
    def run(text: str, *options: str) -> str:
        file = tmp_path / "Bins.csv"
        file.write_text(text)
        out = io.StringIO()
        call_command("import_workbook", str(file), "--team", team.slug, *options, stdout=out)
        return out.getvalue()

    return run


def test_it_imports_and_says_what_was_queued(run, team):
    told = run(GOOD)
    assert "Bins: 2 to add, 0 to change" in told
    assert "2 added, 0 changed" in told
    assert "Queued: sweep.stock" in told
    assert Bin.objects.filter(team=team).count() == 2


def test_a_dry_run_changes_nothing(run):
    assert "Nothing was changed." in run(GOOD, "--dry-run")
    assert not Bin.objects.exists()
    assert not JobRun.objects.exists()


def test_the_same_file_again_changes_nothing(run):
    run(GOOD)
    assert run(GOOD).endswith("Nothing was changed.\n")


def test_changes_show_old_and_new(run):
    run(GOOD)
    assert "~ row 2 A1: Name Shelf -> Rack" in run(GOOD.replace("Shelf", "Rack"), "--dry-run")


def test_three_mistakes_are_told_all_three_with_place_value_and_remedy(tmp_path, team):
    file = tmp_path / "Bins.csv"
    file.write_text(THREE_MISTAKES)
    out = io.StringIO()
    with pytest.raises(CommandError, match=r"3 errors in Bins\.csv\. Nothing was changed\."):
        call_command("import_workbook", str(file), "--team", team.slug, stdout=out)
    told = out.getvalue()
    for place in ("Bins, row 2, Code", "Bins, row 3, Code", "Bins, row 4, Travels"):
        assert f"ERROR {place}: " in told
    assert "value:  maybe" in told
    assert told.count("remedy: ") == 3
    assert not Bin.objects.exists()


def test_an_unknown_team_is_answered_with_those_there_are(tmp_path, team):
    with pytest.raises(CommandError, match=f"There are: {team.slug}"):
        call_command("import_workbook", str(tmp_path), "--team", "nobody")


def test_a_missing_file_is_a_sentence(tmp_path, team):
    with pytest.raises(CommandError, match=r"There is no file .* Nothing was changed"):
        call_command("import_workbook", str(tmp_path / "none.xlsx"), "--team", team.slug)


@pytest.mark.parametrize("ending", ["xlsx", "zip"])
def test_what_is_exported_imports_to_the_same_state(run, team, tmp_path, ending):
    run(GOOD)
    file, out = tmp_path / f"all.{ending}", io.StringIO()
    call_command("export_workbook", str(file), "--team", team.slug, stdout=out)
    call_command("import_workbook", str(file), "--team", team.slug, stdout=out)
    assert out.getvalue().endswith("Nothing was changed.\n")
    other = make_team()
    call_command("import_workbook", str(file), "--team", other.slug, stdout=out)
    assert set(Bin.objects.filter(team=other).values_list("code", "name", "travels")) == {
        ("A1", "Shelf", False), ("A2", "Crate", True)}  # fmt: skip


def test_an_export_to_another_ending_or_no_folder_is_refused(team, tmp_path):
    with pytest.raises(CommandError, match=r"end the name in \.xlsx or \.zip"):
        call_command("export_workbook", str(tmp_path / "all.ods"), "--team", team.slug)
    with pytest.raises(CommandError, match="Could not write"):
        call_command("export_workbook", str(tmp_path / "no" / "all.zip"), "--team", team.slug)
