"""A check about one field: plain to the database, told beside its field to people; many added with one copy."""

from __future__ import annotations

from collections.abc import Iterator

import pytest
from django.core.exceptions import ValidationError
from django.db import IntegrityError, connection, models, transaction
from django.db.migrations.state import ModelState, ProjectState
from django.db.models import CheckConstraint, Q
from django.test.utils import CaptureQueriesContext

from inventory.models import Component
from shared.migrating import AddConstraints
from shared.models.constraints import FieldCheck, fraction, not_negative, one_of, positive


def test_migrations_see_a_plain_check() -> None:
    (check,) = positive("thing", "length_m")
    plain = CheckConstraint(
        condition=check.condition, name=check.name, violation_error_message=check.violation_error_message
    )
    assert check.deconstruct() == plain.deconstruct()
    assert check == plain
    assert check.clone().field == "length_m"


@pytest.mark.parametrize(
    ("check", "sentence"),
    [
        (positive("thing", "length_m")[0], "Must be greater than zero."),
        (not_negative("thing", "length_m")[0], "Must not be below zero."),
        (fraction("thing", "duty_frac")[0], "Must be between 0 and 1 (or 0 % and 100 %)."),
        (FieldCheck(field="x", condition=Q(x=1), name="x", violation_error_message="One only."), "One only."),
    ],
)
def test_beside_its_field_the_name_is_left_out(check: FieldCheck, sentence: str) -> None:
    assert check.sentence == sentence


@pytest.mark.django_db
def test_a_model_tells_each_refusal_under_its_field() -> None:
    part = Component(code="M", name="Motor", role="motor", draw="motor", nominal_v=0, free_a=-1)
    with pytest.raises(ValidationError) as refused:
        part.validate_constraints(exclude={"team", "part_ptr", "kind"})
    assert refused.value.message_dict == {
        "nominal_v": ["Must be greater than zero."],
        "free_a": ["Must not be below zero."],
    }


@pytest.mark.django_db
def test_a_check_without_a_field_is_told_of_the_whole_row() -> None:
    check = FieldCheck(condition=Q(free_a=1), name="whole", violation_error_message="Not so.")
    with pytest.raises(ValidationError) as refused:
        check.validate(Component, Component(free_a=2))
    assert refused.value.messages == ["Not so."]
    assert not hasattr(refused.value, "error_dict")


# --- several at once ---------------------------------------------------------------------------------------

STATE = ModelState(
    "shared", "Thing", [("id", models.BigAutoField(primary_key=True)), ("n", models.IntegerField())]
)
CHECKS = AddConstraints("thing", [*positive("thing", "n"), one_of("thing", "n", ["1", "2"])])


@pytest.fixture
def states(transactional_db: None) -> Iterator[tuple[ProjectState, ProjectState]]:
    before = ProjectState()
    before.add_model(STATE.clone())
    after = before.clone()
    CHECKS.state_forwards("shared", after)
    with connection.schema_editor() as editor:
        editor.create_model(before.apps.get_model("shared", "Thing"))
    yield before, after
    with connection.schema_editor() as editor:
        editor.delete_model(before.apps.get_model("shared", "Thing"))


def _refused(state: ProjectState, n: int) -> bool:
    try:
        with transaction.atomic():
            state.apps.get_model("shared", "Thing").objects.create(n=n)
    except IntegrityError:
        return True
    return False


def test_constraints_come_and_go_together(states: tuple[ProjectState, ProjectState]) -> None:
    before, after = states
    assert not _refused(before, 0)
    before.apps.get_model("shared", "Thing").objects.all().delete()
    with CaptureQueriesContext(connection) as asked, connection.schema_editor() as editor:
        CHECKS.database_forwards("shared", editor, before, after)
    copies = [q for q in asked.captured_queries if q["sql"].startswith("INSERT INTO")]
    assert len(copies) == (1 if connection.vendor == "sqlite" else 0)
    assert [_refused(after, n) for n in (0, 1, 3)] == [True, False, True]
    with connection.schema_editor() as editor:
        CHECKS.database_backwards("shared", editor, after, before)
    assert not _refused(before, 3)
