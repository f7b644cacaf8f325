"""From a code that was scanned or typed to the page of the thing that carries it."""

from __future__ import annotations

from django.urls import reverse

from inventory.models import Battery, Bin, Part, Spool
from shared.access import Scope

#: (model, URL name), in the order in which a code is looked for.
CODED: tuple[tuple[type[Part | Spool | Bin | Battery], str], ...] = (
    (Part, "part-detail"),
    (Spool, "spool-detail"),
    (Bin, "bin-detail"),
    (Battery, "battery-detail"),
)


def found_by_code(scope: Scope, code: str) -> str:
    """The address of the part, spool, bin or battery of that code; empty when there is none."""
    for model, name in CODED:
        row = scope.rows(model).filter(code__iexact=code).first()  # type: ignore[misc]  # all four have one
        if row is not None:
            return reverse(name, kwargs={"team": scope.team.slug, "pk": row.pk})
    return ""
