"""Two builds side by side: what stands beside each branch of their trees."""

from __future__ import annotations

from builds.studies import ChangeStudy, Kind


def change_notes(found: ChangeStudy) -> tuple[dict[str, str], dict[str, str]]:
    """What to write beside the branches of the tree before and of the tree after, by code."""
    before: dict[str, str] = {}
    after: dict[str, str] = {}
    for change in found.changes:
        if change.kind == Kind.REMOVED:
            before[change.code] = "removed later"
        elif change.kind == Kind.ADDED:
            after[change.code] = "added"
        else:
            after[change.code] = f"changed: {', '.join(field.label for field in change.fields)}"
    return before, after
