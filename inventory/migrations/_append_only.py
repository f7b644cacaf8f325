"""The triggers that make the ledger append-only for whoever goes round the models.

SQLite rebuilds a table to alter it and drops its triggers with it, so a later migration that alters the movement
table must run ``install`` again after it (a test finds out if it does not).
"""

from __future__ import annotations

from django.apps.registry import Apps
from django.db.backends.base.schema import BaseDatabaseSchemaEditor

TABLE = "inventory_movement"
SAYS = "The ledger is append-only: post a new line that corrects it"

# Only the author may be blanked, which happens when a person's account is deleted.
_FIXED = (
    "id, created_at, updated_at, team_id, kind, part_id, bin_id, spool_id, quantity, balance, reason, at,"
    ' request_id, "group"'
)

# DELETE is left open on SQLite: there the test runner empties tables with it, and the models already refuse it.
_SQLITE = [
    f"CREATE TRIGGER movement_no_update BEFORE UPDATE OF {_FIXED} ON {TABLE} "
    f"BEGIN SELECT RAISE(ABORT, '{SAYS}'); END",
    f"CREATE TRIGGER movement_author BEFORE UPDATE OF by_id ON {TABLE} WHEN NEW.by_id IS NOT NULL "
    f"BEGIN SELECT RAISE(ABORT, '{SAYS}'); END",
]
_POSTGRESQL = [
    f"CREATE OR REPLACE FUNCTION movement_append_only() RETURNS trigger LANGUAGE plpgsql AS "
    f"$$ BEGIN RAISE EXCEPTION '{SAYS}' USING ERRCODE = 'restrict_violation'; END $$",
    f"CREATE TRIGGER movement_no_update BEFORE UPDATE OF {_FIXED} ON {TABLE} "
    "FOR EACH ROW EXECUTE FUNCTION movement_append_only()",
    f"CREATE TRIGGER movement_author BEFORE UPDATE OF by_id ON {TABLE} "
    "FOR EACH ROW WHEN (NEW.by_id IS NOT NULL) EXECUTE FUNCTION movement_append_only()",
    f"CREATE TRIGGER movement_no_delete BEFORE DELETE ON {TABLE} "
    "FOR EACH ROW EXECUTE FUNCTION movement_append_only()",
]


def install(apps: Apps, schema_editor: BaseDatabaseSchemaEditor) -> None:
    """Create the triggers anew."""
    remove(apps, schema_editor)
    for statement in _POSTGRESQL if schema_editor.connection.vendor == "postgresql" else _SQLITE:
        _run(schema_editor, statement)


def remove(apps: Apps, schema_editor: BaseDatabaseSchemaEditor) -> None:
    """Drop the triggers."""
    postgresql = schema_editor.connection.vendor == "postgresql"
    for name in ("movement_no_update", "movement_author", "movement_no_delete"):
        _run(schema_editor, f"DROP TRIGGER IF EXISTS {name}" + (f" ON {TABLE}" if postgresql else ""))


def _run(schema_editor: BaseDatabaseSchemaEditor, statement: str) -> None:
    with schema_editor.connection.cursor() as cursor:
        cursor.execute(statement)
