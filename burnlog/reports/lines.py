"""Lines of the terminal: 79 columns, ASCII. It stands apart so that `length` waits for no library of statistics."""

from __future__ import annotations

import textwrap
from collections.abc import Iterable

__all__ = ["WIDTH", "ascii_text", "wrapped"]

WIDTH = 79


def wrapped(text: str, indent: str = "", *, after: str | None = None) -> list[str]:
    """The text in lines of at most 79 columns, a blank one for none.

    Parameters
    ----------
    text : str
    indent : str
        Before the first line.
    after : str, optional
        Before the others; two columns more than the first without it.

    Examples
    --------
    >>> wrapped("", "  "), wrapped("no rod count", "  ")
    ([''], ['  no rod count'])
    """
    return textwrap.wrap(
        text, WIDTH, initial_indent=indent, subsequent_indent=indent + "  " if after is None else after
    ) or [indent.rstrip()]


def ascii_text(lines: Iterable[str]) -> str:
    """The lines as one text: a character the terminal may not have, or may obey, becomes `?`.

    Examples
    --------
    >>> ascii_text(["Ni\\u00f1o\\x1b[2J  ", "7 rods"])
    'Ni?o?[2J\\n7 rods'
    """
    return "\n".join("".join(c if " " <= c <= "~" else "?" for c in line).rstrip() for line in lines)
