"""The API as it describes itself, and its page without the inline style and script of the library's template."""

from __future__ import annotations

from typing import Any

from drf_spectacular.views import SpectacularSwaggerSplitView

from shared.receipts import HEADER, REPEAT_HEADER

TEAM_PREFIX = "/api/v1/t/"


class ApiDocsView(SpectacularSwaggerSplitView):
    """The page, and with ?script the few lines that start it: so no exception to the policy is needed."""

    template_name = "shared/api_docs.html"
    title = "Loadstock API"


def describe_keys(result: dict[str, Any], **asked: Any) -> dict[str, Any]:
    """Write the Idempotency-Key into the schema of every change of a team's rows (see ``shared.receipts``)."""
    parameter = {
        "in": "header",
        "name": HEADER,
        "required": False,
        # A server may drop quotes and refuses other characters; the pattern says what is sure to be taken.
        "schema": {"type": "string", "pattern": "^[A-Za-z0-9._:-]{16,80}$"},
        "description": "Made at random by the sender for this one entry. Sent again under the same key, it is written "
        f"once and the first answer repeated, with {REPEAT_HEADER}: true. Another entry under a used key: 422. "
        "A refusal uses no key up.",
    }
    for path, operations in result["paths"].items():
        for method in ("post", "put", "patch", "delete"):
            if path.startswith(TEAM_PREFIX) and method in operations:
                operations[method].setdefault("parameters", []).append(parameter)
    return result
