"""One page size policy for every list of the API."""

from __future__ import annotations

from rest_framework.pagination import PageNumberPagination


class CappedPagination(PageNumberPagination):
    """100 rows a page; a caller may ask for up to 500, never for everything at once."""

    page_size = 100
    page_size_query_param = "page_size"
    max_page_size = 500
