"""API of a team that belongs to no app: jobs, workbook, members."""

from __future__ import annotations

from django.urls import URLPattern

urlpatterns: list[URLPattern] = []
