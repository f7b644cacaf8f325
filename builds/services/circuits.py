"""Circuits: saved only when what feeds them makes a tree that ends at the battery."""

from __future__ import annotations

from django.db import transaction

from builds.models import Build, Circuit
from shared.access import Can, Scope
from shared.errors import Conflict, DomainError
from shared.models import JobRun
from shared.records import record_delete, record_save


def circuit_save(*, scope: Scope, circuit: Circuit, trigger: str = JobRun.Trigger.EDIT) -> Circuit:
    """Save a circuit that is fed from the battery or a circuit of its build, and not in a ring."""
    scope.require(Can.WORK)
    with transaction.atomic():
        # Two edits that together would close a ring queue behind each other.
        scope.get(Build.objects.select_for_update(), pk=circuit.build_id)
        check_feed(circuit)
        return record_save(scope=scope, instance=circuit, trigger=trigger)


def circuit_delete(*, scope: Scope, circuit: Circuit) -> None:
    """Delete a circuit that feeds no other; its history stays."""
    scope.require(Can.WORK)
    with transaction.atomic():
        fed = list(
            scope.rows(Circuit).filter(fed_from=circuit).order_by("code").values_list("code", flat=True)
        )
        if fed:
            raise Conflict(
                f"{circuit.code} feeds {', '.join(fed)}",
                field="circuit",
                value=circuit.code,
                remedy="Say what feeds them instead, then delete it",
            )
        record_delete(scope=scope, instance=circuit)


def feed_ring(feeds: dict[int, int | None], start: int) -> list[int]:
    """The circuits of the ring that one runs into when following the feeds from ``start``; empty if none.

    >>> feed_ring({1: None, 2: 1, 3: 2}, 3), feed_ring({1: 3, 2: 1, 3: 2}, 1)
    ([], [1, 3, 2])
    """
    seen: list[int] = []
    here: int | None = start
    while here is not None:
        if here in seen:
            return seen[seen.index(here) :]
        seen.append(here)
        here = feeds.get(here)
    return []


def check_feed(circuit: Circuit) -> None:
    """Refuse a circuit that is fed from another build or in a ring, or that leaves its build with others on it."""
    rows = Circuit.objects.filter(build_id=circuit.build_id).values_list("pk", "fed_from_id", "code")
    feeds: dict[int, int | None] = {pk: fed_from for pk, fed_from, _ in rows}
    codes = {pk: code for pk, _, code in rows}
    if circuit.pk and circuit.pk not in feeds and circuit.feeds.exists():
        raise DomainError(
            f"{circuit.code} feeds other circuits of the build it is in",
            field="build",
            value=circuit.build,
            remedy="Say what feeds them instead, then move it",
        )
    if circuit.fed_from_id is None:
        return
    if circuit.fed_from_id not in feeds:
        raise DomainError(
            f"{circuit.code} cannot be fed from a circuit of another build",
            field="fed_from",
            value=circuit.fed_from and circuit.fed_from.code,
            remedy="Choose a circuit of this build",
        )
    if not circuit.pk:
        return  # nothing is fed from it yet
    feeds[circuit.pk] = circuit.fed_from_id
    ring = feed_ring(feeds, circuit.pk)
    if ring:
        codes[circuit.pk] = circuit.code
        raise DomainError(
            f"That would feed the circuits in a ring: {' < '.join(codes[pk] for pk in [*ring, ring[0]])}",
            field="fed_from",
            value=codes[circuit.fed_from_id],
            remedy="Every circuit leads back to the battery",
        )
