"""Domain errors: one sentence that names the field, the value and what would be right."""

from __future__ import annotations


class DomainError(Exception):
    """A request the domain refuses; it changes nothing.

    ``field`` names what was wrong ("quantity"), ``value`` is what was given, ``remedy`` says what would be right.
    """

    status_code = 400

    def __init__(self, message: str, *, field: str = "", value: object = None, remedy: str = "") -> None:
        self.message = message
        self.field = field
        self.value = value
        self.remedy = remedy
        super().__init__(self.sentence)

    @property
    def sentence(self) -> str:
        """The whole answer as one line of prose."""
        parts = [self.message.rstrip(".") + "."]
        if self.remedy:
            parts.append(self.remedy.rstrip(".") + ".")
        return " ".join(parts)


class NotAllowed(DomainError):
    """The person is known to the team but their role may not do this."""

    status_code = 403


class Conflict(DomainError):
    """Somebody else got there first, or the row is no longer in the state the request assumed."""

    status_code = 409


class NotEnoughStock(Conflict):
    """The bin or spool holds less than was asked for."""
