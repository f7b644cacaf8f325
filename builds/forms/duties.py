"""The form of a duty profile: what it is called, and a small table of its phases."""

from __future__ import annotations

from collections.abc import Iterable
from typing import Any, cast

from django import forms
from django.forms.formsets import DELETION_FIELD_NAME, ORDERING_FIELD_NAME

from builds.models import DutyPhase, DutyProfile
from builds.services.duties import MOST_PHASES, PHASE_FIELDS
from shared.fields import quantity_form
from shared.models import Team

#: Empty rows below the phases that are there.
SPARE_ROWS = 3
ProfileForm = quantity_form(DutyProfile, ("code", "name", "notes"))


class PhaseTable(forms.BaseFormSet):  # type: ignore[type-arg]  # generic in the stubs only
    """The rows of the table; a row left empty is no phase."""

    def add_fields(self, form: Any, index: int | None) -> None:
        super().add_fields(form, index)
        order, gone = form.fields[ORDERING_FIELD_NAME], form.fields[DELETION_FIELD_NAME]
        order.label, gone.label = "Place", "Remove"
        order.widget.attrs["inputmode"] = "numeric"

    def clean(self) -> None:
        if self.management_form.is_valid() and not any(self.errors) and not self.rows():
            raise forms.ValidationError(
                "Give one phase at least; after the last one the first follows again."
            )

    def rows(self) -> list[DutyPhase]:
        """The phases in the order asked for, as unsaved rows."""
        return [form.instance for form in self.ordered_forms]


_Table = forms.formset_factory(
    quantity_form(DutyPhase, PHASE_FIELDS),
    formset=PhaseTable,
    extra=SPARE_ROWS,
    can_order=True,
    can_delete=True,
    max_num=MOST_PHASES,
    validate_max=True,
)


def phase_table(team: Team, data: Any = None, phases: Iterable[DutyPhase] = ()) -> PhaseTable:
    """The table as sent, or with these phases in it."""
    known = [{name: getattr(phase, name) for name in PHASE_FIELDS} for phase in phases]
    return cast(PhaseTable, _Table(data, initial=known, prefix="phase", form_kwargs={"team": team}))
