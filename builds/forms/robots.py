"""Forms about robots that no single model makes: a copy of a build under a new label."""

from __future__ import annotations

from django import forms


class BuildCopyForm(forms.Form):
    label = forms.CharField(max_length=40, help_text="rev B, competition, after the drivetrain change")
    dated = forms.DateField(
        label="From this day",
        widget=forms.DateInput({"type": "date"}, format="%Y-%m-%d"),
        help_text="From this day the robot is wired like this",
    )
