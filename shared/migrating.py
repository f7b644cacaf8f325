"""Operations for migrations that Django has no short form of."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from typing import Any

from django.db.migrations.operations.base import Operation
from django.db.models import BaseConstraint


class AddConstraints(Operation):
    """Several constraints of one table at once.

    SQLite copies the whole table for each constraint that is added to it; this copies it once.
    """

    reversible = True

    def __init__(self, model_name: str, constraints: Sequence[BaseConstraint]) -> None:
        self.model_name = model_name
        self.constraints = list(constraints)

    def state_forwards(self, app_label: str, state: Any) -> None:
        for constraint in self.constraints:
            state.add_constraint(app_label, self.model_name.lower(), constraint)

    def database_forwards(self, app_label: str, schema_editor: Any, from_state: Any, to_state: Any) -> None:
        self._bring_to(app_label, schema_editor, to_state, schema_editor.add_constraint)

    def database_backwards(self, app_label: str, schema_editor: Any, from_state: Any, to_state: Any) -> None:
        self._bring_to(app_label, schema_editor, to_state, schema_editor.remove_constraint)

    def _bring_to(self, app_label: str, schema_editor: Any, state: Any, each: Callable[..., None]) -> None:
        model = state.apps.get_model(app_label, self.model_name)
        if not self.allow_migrate_model(schema_editor.connection.alias, model):
            return
        if schema_editor.connection.vendor == "sqlite":
            schema_editor._remake_table(model)
            return
        for constraint in self.constraints:
            each(model, constraint)

    def describe(self) -> str:
        return f"Create {len(self.constraints)} constraints on model {self.model_name}"
