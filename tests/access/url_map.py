"""Every URL of a team, taken from the URL resolver, with its arguments filled from the test world."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any

from django.db.models import Model
from django.urls import URLPattern, URLResolver, get_resolver, reverse

from builds.models import Build, BuildLine, Circuit, DutyProfile, Event, Match, Outing, Robot, Season
from compliance.models import Flag, RulePack, RuleSetting, Waiver
from inventory.models import (
    Battery,
    BatteryIncident,
    Bin,
    Charge,
    Charger,
    Movement,
    Offer,
    Part,
    Spool,
    Supplier,
)
from shared.models import JobRun, Membership
from tests.world import TeamWorld

#: Which row a page's ``pk`` means, by the first words of its URL name; views with a ``model`` need no line here.
SUBJECTS: dict[str, type[Model]] = {
    "battery": Battery,
    "reading": Battery,
    "capacity": Battery,
    "charge": Battery,
    "charger": Charger,
    "incident": BatteryIncident,
    "robot": Robot,
    "build": Build,
    "bill": Build,
    "line": BuildLine,
    "circuit": Circuit,
    "duty": DutyProfile,
    "event": Event,
    "schedule": Event,
    "review": Event,
    "pit": Event,
    "rotation": Event,
    "match": Match,
    "outing": Outing,
    "season": Season,
    "part": Part,
    "stock": Part,
    "spool": Spool,
    "bin": Bin,
    "supplier": Supplier,
    "offer": Offer,
    "movement": Movement,
    "flag": Flag,
    "waiver": Waiver,
    "pack": RulePack,
    "setting": RuleSetting,
    "job": JobRun,
    "member": Membership,
}
#: Names whose ``pk`` is not what their first word says.
EXCEPTIONS: dict[str, type[Model]] = {
    "build-new": Robot,
    "circuit-new": Build,
    "line-new": Build,
    "match-new": Event,
    "offer-new": Part,
    "charge-edit": Charge,
    "incident-new": Battery,
    "handling-edit": Event,
}
#: Values of URL arguments other than team and pk.
WORDS: dict[str, str] = {
    "kind": "wire",
    "code": "wire-ampacity",
    "format": "json",
    "form": "xlsx",
    "slug": "wire",
}
#: What a page or endpoint needs to be asked before it answers at all.
QUERIES: dict[str, str] = {"api-scan": "?code=B01", "api-labels": "?kind=B", "label-pdf": "?kind=B"}


@dataclass(frozen=True)
class Route:
    """A named URL under a team, with the view behind it."""

    name: str
    arguments: tuple[str, ...]
    callback: Any

    @property
    def is_api(self) -> bool:
        return self.name.startswith("api-")

    @property
    def view_class(self) -> Any:
        return getattr(self.callback, "view_class", None) or getattr(self.callback, "cls", None)

    def model(self) -> type[Model]:
        """The kind of row the ``pk`` of this URL means."""
        view = self.view_class
        queryset = getattr(view, "queryset", None)
        if self.is_api and queryset is not None:
            shown: type[Model] = queryset.model
            return shown
        if self.name in EXCEPTIONS:
            return EXCEPTIONS[self.name]
        word = self.name.removeprefix("api-").split("-")[0]
        subject = getattr(view, "subject_model", None) or SUBJECTS.get(word) or getattr(view, "model", None)
        if subject is None:
            raise KeyError(f"No row is known for the pk of {self.name}: add it to tests/access/url_map.py.")
        return subject

    def arguments_for(self, team: TeamWorld, rows: TeamWorld | None = None) -> dict[str, Any]:
        """Arguments of this URL in ``team``, pointing at a row of ``rows`` (else of the team itself)."""
        values: dict[str, Any] = {}
        for argument in self.arguments:
            if argument == "team":
                values["team"] = team.team.slug
            elif argument == "pk" or argument.endswith("_pk"):
                values[argument] = (rows or team).pk(self.model())
            elif argument in WORDS:
                values[argument] = WORDS[argument]
            else:
                raise KeyError(f"No value is known for the argument {argument!r} of {self.name}.")
        return values

    def url(self, team: TeamWorld, rows: TeamWorld | None = None) -> str:
        return reverse(self.name, kwargs=self.arguments_for(team, rows))

    def asked_url(self, team: TeamWorld) -> str:
        """The URL with a question it can answer."""
        return self.url(team) + QUERIES.get(self.name, "")

    @property
    def has_row(self) -> bool:
        return any(a == "pk" or a.endswith("_pk") for a in self.arguments)


def routes() -> list[Route]:
    """All named URLs that take a team, each once."""
    found: dict[str, Route] = {}
    for route in _walk(get_resolver().url_patterns, ()):
        if "team" in route.arguments and "format" not in route.arguments:
            found.setdefault(route.name, route)
    return sorted(found.values(), key=lambda r: r.name)


def _walk(patterns: list[Any], inherited: tuple[str, ...]) -> Iterator[Route]:
    for pattern in patterns:
        taken = inherited + tuple(pattern.pattern.regex.groupindex)
        if isinstance(pattern, URLResolver):
            if pattern.namespace is None:
                yield from _walk(pattern.url_patterns, taken)
        elif isinstance(pattern, URLPattern):
            if not pattern.name:
                if "team" in taken:
                    raise ValueError(f"A URL of a team has no name: {pattern.pattern}")
                continue
            yield Route(pattern.name, taken, pattern.callback)
