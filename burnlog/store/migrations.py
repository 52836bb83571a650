"""Named steps from an empty file to the present schema; all of them, or none, in one transaction.

A released step is never edited: a change is a new step, and `VERSION` in `schema` goes up with it. The first step
takes its SQL from `burnlog.store.tables`; once it is released, that text is frozen here and later steps alter it.
"""

from __future__ import annotations

import sqlite3
from collections.abc import Callable
from typing import Any

from burnlog.store.schema import VERSION, statements

__all__ = ["STEPS", "build", "upgrade"]

_TRAIL_OF_STEPS = (
    'CREATE TABLE "_sqlite_migrations" '
    "(id INTEGER PRIMARY KEY, migration_set TEXT NOT NULL, name TEXT NOT NULL, applied_at TEXT NOT NULL) STRICT",
    'CREATE UNIQUE INDEX "idx__sqlite_migrations_migration_set_name" ON "_sqlite_migrations" (migration_set, name)',
    'CREATE TRIGGER "_sqlite_migrations_kept" BEFORE DELETE ON "_sqlite_migrations" '
    "BEGIN SELECT RAISE(ABORT, 'nothing is deleted from a log'); END",
)
"""The library's own table of steps, made beforehand so that it is strict and kept like every other."""


def _record(connection: sqlite3.Connection) -> None:
    for statement in statements():
        connection.execute(statement)


STEPS: tuple[tuple[str, Callable[[sqlite3.Connection], None]], ...] = (("001_record", _record),)
"""Every step in order; `VERSION` is their number."""


def build(connection: sqlite3.Connection) -> None:
    """The present schema in an empty database, step by step, as every file has come to it; without the books."""
    for _, step in STEPS:
        step(connection)


def upgrade(connection: sqlite3.Connection, *, stop_before: str | None = None) -> list[str]:
    """Apply every step that the file lacks, all or none, holding the write lock from before the first look.

    Parameters
    ----------
    connection : sqlite3.Connection
        Open for writing, outside a transaction.
    stop_before : str, optional
        Leave this step and those after it out: makes the file of an older program, for tests.

    Returns
    -------
    list of str
        Names of the steps applied; empty where another process applied them meanwhile.
    """
    from sqlite_utils import Database
    from sqlite_utils.migrations import Migrations

    db = Database(connection, execute_plugins=False, recursive_triggers=False)
    steps = Migrations("burnlog")
    for name, step in STEPS:
        steps(name=name)(_on_connection(step))
    connection.execute("BEGIN IMMEDIATE")
    try:
        if not db["_sqlite_migrations"].exists():
            for statement in _TRAIL_OF_STEPS:
                connection.execute(statement)
        before = {step.name for step in steps.applied(db)}
        steps.apply(db, stop_before=stop_before)
        done = [step.name for step in steps.applied(db) if step.name not in before]
        connection.execute(f"PRAGMA user_version = {VERSION if stop_before is None else len(before) + len(done)}")
        connection.execute("COMMIT")
    except BaseException:
        if connection.in_transaction:
            connection.execute("ROLLBACK")
        raise
    return done


def _on_connection(step: Callable[[sqlite3.Connection], None]) -> Callable[[Any], None]:
    return lambda db: step(db.conn)
