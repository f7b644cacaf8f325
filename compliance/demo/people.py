"""Teams and people of the demo world, and how they sign in."""

from __future__ import annotations

from dataclasses import dataclass

from shared.access import Scope
from shared.models import Membership, Role, Team, User


@dataclass(frozen=True)
class SignIn:
    """A person of the demo world. The password is no secret: it opens invented data only."""

    username: str
    password: str
    first_name: str
    last_name: str
    reader: str
    roles: tuple[tuple[str, str], ...]


GULL, TERN, SALT = "gull-point", "tern-rock", "saltmarsh"
TEAMS: tuple[tuple[str, str], ...] = (
    (GULL, "Gull Point Robotics"),
    (TERN, "Tern Rock Robotics"),
    (SALT, "Saltmarsh Robotics"),
)
SIGN_INS: tuple[SignIn, ...] = (
    SignIn("lead", "herring-lead-7", "Linnet", "Shelduck", "logistics lead", ((GULL, Role.LEAD),)),
    SignIn(
        "pit", "mackerel-pit-7", "Pip", "Turnstone", "battery rotation in the pit", ((GULL, Role.MEMBER),)
    ),
    SignIn(
        "mentor",
        "sprat-mentor-7",
        "Merle",
        "Fulmar",
        "mentor of all three teams",
        tuple((slug, Role.MENTOR) for slug, _ in TEAMS),
    ),
    SignIn("auditor", "plaice-auditor-7", "Avis", "Whimbrel", "auditor", ((GULL, Role.AUDITOR),)),
)


def make_people() -> dict[str, Scope]:
    """Make the teams and people; returns each team's scope, acted in by the mentor."""
    teams = {slug: Team.objects.create(slug=slug, name=name, is_demo=True) for slug, name in TEAMS}
    users = {s.username: _make_user(s) for s in SIGN_INS}
    for sign_in in SIGN_INS:
        for slug, role in sign_in.roles:
            Membership.objects.create(team=teams[slug], user=users[sign_in.username], role=role)
    return {slug: Scope(user=users["mentor"], team=team, role=Role.MENTOR) for slug, team in teams.items()}


def _make_user(sign_in: SignIn) -> User:
    return User.objects.create_user(
        username=sign_in.username,
        password=sign_in.password,
        first_name=sign_in.first_name,
        last_name=sign_in.last_name,
    )
