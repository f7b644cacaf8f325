"""What goes onto a sheet of labels: the things chosen, each as often as it is wanted."""

from __future__ import annotations

from collections.abc import Iterable, Sequence

from builds.selectors.scan import Thing, things
from shared.access import Scope
from shared.errors import DomainError
from shared.labels.art import Label
from shared.labels.codes import Kind

#: More at once would be a mistake, and a long wait.
MOST_LABELS = 600


def thing_key(thing: Thing) -> str:
    """How a form names a thing: B12 is the battery with the id 12."""
    return f"{thing.kind.value}{thing.pk}"


def things_chosen(known: Sequence[Thing], kinds: Iterable[Kind], keys: Iterable[str]) -> tuple[Thing, ...]:
    """Everything in use of the kinds, and the things named one by one, in the order of ``known``."""
    whole, named = set(kinds), set(keys)
    unknown = named - {thing_key(thing) for thing in known}
    if unknown:
        raise DomainError(
            f"There is no {', '.join(sorted(unknown))} in this team",
            field="thing",
            value=", ".join(sorted(unknown)),
            remedy="Choose from the list",
        )
    return tuple(
        thing for thing in known if thing_key(thing) in named or (thing.kind in whole and not thing.archived)
    )


def labels_of(scope: Scope, chosen: Sequence[Thing], copies: int = 1) -> tuple[Label, ...]:
    """The labels of things, copies beside each other."""
    if len(chosen) * copies > MOST_LABELS:
        raise DomainError(
            f"{len(chosen) * copies} labels are too many for one file",
            field="copies",
            value=copies,
            remedy=f"Choose fewer things or copies: up to {MOST_LABELS} labels",
        )
    return tuple(
        Label(thing.label, thing.code, thing.name, scope.team.name) for thing in chosen for _ in range(copies)
    )


__all__ = ["MOST_LABELS", "labels_of", "thing_key", "things", "things_chosen"]
