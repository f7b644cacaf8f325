"""A form for what a rule pack changes of one rule, with a field for each limit the rule has."""

from __future__ import annotations

from typing import Any

from django import forms

from compliance.models import Severity
from compliance.rules.base import Limit, LimitValue, Rule
from compliance.views.limits import limit_text

PREFIX = "limit_"
SEVERITIES = [
    ("", "as the rule says"),
    *((s, s.label) for s in (Severity.STOP, Severity.FIX, Severity.WATCH)),
]


class SettingForm(forms.Form):
    """Empty limits are left at their default."""

    enabled = forms.BooleanField(label="The rule is switched on", required=False)
    severity = forms.ChoiceField(choices=SEVERITIES, required=False)
    source = forms.CharField(
        label="Where these limits come from", max_length=200, required=False, help_text="Document and clause"
    )

    def __init__(self, rule: type[Rule], *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.rule = rule
        for limit in rule.limits:
            self.fields[PREFIX + limit.name] = limit_field(limit)

    def clean(self) -> dict[str, Any]:
        """Read each limit as the rule would; every one that is wrong is told."""
        cleaned = super().clean() or {}
        for limit in self.rule.limits:
            given = cleaned.get(PREFIX + limit.name, "")
            if given != "":
                try:
                    limit.read(given)
                except ValueError as wrong:
                    self.add_error(PREFIX + limit.name, str(wrong))
        return cleaned

    def limits(self) -> dict[str, LimitValue]:
        """The limits that were given and differ from the default."""
        given = {limit: self.cleaned_data[PREFIX + limit.name] for limit in self.rule.limits}
        read = {limit: limit.read(text) for limit, text in given.items() if text != ""}
        return {limit.name: value for limit, value in read.items() if value != limit.default}


def limit_field(limit: Limit) -> forms.Field:
    """A choice where the limit has names to choose from, else text for a number."""
    default = limit.default if limit.choices else f"{limit.default:g}"
    shown = limit_text(limit.default, limit.unit)
    about = (
        f"{limit.explanation}. Default {default}{f' ({shown})' if shown != default else ''}: {limit.source}."
    )
    label = limit.name.replace("_", " ").capitalize()
    if limit.choices:
        names = [("", f"default ({limit.default})"), *((name, name) for name in limit.choices)]
        return forms.ChoiceField(choices=names, required=False, label=label, help_text=about)
    widget = forms.TextInput(
        attrs={
            "inputmode": "decimal",
            "placeholder": default,
            "data-unit": "" if limit.unit == "frac" else limit.unit,
        }
    )
    return forms.CharField(required=False, label=label, help_text=about, widget=widget, max_length=40)
