"""The API's page for people, without the inline style and script of the library's own template."""

from __future__ import annotations

from drf_spectacular.views import SpectacularSwaggerSplitView


class ApiDocsView(SpectacularSwaggerSplitView):
    """The page, and with ?script the few lines that start it: so no exception to the policy is needed."""

    template_name = "shared/api_docs.html"
    title = "Loadstock API"
