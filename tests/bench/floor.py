"""The floor of a sweep: the same columns of the same rows read, and as many flag rows written, with nothing judged.

Read by a raw cursor, written by what the database does fastest: no model, no conversion, no history, and no
collection of garbage in between, which the sweeps do without as well.
"""

from __future__ import annotations

from typing import Any

from django.db import connection, transaction
from django.db.models import Model

from builds.electrical import _BUILD, _CIRCUIT
from builds.models import Build, Circuit, Event
from compliance.models import Flag
from inventory.models import Battery, Charge, Offer, Part, Reading, StockItem
from shared.columns import without_collection

#: What the sweeps read of the large tables; catalogue and packs are a few rows a team and left out.
READ: dict[type[Model], tuple[str, ...]] = {
    Circuit: (*_CIRCUIT, "role"),
    Build: tuple(name for name in _BUILD if "__" not in name),
    Battery: ("id", "team_id", "code", "state", "acquired_on", "in_service_on", "cycles_at_intake", "model_id"),
    Reading: (
        "battery_id", "taken_at", "resistance_mohm", "method", "instrument", "rest_v", "rest_h",
        "temperature_c", "charge_frac",
    ),
    Charge: ("battery_id", "ended_at"),
    Part: ("id", "team_id", "code", "kind", "unit", "minimum_stock", "service_frac"),
    StockItem: ("part_id", "bin_id", "quantity"),
    Offer: ("part_id", "supplier_id", "price", "pack_size", "minimum_packs", "lead_time_days"),
    Event: ("id", "team_id", "starts_on", "goods_by", "matches_planned"),
}  # fmt: skip

_COLUMNS = [f.column for f in Flag._meta.concrete_fields if not f.primary_key]


def read_all() -> int:
    """Fetch every row; returns how many there were."""
    rows = 0
    for model, names in READ.items():
        known = {field.attname: field.column for field in model._meta.concrete_fields}
        columns = ", ".join(f'"{known[name]}"' for name in names)
        with connection.cursor() as cursor, without_collection():
            cursor.execute(f'SELECT {columns} FROM "{model._meta.db_table}"')
            rows += len(cursor.fetchall())
    return rows


def flag_rows() -> list[tuple[Any, ...]]:
    """The flags on record as bare rows, to be written again by ``write_flags``."""
    with connection.cursor() as cursor:
        working = ', "working"::text' if connection.vendor == "postgresql" else ', "working"'
        others = [f'"{name}"' for name in _COLUMNS if name != "working"]
        cursor.execute(f'SELECT {", ".join(others)}{working} FROM "{Flag._meta.db_table}"')
        return list(cursor.fetchall())


def write_flags(rows: list[tuple[Any, ...]]) -> None:
    """Write the rows in one transaction."""
    names = ", ".join(f'"{name}"' for name in [*(n for n in _COLUMNS if n != "working"), "working"])
    table = Flag._meta.db_table
    with transaction.atomic(), connection.cursor() as cursor, without_collection():
        if connection.vendor == "postgresql":
            with cursor.copy(f'COPY "{table}" ({names}) FROM STDIN') as copy:
                for row in rows:
                    copy.write_row(row)
        else:
            marks = ", ".join("?" * len(_COLUMNS))
            connection.connection.executemany(f'INSERT INTO "{table}" ({names}) VALUES ({marks})', rows)
