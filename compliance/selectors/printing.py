"""A flag with its working as plain lines for a terminal, and as plain data."""

from __future__ import annotations

import textwrap
from collections.abc import Iterator, Mapping
from typing import Any

from compliance.models import Severity
from compliance.selectors.flags import MarkedFlag

WIDTH = 100
_INDENT = "    "


def flag_lines(flag: MarkedFlag, width: int = WIDTH) -> Iterator[str]:
    """The flag and how it comes about, no line longer than ``width``."""
    waived = f" (waived until {flag.waived_until})" if flag.waived else ""
    head = f"{Severity(flag.severity).label.upper()}{waived}  {flag.subject_label}  [{flag.rule_code}]"
    yield from wrapped(head, "", width)
    yield from wrapped(flag.message, "  ", width)
    said = {**flag.working, "conclusion": ""} if _says_it(flag) else flag.working
    yield from working_lines(said, width)


def _says_it(flag: MarkedFlag) -> bool:
    """The conclusion is the message once more."""
    return bool(flag.working.get("conclusion") == flag.message)


def working_lines(working: Mapping[str, Any], width: int = WIDTH) -> Iterator[str]:
    """Each step with its result, formula and numbers; the limit; what follows; the source."""
    for step in working.get("steps") or ():
        result = f"{_told(step.get('result', ''))} {step.get('unit', '')}".strip()
        yield from wrapped(f"{step.get('label', '')}: {result}", _INDENT, width)
        for name in ("formula", "numbers"):
            if step.get(name):
                yield from wrapped(_told(step[name]), _INDENT * 2, width)
    if limit := working.get("limit"):
        yield from wrapped(f"Limit: {_limit(limit)}", _INDENT, width)
    for name in ("conclusion", "source", "status"):
        if working.get(name):
            yield from wrapped(f"{name.capitalize()}: {_told(working[name])}", _INDENT, width)


def _limit(limit: Mapping[str, Any]) -> str:
    """Rise at which it is retired 50 % (where that comes from)."""
    name = str(limit.get("label") or limit.get("name") or "").removeprefix("limit")
    figure = f"{name} {_told(limit.get('value', ''))} {limit.get('unit', '')}".strip()
    return f"{figure} ({limit['source']})" if limit.get("source") else figure


def _told(value: Any) -> str:
    if isinstance(value, float):
        return f"{value:.4g}"
    if isinstance(value, Mapping):
        return ", ".join(f"{name} {_told(item)}" for name, item in value.items() if item not in (None, ""))
    return str(value)


def wrapped(text: str, indent: str = "", width: int = WIDTH) -> list[str]:
    """The text in lines no longer than ``width``, those after the first a little further in."""
    return textwrap.wrap(
        text, width, initial_indent=indent, subsequent_indent=f"{indent}  ", break_on_hyphens=False
    )


def flag_data(flag: MarkedFlag) -> dict[str, Any]:
    """The flag as the command's JSON gives it."""
    return {
        "id": flag.pk,
        "sweep": flag.sweep,
        "rule": flag.rule_code,
        "severity": flag.severity,
        "subject": {"kind": flag.subject_kind, "id": flag.subject_id, "label": flag.subject_label},
        "message": flag.message,
        "value": flag.value,
        "limit": flag.limit,
        "unit": flag.unit,
        "opened_at": flag.opened_at.isoformat(),
        "waived": flag.waived,
        "waived_until": flag.waived_until.isoformat() if flag.waived_until else None,
        "working": flag.working,
    }
