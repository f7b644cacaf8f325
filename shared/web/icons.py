# ruff: noqa: E501 -- a drawing stays on one line
"""The drawn icons and severity shapes: our own, on a 24 unit square, one line weight, round ends, currentColor.

Every drawing is SVG markup written here by hand and holds no input, so it is safe by construction; the label that
callers add is escaped by `icon_svg`.
"""

from __future__ import annotations

from django.utils.html import format_html
from django.utils.safestring import SafeString, mark_safe

ICONS: dict[str, str] = {
    # things on the bench
    "battery": '<path d="M3 8.5h18V20H3zM6 8.5V5.5h3v3M15 8.5V5.5h3v3M6.5 13h4M8.5 11v4M14 13h4"/>',
    "spool": (
        '<path d="M5 4h14M5 20h14M8 4v16M16 4v16"/><path d="M8 8.2l8-1.4M8 11.2l8-1.4M8 14.2l8-1.4M8 17.2l8-1.4"/>'
        '<path d="M16 17c3 0 4 1 5.5 -1.5"/>'
    ),
    "terminal": '<circle cx="6.5" cy="12" r="4"/><circle cx="6.5" cy="12" r="1.5"/><path d="M10.3 10.7H14v-1.2h7v5h-7v-1.2h-3.7M16.5 9.5v5M18.8 9.5v5"/>',
    "fuse": '<path d="M4 10.5h3v-6h10v6h3v3.5h-2.5V20h-3v-6h-5v6h-3v-6H4z"/><path d="M9 10.5c1-3 2-3 3-1.5s2 1.5 3-1.5"/>',
    "robot": '<path d="M3 13.5h18V18H3zM6 13.5V9h7v4.5M13 10.5l5-5M18 5.5h2.5M18 5.5V8"/><circle cx="7" cy="19.5" r="1.8"/><circle cx="17" cy="19.5" r="1.8"/>',
    "flag": '<path d="M5.5 21V3.5M5.5 4.5c4-2 6 2 13 0l-2.5 4.5 2.5 4.5c-7 2-9-2-13 0"/>',
    "event": '<path d="M3.5 6h17v14.5h-17zM3.5 10h17M8 3.5V8M16 3.5V8"/><path d="M13 17.5h4.5V14H13z"/>',
    "bin": '<path d="M3.5 8h17l-1.5 12H5zM3.5 8l2.5-4h12l2.5 4M9 12.5h6"/>',
    "reading": '<path d="M3.5 17a8.5 8.5 0 0 1 17 0zM12 17l4-6.5"/><path d="M6 12.5l1.3.8M12 8.5V10M18 12.5l-.8.5M8.5 20h7"/>',
    "home": '<path d="M3.5 11.5L12 4l8.5 7.5M6 10v10h12V10M10 20v-5.5h4V20"/>',
    "job": '<circle cx="12" cy="12" r="8.5"/><path d="M12 7v5l3.5 2.5M12 3.5V5M20.5 12H19M12 20.5V19M3.5 12H5"/>',
    "import": '<path d="M4 14v6h16v-6M12 3.5V15M7.5 10.5L12 15l4.5-4.5"/>',
    "export": '<path d="M4 14v6h16v-6M12 15V3.5M7.5 8L12 3.5 16.5 8"/>',
    "exchange": '<path d="M3.5 8.5h15M15 5l3.5 3.5L15 12M20.5 15.5h-15M9 12l-3.5 3.5L9 19"/>',
    "methods": '<path d="M4 4.5h6.5L12 6l1.5-1.5H20V19h-6.5L12 20.5 10.5 19H4zM12 6v14.5"/><path d="M6.5 9h3M6.5 12h3M14.5 9h3M14.5 12h3"/>',
    "print": '<path d="M7 9V3.5h10V9M7 17H3.5V9h17v8H17"/><path d="M7 14h10v6.5H7z"/>',
    "search": '<circle cx="10.5" cy="10.5" r="6"/><path d="M15 15l5.5 5.5"/>',
    "scan": '<path d="M3.5 8V4.5H8M16 4.5h4.5V8M20.5 16v3.5H16M8 19.5H3.5V16M7.5 8.5v7M10.5 8.5v7M13 8.5v7M16.5 8.5v7"/>',
    "stopwatch": '<circle cx="12" cy="13.5" r="7.5"/><path d="M12 13.5V9M9.5 3h5M12 3v3M17.8 7.7l1.4-1.4"/>',
    "plus": '<path d="M12 4.5v15M4.5 12h15"/>',
    "minus": '<path d="M4.5 12h15"/>',
    "check": '<path d="M4.5 13l5 5L19.5 6.5"/>',
    "warn": '<path d="M12 4L2.5 20h19zM12 10v5M12 17.3v.4"/>',
    "menu": '<path d="M4 7h16M4 12h16M4 17h10"/>',
    "circuit": '<path d="M2.5 12H7M17 12h4.5M7 8.5h10v7H7zM7 15.5l10-7"/>',
    "people": '<circle cx="9" cy="8" r="3.5"/><path d="M3 20c0-5 2.5-7 6-7s6 2 6 7M15 5c3 0 4 5 .8 6.3M17.5 13.5c2.5.8 3.5 3 3.5 6.5"/>',
    "arrow": '<path d="M4 12h16M14 6l6 6-6 6"/>',
    "edit": '<path d="M4 20l1-4.5L16 4.5l3.5 3.5L8.5 19zM13.5 7l3.5 3.5"/>',
    "history": '<path d="M4 12a8 8 0 1 0 2.5-5.8L4 8.5M4 4v4.5h4.5M12 8v4.5l3 2"/>',
    "crimp": '<path d="M2.5 9.5h9l3 2.5-3 2.5h-9M14.5 12h7M6 9.5v5M9 9.5v5"/>',
}

