"""A fix tried on paper: a draft build that differs from another in one conductor."""

from __future__ import annotations

from django.db import transaction
from django.utils import timezone

from builds.models import Build, Circuit
from builds.services.builds import build_copy
from builds.services.circuits import circuit_save
from inventory.models import WireType
from shared.access import Can, Scope


def fix_as_draft(*, scope: Scope, build: Build, circuit: Circuit, wire: WireType) -> Build:
    """Start a draft of the build with another wire on one circuit; the build itself stays as it is."""
    scope.require(Can.WORK)
    with transaction.atomic():
        draft = build_copy(
            scope=scope, build=build, label=free_label(scope, build, circuit), dated=timezone.localdate()
        )
        changed = scope.get(Circuit, build=draft, code=circuit.code)
        changed.wire = wire
        circuit_save(scope=scope, circuit=changed)
    return draft


def free_label(scope: Scope, build: Build, circuit: Circuit) -> str:
    """A label nobody has taken on this robot: the build's own, and which circuit is mended."""
    taken = set(scope.rows(Build).filter(robot_id=build.robot_id).values_list("label", flat=True))
    most = Build._meta.get_field("label").max_length or 40
    base = f"{build.label}, {circuit.code} mended"[:most]
    label, number = base, 2
    while label in taken:
        tail = f" {number}"
        label, number = base[: most - len(tail)] + tail, number + 1
    return label
