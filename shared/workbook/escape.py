"""Text that a spreadsheet program would run as a formula gets an apostrophe, and loses it on the way in.

A cell that starts with = + - @ (or a tab or line end) is executed when the file is opened: a note typed by
one person could read or send another's data. The apostrophe makes it text. Text that already has apostrophes
before such a character gets one more, so that nothing is changed by a round trip.
"""

from __future__ import annotations

import re

_RISKY = re.compile(r"'*(?:[=+\-@\t\r]|#(?:N/A|REF!|VALUE!|DIV/0!|NAME\?|NUM!|NULL!)\Z)")
_ESCAPED = re.compile(r"'+(?:[=+\-@\t\r]|#(?:N/A|REF!|VALUE!|DIV/0!|NAME\?|NUM!|NULL!)\Z)")
# What XML cannot carry; a database may hold it from elsewhere.
_UNWRITABLE = re.compile(r"[\x00-\x08\x0b\x0c\x0e-\x1f\x7f\ud800-\udfff\ufffe\uffff]")


def escape(text: str) -> str:
    """Text as it may stand in a cell.

    >>> escape("=1+1"), escape("'-x"), escape("plain")
    ("'=1+1", "''-x", 'plain')
    """
    return f"'{text}" if _RISKY.match(text) else text


def unescape(text: str) -> str:
    """The text a cell stands for.

    >>> unescape("'=1+1"), unescape("'quoted'")
    ('=1+1', "'quoted'")
    """
    return text[1:] if _ESCAPED.match(text) else text


def spelled_out(json_text: str) -> str:
    """JSON whose characters a workbook cannot hold are written as their number instead."""
    return _UNWRITABLE.sub(lambda match: f"\\u{ord(match[0]):04x}", json_text)


def writable(text: str) -> str:
    """Text without the characters a workbook cannot hold, line ends made one."""
    return _UNWRITABLE.sub("", text.replace("\r\n", "\n").replace("\r", "\n")).strip()
