"""A fix tried on paper: a draft build that differs from another in one conductor and what it ends in."""

from __future__ import annotations

from dataclasses import dataclass

from django.db import transaction
from django.utils import timezone

from builds.models import Build, Circuit
from builds.services.builds import build_copy
from builds.services.circuits import circuit_save
from inventory.models import TerminalType, WireType
from shared.access import Can, Scope
from shared.electrical.arrays import Verdict
from shared.electrical.terminations import barrel_check

#: The terminals of a circuit, and what a person calls that end.
ENDS = {"terminal_source": "feeding end", "terminal_load": "load end"}


@dataclass(frozen=True)
class FixDraft:
    """The draft, and what became of terminals that do not take the new wire, in words."""

    build: Build
    ends: tuple[str, ...]


def fix_as_draft(*, scope: Scope, build: Build, circuit: Circuit, wire: WireType) -> FixDraft:
    """Start a draft of the build with another wire on one circuit; the build itself stays as it is.

    A terminal that does not take the wire makes room for one of its form and hole that does; if the team has none, it
    stays and the draft says so.
    """
    scope.require(Can.WORK)
    with transaction.atomic():
        draft = build_copy(
            scope=scope, build=build, label=free_label(scope, build, circuit), dated=timezone.localdate()
        )
        changed = scope.get(Circuit, build=draft, code=circuit.code)
        changed.wire = wire
        ends = fit_ends(scope, changed, wire)
        circuit_save(scope=scope, circuit=changed)
    return FixDraft(draft, ends)


def fit_ends(scope: Scope, circuit: Circuit, wire: WireType) -> tuple[str, ...]:
    """Put a fitting terminal on each end that needs another, unsaved; tells what was done, one line each."""
    told = []
    for field, where in ENDS.items():
        old: TerminalType | None = getattr(circuit, field)
        if old is None or takes(old, wire):
            continue
        new = fitting(scope, old, wire)
        if new is None:
            told.append(
                f"{old.code} at the {where} does not take it, and the parts list has none like it that does."
            )
        else:
            setattr(circuit, field, new)
            told.append(f"{new.code} in place of {old.code} at the {where}.")
    return tuple(told)


def takes(terminal: TerminalType, wire: WireType) -> bool:
    """Does the conductor go into the barrel, neither too thick nor too thin?"""
    found = barrel_check(wire.area_mm2, terminal.area_min_mm2, terminal.area_max_mm2)
    return bool(found == Verdict.HOLDS)


def fitting(scope: Scope, old: TerminalType, wire: WireType) -> TerminalType | None:
    """The team's terminal of the same form and hole with the narrowest barrel that takes the wire."""
    alike = scope.rows(TerminalType).filter(archived=False, form=old.form, hole_mm=old.hole_mm)
    fits = [terminal for terminal in alike if takes(terminal, wire)]
    return min(fits, key=lambda t: (t.area_max_mm2 - t.area_min_mm2, t.code), default=None)


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
