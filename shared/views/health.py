"""Is this process fit to serve? For a supervisor or a load balancer; tells nothing about anyone's data."""

from __future__ import annotations

from django.db import DatabaseError, connection
from django.http import HttpRequest, JsonResponse


def health(request: HttpRequest) -> JsonResponse:
    """200 when the database answers, else 503."""
    try:
        with connection.cursor() as cursor:
            cursor.execute("SELECT 1")
    except DatabaseError:
        return JsonResponse({"status": "database does not answer"}, status=503)
    return JsonResponse({"status": "ok"})
