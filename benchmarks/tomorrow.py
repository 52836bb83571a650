"""Tomorrow's burnlog: the present one with two more steps of the schema, to try the way from one to the next."""

from __future__ import annotations

import sqlite3
from collections.abc import Iterator
from contextlib import contextmanager
from unittest.mock import patch

from burnlog.store import backup, connection, log, migrations
from burnlog.store.schema import VERSION

__all__ = ["NAMES", "tomorrow"]


def _valves(database: sqlite3.Connection) -> None:
    database.execute("ALTER TABLE bank ADD COLUMN valve_ref TEXT")


def _kerf(database: sqlite3.Connection) -> None:
    """A table beside the cuts, filled from them row by row, as a step that has to think does."""
    database.execute("CREATE TABLE kerf (cut_id TEXT PRIMARY KEY REFERENCES cut (id), width_mm REAL NOT NULL) STRICT")
    for key, thickness in database.execute("SELECT id, thickness_mm FROM cut").fetchall():
        database.execute("INSERT INTO kerf VALUES (?, ?)", (key, thickness or 0.0))


_MORE = (("002_valves", _valves), ("003_kerf", _kerf))
NAMES = tuple(name for name, _ in (*migrations.STEPS, *_MORE))
"""Every step there will be."""


@contextmanager
def tomorrow(steps: int = len(NAMES)) -> Iterator[None]:
    """Within, the program knows so many steps and calls their number its schema."""
    known = (*migrations.STEPS, *_MORE)[:steps]
    number = VERSION - len(migrations.STEPS) + steps
    backup._fresh_schema.cache_clear()
    try:
        with (
            patch.object(migrations, "STEPS", known),
            patch.object(migrations, "VERSION", number),
            patch.object(log, "VERSION", number),
            patch.object(connection, "VERSION", number),
            patch.object(backup, "VERSION", number),
        ):
            yield
    finally:
        backup._fresh_schema.cache_clear()
