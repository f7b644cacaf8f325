"""Chargers: a row each, made on their page or by typing a new name when a battery is put on one."""

from __future__ import annotations

from django.core.exceptions import ValidationError
from django.db import IntegrityError, transaction

from inventory.models import Charger
from shared.access import Can, Scope
from shared.errors import DomainError
from shared.models import JobRun
from shared.records import record_save


def charger_save(*, scope: Scope, charger: Charger, trigger: str = JobRun.Trigger.EDIT) -> Charger:
    """Save a charger, new or changed."""
    return record_save(scope=scope, instance=charger, trigger=trigger)


def charger_named(scope: Scope, name: str) -> Charger:
    """The team's charger of that name; one nobody wrote before is made, with its current not known yet."""
    scope.require(Can.WORK)
    name = " ".join(name.split())
    if not name:
        raise DomainError(
            "Say which charger",
            field="charger",
            value=name,
            remedy="The name written on it, such as Charger 3",
        )
    found = _of_name(scope, name)
    if found is not None:
        return found
    try:
        with transaction.atomic():
            return charger_save(scope=scope, charger=Charger(team=scope.team, name=name))
    except (IntegrityError, ValidationError):
        # Somebody typed the same new name in the same moment.
        made = _of_name(scope, name)
        if made is None:
            raise
        return made


def _of_name(scope: Scope, name: str) -> Charger | None:
    """As it is written, else with other capitals; one in use before one that is archived."""
    rows = scope.rows(Charger)
    exact = rows.filter(name=name).first()
    return exact or rows.filter(name__iexact=name).order_by("archived", "pk").first()
