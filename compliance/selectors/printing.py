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
    yield from _wrap(head, "", width)
    yield from _wrap(flag.message, "  ", width)
    yield from working_lines(flag.working, width)


def working_lines(working: Mapping[str, Any], width: int = WIDTH) -> Iterator[str]:
    """Each step with its formula, numbers and result; the limit; what follows; the source."""
    for step in working.get("steps") or ():
        yield from _wrap(_step(step), _INDENT, width)
    if limit := working.get("limit"):
        yield from _wrap(f"Limit: {_told(limit)}", _INDENT, width)
    for name in ("conclusion", "source", "status"):
        if working.get(name):
            yield from _wrap(f"{name.capitalize()}: {_told(working[name])}", _INDENT, width)


def _step(step: Mapping[str, Any]) -> str:
    """label: formula = numbers = result unit, leaving out what is not said."""
    result = f"{_told(step.get('result', ''))} {step.get('unit', '')}".strip()
    parts = [_told(step[name]) for name in ("formula", "numbers") if step.get(name)]
    return f"{step.get('label', '')}: {' = '.join([*parts, result])}"


def _told(value: Any) -> str:
    if isinstance(value, float):
        return f"{value:.4g}"
    if isinstance(value, Mapping):
        return ", ".join(f"{name} {_told(item)}" for name, item in value.items() if item not in (None, ""))
    return str(value)


def _wrap(text: str, indent: str, width: int) -> list[str]:
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
