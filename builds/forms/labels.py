"""Which labels, on which sheet, from which place on."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from django import forms

from builds.selectors.labels import thing_key
from builds.selectors.scan import Thing
from shared.labels.codes import Kind
from shared.labels.layouts import LAYOUTS, MOST_SHIFT_MM

PAGES = {"A4": "A4 sheets", "Letter": "Letter sheets", "Roll": "Label printers, one by one"}
KINDS = {Kind.BATTERY: "Batteries", Kind.SPOOL: "Spools", Kind.BIN: "Bins", Kind.ROBOT: "Robots"}
MOST_COPIES = 20
_ONE = forms.NumberInput(attrs={"placeholder": "1"})


def layout_choices() -> list[tuple[str, list[tuple[str, str]]]]:
    """Layouts by the paper they come on."""
    return [
        (label, [(layout.key, layout.name) for layout in LAYOUTS.values() if layout.page == page])
        for page, label in PAGES.items()
    ]


class LabelForm(forms.Form):
    """Everything has a default, so that a link may name just one thing."""

    kind = forms.MultipleChoiceField(
        choices=[(kind.value, label) for kind, label in KINDS.items()],
        required=False,
        widget=forms.CheckboxSelectMultiple,
        label="All of a kind",
    )
    thing = forms.MultipleChoiceField(required=False, widget=forms.CheckboxSelectMultiple, label="One by one")
    layout = forms.ChoiceField(choices=layout_choices, required=False, label="Labels")
    start = forms.IntegerField(min_value=1, required=False, label="First free label", widget=_ONE)
    copies = forms.IntegerField(
        min_value=1, max_value=MOST_COPIES, required=False, label="Copies of each", widget=_ONE
    )
    shift_x_mm = forms.FloatField(
        min_value=-MOST_SHIFT_MM, max_value=MOST_SHIFT_MM, required=False, label="Move right (mm)"
    )
    shift_y_mm = forms.FloatField(
        min_value=-MOST_SHIFT_MM, max_value=MOST_SHIFT_MM, required=False, label="Move down (mm)"
    )

    def __init__(self, known: Sequence[Thing], data: Any = None) -> None:
        super().__init__(data)
        things = self.fields["thing"]
        assert isinstance(things, forms.MultipleChoiceField)
        things.choices = [(thing_key(thing), str(thing)) for thing in known]

    def clean_layout(self) -> str:
        return str(self.cleaned_data["layout"] or next(iter(LAYOUTS)))

    def clean_copies(self) -> int:
        return int(self.cleaned_data["copies"] or 1)

    def clean_shift_x_mm(self) -> float:
        return float(self.cleaned_data["shift_x_mm"] or 0.0)

    def clean_shift_y_mm(self) -> float:
        return float(self.cleaned_data["shift_y_mm"] or 0.0)

    def clean(self) -> dict[str, Any]:
        given = super().clean() or {}
        given["start"] = given.get("start") or 1
        layout = LAYOUTS.get(given.get("layout", ""))
        if layout is not None and given["start"] > layout.count:
            self.add_error(
                "start",
                f"A sheet of {layout.name} has {layout.count} labels; {given['start']} is not among them. "
                f"Give 1 to {layout.count}.",
            )
        return given
