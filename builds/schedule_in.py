"""A schedule of matches as it is handed out: a text of columns, read as tolerantly as can be done without guessing.

Own columns: day and time (one column or two), match, robot, importance, strength, and who carries. Read here into plain
rows with every problem named by row, column, value and remedy; nothing is looked up or written.
"""

from __future__ import annotations

import csv
import io
import re
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import date, datetime, time, timedelta

from builds.models import Match

#: Column -> the headings it may stand under, in lower case without signs.
HEADINGS: Mapping[str, tuple[str, ...]] = {
    "day": ("day", "date", "on"),
    "time": ("time", "start", "starts", "starts at", "start time", "at", "clock"),
    "number": ("match", "number", "no", "nr", "match number", "match no"),
    "robot": ("robot", "robot code", "code", "machine"),
    "importance": ("importance", "kind", "round", "type", "level"),
    "strength": ("strength", "opponent", "opponents", "opponent strength"),
    "carrier": ("carrier", "carried by", "carries", "who"),
}
NAMES = {
    "day": "Day", "time": "Time", "number": "Match", "robot": "Robot", "importance": "Importance",
    "strength": "Strength", "carrier": "Carried by",
}  # fmt: skip
#: Words for how much a match counts, besides our own.
IMPORTANCES: Mapping[str, str] = {
    "practice": "practice", "p": "practice", "test": "practice", "training": "practice",
    "round": "round", "r": "round", "qualification": "round", "normal": "round",
    "knock-out": "knockout", "knockout": "knockout", "k": "knockout", "playoff": "knockout", "playoffs": "knockout",
    "semi-final": "knockout", "semifinal": "knockout", "quarter-final": "knockout", "quarterfinal": "knockout",
    "final": "final", "f": "final", "finals": "final",
}  # fmt: skip
SEPARATORS = ";\t,|"
#: More rows than any event has: a file of another kind.
MOST_ROWS = 400
_DAYS = ("monday", "tuesday", "wednesday", "thursday", "friday", "saturday", "sunday")
_CLOCK = re.compile(r"(\d{1,2})[:.h](\d{2})(?::\d{2})?\s*(am|pm|a\.m\.|p\.m\.)?", re.IGNORECASE)
_DAY_MONTH = re.compile(r"(\d{1,2})[./](\d{1,2})(?:[./](\d{4}))?\.?")


@dataclass(frozen=True)
class Problem:
    """What is wrong with one cell (row 0: with the text as a whole), and what would be right."""

    row: int
    column: str
    value: str
    message: str
    remedy: str

    @property
    def sentence(self) -> str:
        """The whole in a line of prose."""
        where = f"Row {self.row}" if self.row else "The schedule"
        column = f", {self.column}" if self.column else ""
        value = f" “{self.value}”" if self.value else ""
        return f"{where}{column}{value}: {self.message} {self.remedy}"


@dataclass(frozen=True)
class ScheduleRow:
    """One match as read; ``robot`` is what stood there, empty for the only robot that goes."""

    row: int
    number: str
    robot: str
    starts_at: datetime
    importance: str | None = None
    strength: int | None = None
    carrier: str | None = None


@dataclass
class ScheduleText:
    """What was read: the rows that can be understood, every problem, and which columns there were."""

    rows: list[ScheduleRow] = field(default_factory=list)
    problems: list[Problem] = field(default_factory=list)
    columns: tuple[str, ...] = ()


def read_schedule(text: str, first_day: date, last_day: date) -> ScheduleText:
    """Read a schedule of an event on these days; times come back naive, as clocks at the event show them."""
    found = ScheduleText()
    lines = _lines(text)
    if not lines:
        found.problems.append(
            Problem(0, "", "", "There is nothing in it.", "Paste rows with time and match.")
        )
        return found
    if len(lines) > MOST_ROWS + 1:
        message = f"It has {len(lines)} rows."
        found.problems.append(Problem(0, "", "", message, f"At most {MOST_ROWS} matches at once."))
        return found
    head, places = _head(lines[0][1])
    found.columns = tuple(places)
    missing = [NAMES[name] for name in ("time", "number") if name not in places]
    if missing:
        remedy = f"Give the first row these headings: {', '.join(NAMES.values())}; day and time may share a column."
        words = " and ".join(missing)
        found.problems.append(Problem(lines[0][0], words, "", f"No column for {words} was found.", remedy))
        return found
    day = first_day if first_day == last_day else None
    for row, cells in lines[1:] if head else lines:
        given = {name: cells[at].strip() if at < len(cells) else "" for name, at in places.items()}
        day = _read_row(row, given, (first_day, last_day), day, found)
    return found


def _lines(text: str) -> list[tuple[int, list[str]]]:
    """Numbered rows of cells, empty ones left out; the separator is the one that splits the first row most."""
    plain = text.lstrip("\ufeff").replace("\r\n", "\n").replace("\r", "\n")
    sample = next((line for line in plain.split("\n") if line.strip()), "")
    separator = max(SEPARATORS, key=sample.count)
    rows = csv.reader(io.StringIO(plain), delimiter=separator, skipinitialspace=True)
    return [(at, cells) for at, cells in enumerate(rows, start=1) if any(cell.strip() for cell in cells)]


