"""The next size up for each circuit of a build, and the same circuits rewired with it."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from decimal import Decimal
from typing import Any

import numpy as np

from builds.electrical import CircuitColumns, Lookup
from inventory.selectors.wires import WireChoice
from shared.columns import Table
from shared.electrical.gauges import format_size
from shared.electrical.sizing import trade_area_mm2

#: A wire is thicker from this much more copper on; the same size differs by a few hundredths between standards.
THICKER = 1.06
#: Up to this much more copper counts as one size up: two trade gauges (common practice, no source).
ONE_SIZE = 2.7


@dataclass(frozen=True)
class NextWire:
    """What a circuit could be rewired with; without ``wire_id`` it is a trade size the catalogue does not hold."""

    wire_id: int | None
    code: str
    size: str
    area_mm2: float
    insulation_class_c: float
    resistance_mohm_per_m: float | None
    strands: int | None
    price_per_m: Decimal | None
    supplier: str


def next_wire(choices: Sequence[WireChoice], area_mm2: float, class_c: float) -> NextWire | None:
    """The next larger wire of at least this class: one with an offer, else of the catalogue, else a trade size."""
    larger = [
        w for w in choices
        if w.area_mm2 >= area_mm2 * THICKER and w.insulation_class_c >= class_c and w.area_mm2 <= area_mm2 * ONE_SIZE
    ]  # fmt: skip
    for wanted in ([w for w in larger if w.price_per_m is not None], larger):
        if wanted:
            return _of_catalogue(min(wanted, key=lambda w: (w.area_mm2, w.price_per_m or 0, w.code)))
    area = float(trade_area_mm2(area_mm2 * THICKER))
    if not np.isfinite(area):
        return None
    return NextWire(None, "", format_size(area), area, class_c, None, None, None, "")


def _of_catalogue(w: WireChoice) -> NextWire:
    return NextWire(
        wire_id=w.wire_id,
        code=w.code,
        size=w.size_typed,
        area_mm2=w.area_mm2,
        insulation_class_c=w.insulation_class_c,
        resistance_mohm_per_m=w.resistance_mohm_per_m,
        strands=w.strands,
        price_per_m=w.price_per_m,
        supplier=w.supplier,
    )


def rewired(rows: CircuitColumns, new: Sequence[NextWire | None]) -> CircuitColumns:
    """The same circuits with another wire each; None leaves a circuit as it is."""
    old = rows.wires
    row = old.row.copy()
    columns: dict[str, list[Any]] = {name: list(values) for name, values in old.table.raw.items()}
    for i, wire in enumerate(new):
        if wire is None:
            continue
        row[i] = len(columns["id"])
        for name, value in _as_columns(wire).items():
            columns[name].append(value)
    return replace(rows, wires=Lookup(Table(dict(columns), len(columns["id"])), row))


def _as_columns(wire: NextWire) -> dict[str, object]:
    return {
        "id": wire.wire_id or 0,
        "code": wire.code,
        "size_typed": wire.size,
        "area_mm2": wire.area_mm2,
        "insulation_class_c": wire.insulation_class_c,
        "resistance_mohm_per_m": wire.resistance_mohm_per_m,
        "strands": wire.strands,
    }
