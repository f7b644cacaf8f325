"""The one set of filters over flags: the page and the API take the same words."""

from __future__ import annotations

from typing import Any, ClassVar

import django_filters as filters
from django.db.models import Q, QuerySet
from django.utils import timezone

from builds.models import Build, Circuit
from compliance.models import Flag, FlagState, Severity, SubjectKind
from compliance.selectors.flags import MarkedFlags, by_severity, with_waivers
from shared.access import Scope

OPEN, WAIVED, CLEARED, ALL = "open", "waived", "cleared", "all"
STANDINGS = [(OPEN, "Open"), (WAIVED, "Waived"), (CLEARED, "Cleared"), (ALL, "All of them")]
SWEEPS = [("batteries", "Batteries"), ("loads", "Loads"), ("stock", "Stock")]


class FlagFilter(filters.FilterSet):  # type: ignore[misc]  # ships no type information
    """What a reader may narrow flags by. Without ``standing``: those that are open and not waived."""

    severity = filters.ChoiceFilter(choices=Severity.choices)
    sweep = filters.ChoiceFilter(choices=SWEEPS)
    kind = filters.ChoiceFilter(field_name="subject_kind", choices=SubjectKind.choices)
    subject = filters.NumberFilter(field_name="subject_id", help_text="Id of the subject, with kind")
    rule = filters.CharFilter(field_name="rule_code")
    robot = filters.CharFilter(method="of_robot", help_text="Code of a robot: its builds and circuits")
    q = filters.CharFilter(
        method="with_words", label="Words", help_text="Words in the subject or the message"
    )
    standing = filters.ChoiceFilter(choices=STANDINGS, method="of_standing", empty_label=None)

    class Meta:
        model = Flag
        fields: ClassVar[list[str]] = []

    def filter_queryset(self, queryset: QuerySet[Any]) -> QuerySet[Any]:
        narrowed: QuerySet[Any] = super().filter_queryset(queryset)
        return narrowed if self.form.cleaned_data.get("standing") else self.of_standing(narrowed, "", OPEN)

    def of_standing(self, flags: QuerySet[Any], name: str, value: str) -> QuerySet[Any]:
        if value == ALL:
            return flags
        if value == CLEARED:
            return flags.filter(state=FlagState.CLEARED)
        return flags.filter(state=FlagState.OPEN, waived=value == WAIVED)

    def of_robot(self, flags: QuerySet[Any], name: str, value: str) -> QuerySet[Any]:
        builds = Build.objects.filter(robot__code=value).values("pk")
        circuits = Circuit.objects.filter(build__robot__code=value).values("pk")
        return flags.filter(
            Q(subject_kind=SubjectKind.CIRCUIT, subject_id__in=circuits)
            | Q(subject_kind=SubjectKind.BUILD, subject_id__in=builds)
        )

    def with_words(self, flags: QuerySet[Any], name: str, value: str) -> QuerySet[Any]:
        return flags.filter(Q(subject_label__icontains=value) | Q(message__icontains=value))


def flags_marked(scope: Scope) -> MarkedFlags:
    """All flags of the team, the most serious first, each marked whether it is waived today."""
    return by_severity(with_waivers(scope.rows(Flag), timezone.localdate()))
