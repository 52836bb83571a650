"""The user's own section list, wherever a command needs it."""

from __future__ import annotations

import json
from typing import TYPE_CHECKING

from burnlog.cli.context import Context

if TYPE_CHECKING:
    from burnlog.physics.sections import Section
    from burnlog.store.log import Log

__all__ = ["own_sections", "sections_at_hand"]


def sections_at_hand(context: Context) -> tuple[Section, ...]:
    """The user's own section list, where there is a log."""
    if not context.db.is_file():
        return ()
    with context.open() as log:
        return own_sections(log)


def own_sections(log: Log) -> tuple[Section, ...]:
    """The section list of a log."""
    from burnlog.physics.sections import Section

    rows = log.rows("SELECT name, detail, source FROM sourced_value WHERE kind = 'section' AND voided_at IS NULL")
    details = [(row, json.loads(row["detail"])) for row in rows]
    return tuple(Section(str(row["name"]), d["kind"], d["dims"], str(row["source"])) for row, d in details)
