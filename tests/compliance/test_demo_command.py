"""`manage.py demo`: from nothing to flags, once; the second start leaves the data alone."""

from __future__ import annotations

import re
from dataclasses import replace
from typing import Any, NoReturn

import pytest
from django.conf import LazySettings
from django.core.management import CommandError, call_command

from builds.match_study import run_studies
from builds.match_study.robot import StudyRobot
from builds.models import Circuit, MatchStudy
from builds.services import match_studies
from compliance.demo.faults import SEEDED
from compliance.demo.people import SIGN_INS
from compliance.management.commands import demo
from compliance.models import Flag, FlagEvent, FlagState
from inventory.models import Movement, Reading
from shared import embedded
from shared.models import JobRun, Team, User
from tests.inventory.stockroom import make_team

pytestmark = pytest.mark.django_db


@pytest.fixture(autouse=True)
def embedded_set_up(settings: LazySettings, monkeypatch: pytest.MonkeyPatch) -> None:
    """The suite also runs with the variables of production set; a second of each match is enough here."""
    settings.PRODUCTION = False

    def short(robot: StudyRobot, *rest: Any) -> list[dict[str, Any]]:
        return run_studies(replace(robot, match_s=1.0), *rest)

    monkeypatch.setattr(match_studies, "run_studies", short)


def _run(capsys: pytest.CaptureFixture[str]) -> str:
    call_command("demo", "--no-serve")
    return capsys.readouterr().out


def _state() -> dict[str, object]:
    return {
        model.__name__: sorted(model._default_manager.values_list("pk", flat=True))
        for model in (Team, User, Circuit, Movement, Reading, Flag, FlagEvent, MatchStudy)
    }


def test_demo_flags_what_is_seeded_and_a_second_start_keeps_it(capsys: pytest.CaptureFixture[str]) -> None:
    out = _run(capsys)
    assert Flag.objects.filter(state=FlagState.OPEN).count() == len(SEEDED)
    assert len(re.findall(r"^  (?:Stop|Fix|Watch|Cannot judge) ", out, re.MULTILINE)) == len(SEEDED)
    assert "Gull Point Robotics (demo data)" in out
    assert re.search(r"^  database up to date +\d+\.\d s$", out, re.MULTILINE), "no progress shown"
    jobs = JobRun.objects.filter(name="sweep.all", state=JobRun.State.DONE)
    assert jobs.get().counts["open"] == len(SEEDED)
    for sign_in in SIGN_INS:
        assert f"{sign_in.username:<8} {sign_in.password}" in out
        assert User.objects.get(username=sign_in.username).check_password(sign_in.password)
    assert "Kittiwake rev C in simulated matches" in out
    assert len(re.findall(r"^    \S.* in 20 matches$", out, re.MULTILINE)) == MatchStudy.objects.count() > 20
    assert set(JobRun.objects.filter(state="queued").values_list("name", flat=True)) == {"match.team"}, (
        "left to do"
    )
    before = _state()

    again = _run(capsys)
    assert _state() == before
    assert "their data stays as it is" in again
    assert jobs.count() == 2


@pytest.fixture
def nothing_to_make(monkeypatch: pytest.MonkeyPatch) -> None:
    """For tests of what comes after: the world is taken to be there, which saves the time to make it."""
    monkeypatch.setattr(demo, "demo_is_there", lambda: True)


@pytest.mark.usefixtures("nothing_to_make")
def test_pages_are_served_unless_told_not_to(monkeypatch: pytest.MonkeyPatch) -> None:
    asked: list[tuple[str, int]] = []
    monkeypatch.setattr(embedded, "serve", lambda host, port: asked.append((host, port)))
    call_command("demo", "--port", "8123")
    assert asked == [("127.0.0.1", 8123)]


def test_production_is_refused(settings: LazySettings) -> None:
    settings.PRODUCTION = True
    with pytest.raises(CommandError, match="passwords that everyone knows"):
        call_command("demo", "--no-serve")
    assert not Team.objects.exists()


def test_names_of_real_data_are_refused() -> None:
    Team.objects.filter(pk=make_team("A real team").pk).update(slug="gull-point")
    with pytest.raises(CommandError, match="gull-point"):
        call_command("demo", "--no-serve")
    assert Team.objects.count() == 1


@pytest.mark.usefixtures("nothing_to_make")
def test_a_failed_check_is_told(monkeypatch: pytest.MonkeyPatch) -> None:
    def broken(*args: object, **kwargs: object) -> NoReturn:
        raise RuntimeError("out of paper")

    make_team("Somebody to judge")
    monkeypatch.setattr("compliance.tasks.flags_sync", broken)
    with pytest.raises(CommandError, match="out of paper"):
        call_command("demo", "--no-serve")


@pytest.mark.parametrize(
    ("value", "unit", "shown"),
    [(1150.0, "d", "1150 d"), (0.0394, "s", "0.0394 s"), (552.34, "a", "552 A"), (12000.0, "each", "12000")],
)
def test_a_figure_has_few_digits_and_no_power_of_ten(value: float, unit: str, shown: str) -> None:
    assert demo._figure(value, unit) == shown
