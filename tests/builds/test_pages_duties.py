"""Duty profiles as they are entered on pages: a profile and its phases in one form, drawn by the server."""

from __future__ import annotations

from typing import Any

import pytest
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext
from django.urls import reverse

from builds.duty_starters import STARTERS
from builds.models import DutyPhase, DutyProfile
from builds.services.duties import MOST_PHASES, profile_delete, profile_save
from shared.access import system_scope
from shared.errors import Conflict, DomainError, NotAllowed
from shared.models import Role
from tests.builds.workshop import Workshop, make_build, make_circuit, make_workshop
from tests.inventory.stockroom import make_scope

pytestmark = pytest.mark.django_db
NAMES = ("name", "lasts_s", "draw_frac", "torque_frac", "ORDER", "DELETE")


@pytest.fixture
def shop(client: Client) -> Workshop:
    made = make_workshop(Role.MEMBER)
    assert made.scope.user is not None
    client.force_login(made.scope.user)
    return made


def url(shop: Workshop, name: str, **kwargs: Any) -> str:
    return reverse(name, kwargs={"team": shop.team.slug, **kwargs})


def sent(*rows: tuple[Any, ...], code: str = "LIFT", initial: int = 0, **more: str) -> dict[str, str]:
    """What the browser sends: the rows, then one left empty."""
    data = {"code": code, "name": "Lift", "notes": "", **more}
    data |= {"phase-TOTAL_FORMS": str(len(rows) + 1), "phase-INITIAL_FORMS": str(initial)}
    for n, row in enumerate([*rows, ("", "", "", "0")]):
        data |= {
            f"phase-{n}-{name}": str(value) for name, value in zip(NAMES, row, strict=False) if value != ""
        }
        data.setdefault(f"phase-{n}-torque_frac", "0")
    return data


def make_profile(shop: Workshop, code: str = "DRIVE", phases: int = 2) -> DutyProfile:
    rows = [
        DutyPhase(name=f"phase {n}", lasts_s=n + 1.0, draw_frac=0.5, torque_frac=0.1) for n in range(phases)
    ]
    return profile_save(
        scope=shop.scope, profile=DutyProfile(team=shop.team, code=code, name="Drive"), phases=rows
    )


def phases_of(profile: DutyProfile) -> list[tuple[Any, ...]]:
    return list(profile.phases.values_list("place", "name", "lasts_s", "draw_frac", "torque_frac"))


def test_without_a_profile_three_are_offered_to_start_from(client: Client, shop: Workshop) -> None:
    text = client.get(url(shop, "duty-list")).content.decode()
    assert "No duty profile is entered yet." in text
    assert len(STARTERS) == 3
    for code, starter in STARTERS.items():
        assert f"{url(shop, 'duty-new')}?starter={code}" in text
        assert starter.name in text
    assert text.count("<figure") == 3
    assert "no source" in text


def test_a_starter_fills_the_form_and_is_saved_as_sent(client: Client, shop: Workshop) -> None:
    page = client.get(f"{url(shop, 'duty-new')}?starter=LIFT")
    table = page.context["table"]
    assert [f["name"].value() for f in table][: len(STARTERS["LIFT"].phases)] == [
        p[0] for p in STARTERS["LIFT"].phases
    ]
    assert not DutyProfile.objects.exists()
    rows = [(*phase, n) for n, phase in enumerate(STARTERS["LIFT"].phases, start=1)]
    answer = client.post(url(shop, "duty-new"), sent(*rows, initial=len(rows)))
    profile = DutyProfile.objects.get()
    assert answer["Location"] == url(shop, "duty-detail", pk=profile.pk)
    assert phases_of(profile) == [(n, *phase) for n, phase in enumerate(STARTERS["LIFT"].phases, start=1)]
    assert "LIFT" not in [s.code for s, _ in client.get(url(shop, "duty-list")).context["starters"]]


def test_phases_are_typed_with_units_sorted_by_place_and_removed(client: Client, shop: Workshop) -> None:
    profile = make_profile(shop, phases=3)
    first = profile.phases.get(place=1)
    rows = [("up", "0.5 min", "80 %", "0.2", 2), ("rest", "2", "0", "0", 1), ("gone", "1", "1", "0", 3, "on")]
    answer = client.post(
        url(shop, "duty-edit", pk=profile.pk), sent(*rows, ("down", "900 ms", "0.3"), code="DRIVE", initial=3)
    )
    assert answer.status_code == 302
    assert phases_of(profile) == [
        (1, "rest", 2.0, 0.0, 0.0),
        (2, "up", 30.0, 0.8, 0.2),
        (3, "down", 0.9, 0.3, 0.0),
    ]
    assert [h.name for h in first.history.all()] == ["rest", "phase 0"]
    assert first.history.latest().history_user == shop.scope.user


@pytest.mark.parametrize(
    ("row", "field", "words"),
    [
        (("up", "0", "1", "0"), "lasts_s", "Must be greater than zero."),
        (("up", "-2 s", "1", "0"), "lasts_s", "Must be greater than zero."),
        (("up", "2", "1.2", "0"), "draw_frac", "Must be between 0 and 1"),
        (("up", "2", "1", "-5 %"), "torque_frac", "Must be between 0 and 1"),
        (("up", "3 A", "1", "0"), "lasts_s", "duration"),
        (("", "2", "1", "0"), "name", "required"),
    ],
)
def test_a_wrong_phase_is_told_beside_its_field(
    client: Client, shop: Workshop, row: tuple[str, ...], field: str, words: str
) -> None:
    answer = client.post(url(shop, "duty-new"), sent(row))
    assert answer.status_code == 422
    assert [list(e) for e in answer.context["table"].errors if e] == [[field]]
    assert words in answer.content.decode()
    assert not DutyProfile.objects.exists()


