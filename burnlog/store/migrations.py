"""Named steps from an empty file to the present schema; all of them, or none, in one transaction.

A released step is never edited: a change is a new step, and `VERSION` in `schema` goes up with it. The first step
takes its SQL from `burnlog.store.tables`; once it is released, that text is frozen here and later steps alter it.
"""

from __future__ import annotations

import sqlite3
from typing import Any

from burnlog.store.schema import VERSION, statements

__all__ = ["upgrade"]

_TRAIL_OF_STEPS = (
    'CREATE TABLE "_sqlite_migrations" '
    "(id INTEGER PRIMARY KEY, migration_set TEXT NOT NULL, name TEXT NOT NULL, applied_at TEXT NOT NULL) STRICT",
    'CREATE UNIQUE INDEX "idx__sqlite_migrations_migration_set_name" ON "_sqlite_migrations" (migration_set, name)',
    'CREATE TRIGGER "_sqlite_migrations_kept" BEFORE DELETE ON "_sqlite_migrations" '
    "BEGIN SELECT RAISE(ABORT, 'nothing is deleted from a log'); END",
)
"""The library's own table of steps, made beforehand so that it is strict and kept like every other."""


def _steps() -> Any:
    from sqlite_utils.migrations import Migrations

    steps = Migrations("burnlog")

    @steps(name="001_record")
    def record(db: Any) -> None:
        for statement in statements():
            db.conn.execute(statement)

    return steps


def upgrade(connection: sqlite3.Connection, *, stop_before: str | None = None) -> list[str]:
    """Apply every step that the file lacks, all or none.

    Parameters
    ----------
    connection : sqlite3.Connection
        Open for writing, outside a transaction.
    stop_before : str, optional
        Leave this step and those after it out: makes the file of an older program, for tests.

    Returns
    -------
    list of str
        Names of the steps applied.
    """
    from sqlite_utils import Database

    db = Database(connection, execute_plugins=False, recursive_triggers=False)
    steps = _steps()
    with db.atomic():
        if not db["_sqlite_migrations"].exists():
            for statement in _TRAIL_OF_STEPS:
                connection.execute(statement)
        before = {step.name for step in steps.applied(db)}
        steps.apply(db, stop_before=stop_before)
        done = [step.name for step in steps.applied(db) if step.name not in before]
        connection.execute(f"PRAGMA user_version = {VERSION if stop_before is None else len(before) + len(done)}")
    return done
