"""Import in two steps: a plan to look at, then all of it or nothing."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, field

from shared.errors import Conflict
from shared.workbook.headers import headings_of
from shared.workbook.locale import Locale
from shared.workbook.plan import PlanSummary
from shared.workbook.planner import Planner
from shared.workbook.problems import WorkbookRefused
from shared.workbook.raw import RawSheet, normalise
from shared.workbook.spec import Registry
from shared.workbook.store import Store
from shared.workbook.tables import SourceFile, read_tables


@dataclass
class ImportPlan(PlanSummary):
    """A preview that can be applied. Nothing has been changed by making it."""

    planner: Planner | None = field(default=None, repr=False)
    tables: Sequence[RawSheet] = field(default=(), repr=False)
    make_store: Callable[[], Store] | None = field(default=None, repr=False)


def make_plan(
    source: SourceFile, registry: Registry, make_store: Callable[[], Store], locale: Locale
) -> ImportPlan:
    """Read the file and compare it with what is on record; ``WorkbookRefused`` when it is no workbook."""
    headings = {normalise(spec.name): headings_of(spec) for spec in registry.specs}
    tables = read_tables(source, headings)
    planner = Planner(registry, make_store(), locale)
    summary = planner.run(tables, source.name)
    return ImportPlan(**vars(summary), planner=planner, tables=tables, make_store=make_store)


def apply_made_plan(plan: ImportPlan, *, fingerprint: str | None = None) -> PlanSummary:
    """Do what the plan says in one transaction, unless the rows it was compared with have changed since.

    ``fingerprint`` is that of the preview a person agreed to, when it was made in an earlier request.
    """
    if not plan.ok:
        raise WorkbookRefused(
            f"Errors in the file: {plan.error_count}. Nothing was changed",
            remedy="Mend them in the file and import it again",
        )
    assert plan.planner is not None
    assert plan.make_store is not None
    before = plan.planner
    store = plan.make_store()
    with store.transaction():
        planner = Planner(before.registry, store, before.locale)
        summary = planner.run(plan.tables, plan.file_name)
        if summary.fingerprint != (fingerprint or plan.fingerprint) or not summary.ok:
            raise Conflict(
                "The data changed since the preview; nothing was imported", remedy="Look at the new preview"
            )
        for spec in planner.registry.specs:
            drafts = [draft for draft in planner.drafts.get(spec.name, []) if draft.to_save]
            if drafts:
                store.save(spec, drafts)
    return summary
