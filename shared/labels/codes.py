"""What stands on a label: kind letter, code and check character, such as ``B:GP-07:D``.

The check character is that of ISO/IEC 7064, MOD 37,36, over the letters and digits of kind and code, so a scanner
or a person who changes case, hyphens or colons on the way still agrees with the label.
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from enum import StrEnum

#: The character set of the standard's alphanumeric systems, each character at its value.
ALPHABET = "0123456789ABCDEFGHIJKLMNOPQRSTUVWXYZ"
_M = len(ALPHABET)
_VALUE = {character: value for value, character in enumerate(ALPHABET)}
_OTHER = re.compile(r"[^0-9A-Za-z]")


class Kind(StrEnum):
    """The letter a label begins with."""

    BATTERY = "B"
    SPOOL = "S"
    BIN = "N"
    ROBOT = "R"

    @property
    def word(self) -> str:
        return self.name.lower()


def plain(text: str) -> str:
    """The letters A to Z and digits of a text, in capitals.

    >>> plain("gp-07 ")
    'GP07'
    """
    return _OTHER.sub("", text).upper()


def _capitals(text: str) -> str:
    """As ``upper``, but of plain letters only: some others become two (sharp s), which are no longer recognised."""
    return "".join(c.upper() if c.isascii() else c for c in text.strip())


def check_character(text: str) -> str:
    """The ISO/IEC 7064 MOD 37,36 check character of the letters and digits of a text.

    Of any one wrong character it notices all; of two neighbours that changed places all but some whose values differ
    by one (1 and 2, say): those it misses once in 36, which is 0.16 % of all such swaps.

    Source: ISO/IEC 7064:2003, hybrid systems. The example is that of the standard handbook of the Global Release
    Identifier, which uses the same system.

    >>> check_character("A1-2425G-ABC1234002")
    'M'
    """
    carry = _M
    for character in plain(text):
        carry = ((carry + _VALUE[character]) % _M or _M) * 2 % (_M + 1)
    return ALPHABET[(_M + 1 - carry) % _M]


def label_text(kind: Kind, code: str) -> str:
    """What the label of a thing says, and what its QR code holds.

    >>> label_text(Kind.BATTERY, "gp-07")
    'B:GP-07:D'
    """
    return f"{kind.value}:{code.upper()}:{check_character(kind.value + code)}"


@dataclass(frozen=True)
class Typed:
    """A scanned or typed text in its parts. ``kind`` and ``check`` are None where the text does not mark them."""

    code: str
    kind: Kind | None = None
    check: str | None = None


def read_label(text: str) -> Typed:
    """Take a text apart at its colons; without colons it is a code.

    >>> read_label("b:gp-07:d")
    Typed(code='GP-07', kind=<Kind.BATTERY: 'B'>, check='D')
    >>> read_label("B:GP-07").kind, read_label("GP-07:D").check, read_label("GP-07").check
    (<Kind.BATTERY: 'B'>, 'D', None)
    """
    parts = [_capitals(part) for part in text.strip().split(":")]
    if len(parts) == 3 and parts[0] in list(Kind):
        return Typed(parts[1], Kind(parts[0]), parts[2])
    if len(parts) == 2 and parts[0] in list(Kind):
        return Typed(parts[1], Kind(parts[0]))
    if len(parts) == 2 and len(parts[1]) == 1:
        return Typed(parts[0], None, parts[1])
    return Typed(_capitals(text))


def one_slip_apart(one: str, other: str) -> bool:
    """Whether two texts differ by one wrong character or by two neighbours that changed places.

    >>> one_slip_apart("GP-07", "GP-01"), one_slip_apart("GP-12", "GP-21"), one_slip_apart("GP-12", "GP-33")
    (True, True, False)
    """
    one, other = plain(one), plain(other)
    if len(one) != len(other):
        return False
    wrong = [i for i, (a, b) in enumerate(zip(one, other, strict=True)) if a != b]
    if len(wrong) != 2:
        return len(wrong) == 1
    i, j = wrong
    return j == i + 1 and one[i] == other[j] and one[j] == other[i]
