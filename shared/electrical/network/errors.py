"""What a network may not be: the refusal that names its field."""

from collections.abc import Iterable

__all__ = ["NetworkError"]


class NetworkError(ValueError):
    """A network that cannot be one. `field` is the input at fault, `rows` the places that are (at most ten)."""

    def __init__(self, field: str, problem: str, rows: Iterable[int] = ()) -> None:
        self.field = field
        self.rows = tuple(int(row) for row in rows)[:10]
        where = f" (row {', '.join(map(str, self.rows))})" if self.rows else ""
        super().__init__(f"{field}: {problem}{where}")