def _head(cells: Sequence[str]) -> tuple[bool, dict[str, int]]:
    """Whether the row is one of headings, and which column stands where; without headings our own order."""
    places: dict[str, int] = {}
    first = next((at for at, cell in enumerate(cells) if _CLOCK.search(cell)), None)
    # A row with a time of day is a match, even where one of its words could be a heading.
    for at, cell in enumerate(cells if first is None else ()):
        word = re.sub(r"[^a-z ]+", " ", cell.lower()).strip()
        word = re.sub(r"\s+", " ", word)
        for name, words in HEADINGS.items():
            if word in words and name not in places:
                places[name] = at
        if word in ("day time", "date time", "day and time", "date and time"):
            places["time"] = at
    if places:
        return True, places
    if first is None:
        return False, {}
    # No headings: what stands before the time is the day, what follows it match, robot, importance, strength.
    places = {"time": first, **({"day": first - 1} if first else {})}
    after = ("number", "robot", "importance", "strength", "carrier")
    places |= {name: first + 1 + n for n, name in enumerate(after) if first + 1 + n < len(cells)}
    return False, places


def _read_row(
    row: int, given: Mapping[str, str], days: tuple[date, date], day: date | None, found: ScheduleText
) -> date | None:
    """Read one row into ``found``; returns its day, which holds on for rows that name none."""
    before = len(found.problems)

    def wrong(column: str, message: str, remedy: str) -> None:
        found.problems.append(Problem(row, NAMES[column], given.get(column, ""), message, remedy))

    clock, rest = _clock(given["time"])
    if clock is None:
        wrong("time", "This is no time of day.", "Write 9:40, 09.40 or 1:15 pm.")
    said = given.get("day", "") or rest
    named = _day(said, days) if said else None
    if said and named is None:
        wrong("day" if given.get("day") else "time", "This is no day of the event.", _days_words(days))
    day = named or (None if said else day)
    if not said and day is None:
        wrong("day" if "day" in given else "time", "It does not say on which day.", _days_words(days))
    if not given["number"]:
        wrong("number", "The match has no number.", "Write it as on the schedule.")
    elif len(given["number"]) > _most("number"):
        wrong("number", "This is longer than a match number.", f"At most {_most('number')} characters.")
    importance = IMPORTANCES.get(given.get("importance", "").lower())
    if given.get("importance") and importance is None:
        wrong("importance", "This is no importance.", f"One of: {', '.join(Match.Importance.labels)}.")
    strength = _strength(given.get("strength", ""))
    if strength == 0:
        wrong("strength", "This is no strength.", "A whole number from 1 (easy) to 5 (hardest), or empty.")
    if len(given.get("carrier", "")) > _most("carrier"):
        wrong("carrier", "This is too long.", f"At most {_most('carrier')} characters.")
    if len(found.problems) == before and clock is not None and day is not None:
        moment = datetime.combine(day, clock)
        carrier = given.get("carrier") or None
        read = ScheduleRow(
            row, given["number"], given.get("robot", ""), moment, importance, strength, carrier
        )
        found.rows.append(read)
    return day


def _most(name: str) -> int:
    return int(getattr(Match._meta.get_field(name), "max_length", 0))


def _clock(text: str) -> tuple[time | None, str]:
    """The time of day in a cell, and what stands beside it (a day).

    >>> _clock("Sat 1:15 pm")
    (datetime.time(13, 15), 'Sat')
    >>> _clock("25:00"), _clock("2026-11-28T09:40")
    ((None, ''), (datetime.time(9, 40), '2026-11-28'))
    """
    met = _CLOCK.search(text)
    if met is None:
        return None, ""
    hour, minute, half = int(met[1]), int(met[2]), (met[3] or "").lower().replace(".", "")
    rest = (text[: met.start()] + text[met.end() :]).strip(" ,T")
    if half and not 1 <= hour <= 12:
        return None, ""
    hour = hour % 12 + (12 if half == "pm" else 0) if half else hour
    return (time(hour, minute), rest) if hour < 24 and minute < 60 else (None, "")


def _day(text: str, days: tuple[date, date]) -> date | None:
    """The day of the event a cell means: a date, day and month, a weekday, or "day 2"; None if it means none."""
    first, last = days
    offered = [first + timedelta(days=n) for n in range((last - first).days + 1)]
    word = text.strip().lower().rstrip(".")
    try:
        named = date.fromisoformat(word)
    except ValueError:
        pass
    else:
        return named if named in offered else None
    if met := _DAY_MONTH.fullmatch(text.strip()):
        # Day and month may stand either way round: only one of the two is a day of the event, or both are the same.
        pairs = {(int(met[1]), int(met[2])), (int(met[2]), int(met[1]))}
        hits = [d for d in offered if (d.day, d.month) in pairs and (not met[3] or d.year == int(met[3]))]
        return hits[0] if len(hits) == 1 else None
    if met := re.fullmatch(r"(?:day\s*)?(\d)", word):
        at = int(met[1]) - 1
        return offered[at] if 0 <= at < len(offered) else None
    hits = [d for d in offered if len(word) >= 2 and _DAYS[d.weekday()].startswith(word)]
    return hits[0] if len(hits) == 1 else None


def _days_words(days: tuple[date, date]) -> str:
    first, last = days
    if first == last:
        return f"The event is on {first:%Y-%m-%d}."
    return f"The event runs from {first:%A} {first:%Y-%m-%d} to {last:%A} {last:%Y-%m-%d}."


def _strength(text: str) -> int | None:
    """1 to 5; None for an empty cell, 0 for anything else."""
    if not text:
        return None
    return int(text) if text in ("1", "2", "3", "4", "5") else 0


def as_text(rows: Iterable[Sequence[object]]) -> str:
    """Rows of cells as the text that is read here.

    >>> as_text([("Day", "Time"), ("Sat", "9:40")])
    'Day;Time\\r\\nSat;9:40\\r\\n'
    """
    out = io.StringIO()
    csv.writer(out, delimiter=";").writerows(rows)
    return out.getvalue()
