"""The user's own section list, wherever a command needs it."""

from __future__ import annotations

from typing import TYPE_CHECKING

from burnlog.cli.context import Context
from burnlog.library.bids import own_sections

if TYPE_CHECKING:
    from burnlog.physics.sections import Section

__all__ = ["sections_at_hand"]


def sections_at_hand(context: Context) -> tuple[Section, ...]:
    """The user's own section list, where there is a log."""
    if not context.db.is_file():
        return ()
    with context.open() as log:
        return own_sections(log)
