"""From a scanned or typed text to the battery, spool, bin or robot that carries it.

A label says ``B:GP-07:D``; people type ``gp-07``, ``B:GP-07`` or ``gp07``, and a USB reader on a keyboard of another
country sends other colons and hyphens. All of these find the battery as long as only one thing fits.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass
from typing import Any

from django.db.models import F, QuerySet
from django.urls import reverse

from builds.models import Robot
from inventory.models import Battery, Bin, Spool
from shared.access import Scope
from shared.errors import Conflict, DomainError
from shared.labels.codes import Kind, Typed, check_character, label_text, one_slip_apart, plain, read_label

#: Model, the field with what the thing is called beside its code, and the name of its page's URL.
LABELLED: dict[Kind, tuple[type[Battery | Spool | Bin | Robot], str, str]] = {
    Kind.BATTERY: (Battery, "model__name", "battery-detail"),
    Kind.SPOOL: (Spool, "wire__name", "spool-detail"),
    Kind.BIN: (Bin, "name", "bin-detail"),
    Kind.ROBOT: (Robot, "name", "robot-detail"),
}
#: A longer text is no code; so much of it is repeated in an answer.
MOST_CHARACTERS = 80


@dataclass(frozen=True)
class Thing:
    """Something that can carry a label."""

    kind: Kind
    pk: int
    code: str
    name: str
    archived: bool
    url: str

    @property
    def label(self) -> str:
        return label_text(self.kind, self.code)

    @property
    def plain(self) -> str:
        return plain(self.kind.value + self.code)

    @property
    def check(self) -> str:
        return check_character(self.plain)

    def __str__(self) -> str:
        return f"{self.kind.word} {self.code}"


class NothingFound(DomainError):
    status_code = 404


class SeveralFound(Conflict):
    """More than one thing fits; ``things`` are those."""

    def __init__(self, text: str, things: Sequence[Thing]) -> None:
        self.things = tuple(things)
        named = "; ".join(f"{thing} ({thing.label})" for thing in things)
        super().__init__(
            f"{len(things)} things are called {text}: {named}",
            field="code",
            value=text,
            remedy="Scan the label, or type the letter before the colon too",
        )


def things(scope: Scope, kinds: Iterable[Kind] = tuple(Kind), *, archived: bool = True) -> tuple[Thing, ...]:
    """Everything of the team that can carry a label, by kind and code; one query per kind."""
    found: list[Thing] = []
    for kind in kinds:
        model, called, page = LABELLED[kind]
        rows: QuerySet[Any] = scope.rows(model).order_by("code")
        if not archived:
            rows = rows.filter(archived=False)
        for pk, code, name, gone in rows.annotate(called=F(called)).values_list(
            "pk", "code", "called", "archived"
        ):
            url = reverse(page, kwargs={"team": scope.team.slug, "pk": pk})
            found.append(Thing(kind, pk, code, name, gone, url))
    return tuple(found)


def find(scope: Scope, text: str) -> Thing:
    """The one thing a text means. Raises ``NothingFound``, ``SeveralFound``, or a refusal of its check character."""
    shown = text.strip()[:MOST_CHARACTERS]
    if not plain(shown) or len(text.strip()) > MOST_CHARACTERS:
        raise DomainError(
            f"{shown!r} is not a code" if shown else "No code was given",
            field="code",
            value=shown,
            remedy="Scan a label, or type what stands on it, such as B:GP-07:D or GP-07",
        )
    typed = read_label(shown)
    known = things(scope, (typed.kind,) if typed.kind else tuple(Kind))
    for fits in _ways(typed):
        found = [thing for thing in known if fits(thing)]
        if len(found) > 1:
            raise SeveralFound(shown, found)
        if found:
            return found[0]
    raise _refusal(typed, shown, known)


def _ways(typed: Typed) -> tuple[Callable[[Thing], bool], ...]:
    """Ways to read a text, the most literal first; the first that fits anything counts."""
    code, bare, check = typed.code, plain(typed.code), typed.check
    if check is not None:
        return (
            lambda thing: thing.code.upper() == code and thing.check == check,
            lambda thing: plain(thing.code) == bare and thing.check == check,
        )
    if typed.kind is not None:
        return (lambda thing: thing.code.upper() == code, lambda thing: plain(thing.code) == bare)
    return (
        lambda thing: thing.code.upper() == code,
        lambda thing: plain(thing.code) == bare,
        lambda thing: thing.plain + thing.check == bare,
        lambda thing: thing.plain == bare,
        lambda thing: plain(thing.code) + thing.check == bare,
    )


def _refusal(typed: Typed, shown: str, known: Sequence[Thing]) -> DomainError:
    """Why nothing fits: the check character does not belong to the code, or there is no such thing."""
    if typed.check is None:
        kind = typed.kind.word if typed.kind else "battery, spool, bin or robot"
        return NothingFound(
            f"This team has no {kind} {typed.code if typed.kind else shown}",
            field="code",
            value=shown,
            remedy=_alike(typed, known) or "Check the code, or search for it under Stores or Batteries",
        )
    # The label that one slip of hand or eye turns into what was typed is named: with it, it is found.
    other = [
        thing for thing in known if thing.check == typed.check and one_slip_apart(thing.code, typed.code)
    ]
    same = [thing for thing in known if plain(thing.code) == plain(typed.code)]
    remedy = f"Or is it {' or '.join(t.label for t in other)}? Look at the label again" if other else ""
    if same:
        return DomainError(
            f"The last character of {shown} is wrong: the label of {same[0]} ends in {same[0].check}, "
            f"not {typed.check or 'nothing'}",
            field="code",
            value=shown,
            remedy=remedy or "Look at the label again",
        )
    return NothingFound(
        f"This team has no {typed.kind.word if typed.kind else 'thing'} {typed.code}",
        field="code",
        value=shown,
        remedy=remedy or "Look at the label again: it may be another team's",
    )


def _alike(typed: Typed, known: Sequence[Thing]) -> str:
    near = [thing for thing in known if one_slip_apart(thing.code, typed.code)]
    return f"Did you mean {' or '.join(str(thing) for thing in near[:3])}?" if near else ""
