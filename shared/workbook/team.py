"""The workbook of a team: plan an import, apply it, export, and the empty template."""

from __future__ import annotations

from functools import lru_cache, partial
from pathlib import Path

from django.conf import settings
from django.utils.module_loading import import_string

from shared.access import Can, Scope
from shared.schedule import WORKBOOK_SHEETS
from shared.workbook.declare import registry_from
from shared.workbook.django_store import DjangoStore
from shared.workbook.exporter import XLSX, export_book, template_book
from shared.workbook.locale import Locale
from shared.workbook.plan import PlanSummary
from shared.workbook.service import ImportPlan, apply_made_plan, make_plan
from shared.workbook.spec import Registry
from shared.workbook.tables import SourceFile, Upload


@lru_cache(maxsize=1)
def team_registry() -> Registry:
    """The sheets that the apps declare, named as strings in ``shared.schedule``."""
    return registry_from([import_string(path) for path in WORKBOOK_SHEETS])


def default_locale() -> Locale:
    """What a file means that has no Settings sheet."""
    return Locale(time_zone=settings.TIME_ZONE)


def plan_import(
    *, scope: Scope, source: SourceFile | Path | Upload, registry: Registry | None = None
) -> ImportPlan:
    """What importing the file would do. Changes nothing; ``WorkbookRefused`` when it is no workbook."""
    scope.require(Can.SUPPLY)
    taken = SourceFile.take(source)
    return make_plan(taken, registry or team_registry(), partial(DjangoStore, scope), default_locale())


def apply_plan(*, scope: Scope, plan: ImportPlan, fingerprint: str | None = None) -> PlanSummary:
    """Do all of it or nothing. ``fingerprint`` is that of the preview agreed to in an earlier request."""
    scope.require(Can.SUPPLY)
    return apply_made_plan(plan, fingerprint=fingerprint)


def export_workbook(*, scope: Scope, form: str = XLSX, registry: Registry | None = None) -> bytes:
    """The team's whole state as a file that imports to the same state; ``form`` is xlsx or csv (a zip)."""
    scope.require(Can.READ)
    return export_book(registry or team_registry(), DjangoStore(scope), default_locale(), form)


def template_workbook(*, form: str = XLSX, registry: Registry | None = None) -> bytes:
    """The same sheets without rows, each column explained."""
    return template_book(registry or team_registry(), default_locale(), form)
