"""The specimen page: every component of the design system with example content, for those who build pages."""

from __future__ import annotations

from django.http import HttpRequest, HttpResponse
from django.shortcuts import render

from shared.web.specimen import specimen_context


def specimen(request: HttpRequest) -> HttpResponse:
    """Show all components; reads no data."""
    return render(request, "web/specimen.html", specimen_context())
