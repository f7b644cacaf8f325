"""A small stockroom for the tests: one team, two bins, a counted part and a spool of wire."""

from __future__ import annotations

from dataclasses import dataclass
from decimal import Decimal
from itertools import count

from inventory.models import Bin, Part, Spool, Unit, WireType
from inventory.services.spools import spool_create
from shared.access import Scope, system_scope
from shared.models import Membership, Role, Team, User

_numbers = count(1)


@dataclass
class Room:
    scope: Scope
    shelf: Bin
    crate: Bin
    fuse: Part
    wire: WireType
    spool: Spool


def make_team(name: str = "") -> Team:
    number = next(_numbers)
    return Team.objects.create(name=name or f"Team {number}", slug=f"team-{number}")


def make_scope(team: Team, role: str = Role.MEMBER) -> Scope:
    user = User.objects.create(username=f"person-{next(_numbers)}")
    Membership.objects.create(team=team, user=user, role=role)
    return Scope(user=user, team=team, role=role)


def make_part(team: Team, code: str, **values: object) -> Part:
    part = Part(team=team, code=code, name=f"Part {code}", **values)
    part.full_clean()
    part.save()
    return part


def make_wire(team: Team, code: str, area_mm2: float = 2.5) -> WireType:
    wire = WireType(
        team=team,
        code=code,
        name=f"Wire {code}",
        unit=Unit.METRE,
        size_typed=f"{area_mm2} mm2",
        area_mm2=area_mm2,
        insulation_class_c=105,
    )
    wire.full_clean()
    wire.save()
    return wire


def make_room(role: str = Role.MEMBER) -> Room:
    team = make_team()
    shelf = Bin.objects.create(team=team, code="A1")
    crate = Bin.objects.create(team=team, code="CRATE", travels=True)
    wire = make_wire(team, "W25R")
    spool = spool_create(
        scope=system_scope(team), code="S1", wire=wire, bin=shelf, full_length_m=Decimal(100)
    )
    return Room(make_scope(team, role), shelf, crate, make_part(team, "FUSE30"), wire, spool)
