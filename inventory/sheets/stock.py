"""Sheets of what lies where. Their figures are counts: a difference becomes a correction in the ledger."""

from __future__ import annotations

from decimal import Decimal
from typing import Any

from inventory.models import Bin, Movement, Offer, Spool, StockItem, Supplier
from inventory.services.ledger import stock_count
from inventory.services.spools import spool_create, spool_move
from inventory.sheets.catalogue import PARTS
from shared.access import Scope
from shared.errors import DomainError
from shared.models import JobRun
from shared.records import record_save
from shared.workbook.declare import col, sheet
from shared.workbook.spec import Kind, Values

IMPORTED = "Counted in an imported workbook"


def _write_stock(*, scope: Scope, instance: StockItem, values: Values, created: bool) -> None:
    stock_count(
        scope=scope,
        part=instance.part,
        bin=instance.bin,
        quantity=_decimal(values["quantity"]),
        reason=IMPORTED,
        trigger=JobRun.Trigger.IMPORT,
    )


def _write_spool(*, scope: Scope, instance: Spool, values: Values, created: bool) -> None:
    trigger = JobRun.Trigger.IMPORT
    if created:
        made = spool_create(
            scope=scope,
            code=instance.code,
            wire=instance.wire,
            bin=instance.bin,
            full_length_m=instance.full_length_m,
            remaining_m=_decimal(values["remaining_m"]) if "remaining_m" in values else None,
            trigger=trigger,
        )
        if instance.archived:
            made.archived = True
            record_save(scope=scope, instance=made, trigger=trigger)
        instance.pk = made.pk
        return
    if "wire" in values:
        raise DomainError(
            f"Spool {instance.code} holds another wire type",
            field="wire",
            remedy="A spool keeps its wire type; give another wire a spool of its own",
        )
    wanted_bin = instance.bin
    if "bin" in values:
        spool_move(scope=scope, spool=instance, to_bin=wanted_bin, reason=IMPORTED, trigger=trigger)
    if "remaining_m" in values:
        _count_spool(scope, instance, _decimal(values["remaining_m"]))
    if values.keys() - {"bin", "remaining_m"}:
        record_save(scope=scope, instance=instance, trigger=trigger)


def _count_spool(scope: Scope, spool: Spool, remaining_m: Decimal) -> None:
    """Count a spool whose full length the same row may raise as well."""
    if remaining_m > Spool.objects.values_list("full_length_m", flat=True).get(pk=spool.pk):
        record_save(scope=scope, instance=spool, trigger=JobRun.Trigger.IMPORT)
    stock_count(
        scope=scope,
        part=spool.wire,
        bin=spool.bin,
        spool=spool,
        quantity=remaining_m,
        reason=IMPORTED,
        trigger=JobRun.Trigger.IMPORT,
    )


def _decimal(value: object) -> Decimal:
    assert isinstance(value, Decimal)
    return value


SUPPLIERS = sheet(
    "Suppliers",
    Supplier,
    key=("name",),
    columns=[
        col("name", explanation="Who sells", example="Harbour Electric"),
        col("contact", explanation="Telephone, mail or page", example="orders@harbour.example"),
        col("notes", explanation="Anything worth knowing", example="Closed in August"),
        col("archived", explanation="No longer bought from", example="no"),
    ],
)

OFFERS = sheet(
    "Offers",
    Offer,
    key=("part", "supplier", "pack_size"),
    columns=[
        col(
            "part",
            reference=PARTS,
            explanation="Code of the part on any of the part sheets",
            example="FUSE-30",
        ),
        col("supplier", reference="Suppliers", explanation="Who sells it", example="Harbour Electric"),
        col("pack_size", required=True, keep_when_blank=False, example="10"),
        col("supplier_code", explanation="What the supplier calls it", example="4711"),
        col("price", example="3.20"),
        col("minimum_packs", explanation="Smallest order, in packs", example="1"),
        col("lead_time_days", unit="days", example="4"),
        col("archived", explanation="The offer no longer stands", example="no"),
    ],
    about="Prices, pack sizes and lead times",
)

BINS = sheet(
    "Bins",
    Bin,
    key=("code",),
    columns=[
        col("code", explanation="As on the label of the bin", example="A1"),
        col("name", explanation="What it is or where it stands", example="Left shelf, top"),
        col("travels", example="no"),
        col("archived", explanation="No longer used", example="no"),
    ],
    about="Storage places",
)

STOCK = sheet(
    "Stock",
    StockItem,
    key=("part", "bin"),
    columns=[
        col(
            "part",
            reference=PARTS,
            explanation="Code of a counted part (wire is on Spools)",
            example="FUSE-30",
        ),
        col("bin", reference="Bins", explanation="Where it lies", example="A1"),
        col(
            "quantity",
            explanation="How many lie there now; a difference is entered as a count correction",
            example="12",
            required=True,
            keep_when_blank=False,
        ),
    ],
    writer=_write_stock,
    about="What lies in which bin",
)

SPOOLS = sheet(
    "Spools",
    Spool,
    key=("code",),
    columns=[
        col("code", example="S07"),
        col("wire", reference="Wire types", explanation="Code of the wire type", example="W12-RED"),
        col("bin", reference="Bins", explanation="Where it lies", example="A1"),
        col("full_length_m", example="30"),
        col(
            "remaining_m",
            heading="Remaining (m)",
            stored=True,
            keep_when_blank=True,
            explanation="What is on it now; empty for a new spool: full. A difference is a count correction",
            example="12.5",
        ),
        col("archived", explanation="Used up or given away", example="no"),
    ],
    writer=_write_spool,
    about="Spools and remnants of wire",
)


def _moved(field: str, **said: Any) -> dict[str, Any]:
    return col(field, explanation="As it was entered", example="", **said)


MOVEMENTS = sheet(
    "Movements",
    Movement,
    key=("at", "part", "bin"),
    order=("at", "pk"),
    repeats=True,
    export_only=True,
    columns=[
        _moved("at", heading="When"),
        _moved("kind"),
        _moved("part", reference=PARTS),
        _moved("bin", reference="Bins"),
        _moved("spool", reference="Spools"),
        _moved("quantity"),
        _moved("balance"),
        _moved("reason"),
        _moved("by", kind=Kind.TEXT, path="by__username"),
    ],
    about="The ledger. It is append-only, so it is not imported: correct the stock with Stock and Spools",
)

STOCK_SHEETS = (SUPPLIERS, OFFERS, BINS, STOCK, SPOOLS, MOVEMENTS)