def test_a_profile_without_phases_is_refused(client: Client, shop: Workshop) -> None:
    answer = client.post(url(shop, "duty-new"), sent())
    assert answer.status_code == 422
    assert "Give one phase at least" in answer.content.decode()
    assert not DutyProfile.objects.exists()


def test_what_is_typed_can_be_drawn_without_saving(client: Client, shop: Workshop) -> None:
    answer = client.post(url(shop, "duty-new"), sent(("up", "2", "1", "0.25"), draw="yes"))
    assert answer.status_code == 200
    assert "<svg" in answer.content.decode()
    assert answer.context["chart"].steps[0].torque_frac == 0.25
    assert not DutyProfile.objects.exists()


def test_a_code_is_given_once(client: Client, shop: Workshop) -> None:
    make_profile(shop, "LIFT")
    answer = client.post(url(shop, "duty-new"), sent(("up", "2", "1", "0")))
    assert answer.status_code == 422
    assert "already exists" in answer.content.decode()
    assert DutyProfile.objects.count() == 1


def test_a_profile_names_the_circuits_that_follow_it(client: Client, shop: Workshop) -> None:
    profile = make_profile(shop)
    circuit = make_circuit(shop, make_build(shop), "C1", profile=profile)
    text = client.get(url(shop, "duty-detail", pk=profile.pk)).content.decode()
    assert url(shop, "circuit-detail", pk=circuit.pk) in text
    assert "1 circuit follows it" in text
    with pytest.raises(Conflict, match=r"is followed by .* C1"):
        profile_delete(scope=shop.scope, profile=profile)
    answer = client.post(url(shop, "duty-delete", pk=profile.pk))
    assert answer.status_code == 409
    circuit.delete()
    client.post(url(shop, "duty-delete", pk=profile.pk))
    assert not DutyPhase.objects.exists()


def test_an_auditor_reads_and_changes_nothing(client: Client, shop: Workshop) -> None:
    profile = make_profile(shop)
    scope = make_scope(shop.team, Role.AUDITOR)
    assert scope.user is not None
    client.force_login(scope.user)
    assert client.get(url(shop, "duty-detail", pk=profile.pk)).status_code == 200
    assert url(shop, "duty-new") not in client.get(url(shop, "duty-list")).content.decode()
    assert client.get(url(shop, "duty-edit", pk=profile.pk)).status_code == 403
    with pytest.raises(NotAllowed):
        profile_save(scope=scope, profile=profile)


def test_a_service_takes_a_sensible_number_of_phases(shop: Workshop) -> None:
    profile = DutyProfile(team=shop.team, code="X", name="X")
    phase = DutyPhase(name="on", lasts_s=1, draw_frac=1)
    for count in (0, MOST_PHASES + 1):
        with pytest.raises(DomainError) as refused:
            profile_save(scope=system_scope(shop.team), profile=profile, phases=[phase] * count)
        assert refused.value.field == "phases"
    made = profile_save(scope=system_scope(shop.team), profile=profile, phases=[phase] * MOST_PHASES)
    assert made.phases.count() == MOST_PHASES


def test_the_list_asks_as_much_for_ten_profiles_as_for_one(client: Client, shop: Workshop) -> None:
    counts = []
    for first, last in ((0, 1), (1, 10)):
        for n in range(first, last):
            make_profile(shop, f"P{n}", phases=3)
        with CaptureQueriesContext(
            connection,
        ) as asked:
            client.get(url(shop, "duty-list"))
        counts.append(len(asked))
    assert counts[0] == counts[1]


def test_an_untouched_phase_gets_no_new_line_of_history(shop: Workshop) -> None:
    profile = make_profile(shop)
    profile_save(scope=shop.scope, profile=profile, phases=list(profile.phases.all()))
    assert [phase.history.count() for phase in profile.phases.all()] == [1, 1]
    profile_save(scope=shop.scope, profile=profile)
    assert profile.phases.count() == 2


def test_a_circuit_is_entered_with_what_the_robot_as_one_circuit_needs(
    client: Client, shop: Workshop
) -> None:
    profile, build = make_profile(shop), make_build(shop)
    theirs = make_profile(make_workshop(), "THEIRS")
    given = {"code": "ARM-1", "name": "Arm", "role": "branch", "parallel": "1", "bundle_count": "2"}
    more = {"mechanism": "", "limit_a": "20 A", "joints_mohm": "0.0018 ohm"}
    page = client.get(url(shop, "circuit-new", pk=build.pk))
    assert url(shop, "duty-list") in page.content.decode()
    assert list(page.context["form"].fields["profile"].queryset) == [profile]
    wrong = client.post(url(shop, "circuit-new", pk=build.pk), {**given, **more, "profile": theirs.pk})
    assert list(wrong.context["form"].errors) == ["profile"]
    client.post(url(shop, "circuit-new", pk=build.pk), {**given, **more, "profile": profile.pk})
    circuit = build.circuits.get()
    assert (circuit.limit_a, circuit.joints_mohm, circuit.moves_with) == (20.0, 1.8, "ARM")
    text = client.get(url(shop, "circuit-detail", pk=circuit.pk)).content.decode()
    assert url(shop, "duty-detail", pk=profile.pk) in text


@pytest.mark.parametrize("code", STARTERS)
def test_every_starter_is_a_valid_profile(code: str, shop: Workshop) -> None:
    starter = STARTERS[code]
    profile = DutyProfile(team=shop.team, code=starter.code, name=starter.name)
    made = profile_save(scope=shop.scope, profile=profile, phases=starter.rows())
    assert made.phases.count() == len(starter.phases) >= 3
    # Nothing is at full power all the time: a profile without a rest would say so little that it misleads.
    assert any(draw < 0.1 for _, _, draw, _ in starter.phases)
