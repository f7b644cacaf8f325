"""One part as its page shows it: its figures in words, what there is of it, its ledger as a picture."""

from __future__ import annotations

from decimal import Decimal
from itertools import islice
from typing import Any

from django.utils import timezone

from inventory.kinds import KIND_MODELS, OF_ROLE, OWN_FIELDS
from inventory.models import Movement, Part
from inventory.selectors.stock import PartStock, offers_by_part, places_by_part
from inventory.services.quantities import shown
from shared.access import Scope
from shared.fields import label_for
from shared.points import format_points
from shared.web.charts import LedgerChart, LedgerStep

#: Movements a picture shows at most; older ones are on the ledger page.
MOST_STEPS = 200


def typed_part(part: Part) -> Part:
    """The part as its kind, with the figures of that kind."""
    model = KIND_MODELS[part.kind]
    return part if model is Part else model._default_manager.get(pk=part.pk)


def part_figures(part: Part) -> list[tuple[str, str]]:
    """(label with unit, value as text) of the kind's own fields; a figure nobody entered says so."""
    figures = []
    for name in OWN_FIELDS[part.kind]:
        field: Any = part._meta.get_field(name)
        value = getattr(part, name)
        if value is None and name in OF_ROLE and OF_ROLE[name] != getattr(part, "role", ""):
            continue
        figures.append((label_for(field), _as_text(field, value)))
    return figures


def _as_text(field: Any, value: Any) -> str:
    if value is None or value in ("", []):
        return "not stated"
    if isinstance(value, bool):
        return "yes" if value else "no"
    if isinstance(value, float):
        return f"{value:g}"
    if isinstance(value, list):
        return format_points(value)
    return str(dict(field.flatchoices).get(value, value))


def part_stock(scope: Scope, part: Part) -> PartStock:
    """What there is of one part, where, and who sells it."""
    team = [scope.team.pk]
    places = places_by_part(team).get(part.pk, [])
    return PartStock(
        part=part,
        on_hand=sum((p.quantity for p in places), Decimal(0)),
        places=tuple(places),
        offers=tuple(offers_by_part(team).get(part.pk, ())),
    )


def ledger_picture(scope: Scope, part: Part) -> LedgerChart:
    """The part's balance over all bins and spools, worked backwards from what is there now."""
    rows = scope.rows(Movement).filter(part=part).order_by("-at", "-pk").select_related("bin", "spool")
    held = balance = part_stock(scope, part).on_hand
    steps = []
    for line in islice(rows.iterator(), MOST_STEPS):
        place = line.spool.code if line.spool else line.bin.code
        what = f"{line.get_kind_display()} {shown(part, line.quantity)} ({place})"
        steps.append(LedgerStep(timezone.localdate(line.at), balance, what))
        balance -= line.quantity
    steps.reverse()
    return LedgerChart(
        title=f"Stock of {part.code}",
        unit="m" if part.unit == "m" else "pieces",
        steps=steps,
        summary=f"Now {shown(part, held)}." if steps else "",
        minimum=part.minimum_stock or None,
        today=timezone.localdate(),
        decimals="0-1" if part.unit == "m" else 0,
        chart_id=f"ledger-{part.pk}",
    )