# Which icon stands for a key of the main navigation.
NAV_ICONS: dict[str, str] = {
    "home": "home",
    "flags": "flag",
    "batteries": "battery",
    "robots": "robot",
    "stores": "bin",
    "events": "event",
    "pit": "stopwatch",
    "exchange": "exchange",
    "import": "exchange",
    "import-export": "exchange",
    "import_export": "exchange",
    "methods": "methods",
    "jobs": "job",
}

SEVERITY_WORDS: dict[str, str] = {
    "stop": "Stop",
    "fix": "Fix",
    "watch": "Watch",
    "unknown": "Cannot judge",
    "ok": "In order",
}

# On a 16 unit square. Five outlines that stay apart in grey, small, and for the colour-blind.
SEVERITY_SHAPES: dict[str, str] = {
    "stop": (
        '<path d="M5 .8h6L15.2 5v6L11 15.2H5L.8 11V5z" fill="currentColor"/>'
        '<path class="sev-cut" d="M4.8 8h6.4" stroke-width="2.4"/>'
    ),
    "fix": '<path d="M8 1.5L15 14.2H1z"/><path d="M8 6v4M8 11.7v.5"/>',
    "watch": '<circle cx="8" cy="8" r="6.6"/><path d="M8 1.4a6.6 6.6 0 0 1 0 13.2z" fill="currentColor" stroke="none"/>',
    "unknown": (
        '<circle cx="8" cy="8" r="6.7" stroke-dasharray="2.6 1.6"/>'
        '<path d="M5.9 6.3c.2-2.6 4.4-2.5 4.3 0 0 1.6-2.2 1.5-2.2 3.2M8 11.6v.4"/>'
    ),
    "ok": '<path d="M2 8.7l4 4.3L14 3.5"/>',
}


def icon_svg(name: str, *, label: str = "", size: int = 20) -> SafeString:
    """Return one drawn icon as inline SVG, hidden from screen readers unless it carries a label.

    Raises KeyError with the known names when the icon does not exist, so that a typing slip fails in a test.
    """
    if name not in ICONS:
        raise KeyError(f"no icon {name!r}; known: {', '.join(sorted(ICONS))}")
    drawing = mark_safe(ICONS[name])  # noqa: S308 -- a literal of this file
    if label:
        return format_html(
            '<svg class="icon" viewBox="0 0 24 24" width="{}" height="{}" role="img"><title>{}</title>{}</svg>',
            size,
            size,
            label,
            drawing,
        )
    return format_html(
        '<svg class="icon" viewBox="0 0 24 24" width="{}" height="{}" aria-hidden="true">{}</svg>',
        size,
        size,
        drawing,
    )


def severity_shape(severity: str, *, size: int = 16) -> SafeString:
    """Return the shape of a severity alone, hidden from screen readers: always print the word beside it."""
    shape = SEVERITY_SHAPES.get(severity, SEVERITY_SHAPES["unknown"])
    return format_html(
        '<svg class="sev-shape" viewBox="0 0 16 16" width="{}" height="{}" aria-hidden="true">{}</svg>',
        size,
        size,
        mark_safe(shape),  # noqa: S308 -- a literal of this file
    )


def severity_mark(severity: str, note: str = "", *, size: int = 16) -> SafeString:
    """Return shape and word of a severity, and a quiet note after it; one nobody knows cannot be judged."""
    key = severity if severity in SEVERITY_WORDS else "unknown"
    return state_mark(key, SEVERITY_WORDS[key], note, size=size)


def state_mark(severity: str, word: str, note: str = "", *, size: int = 16) -> SafeString:
    """Return a word of the page's own with the shape and colour of a severity, and a quiet note after it."""
    tail = format_html(' <span class="sev__note">{}</span>', note) if note else ""
    return format_html(
        '<span class="sev sev--{}">{}<span class="sev__word">{}</span>{}</span>',
        severity,
        severity_shape(severity, size=size),
        word,
        tail,
    )
