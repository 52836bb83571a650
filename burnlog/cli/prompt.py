"""Fields asked one after the other at a plain terminal: no colours, no cursor keys, nothing but lines.

Enter leaves a field unrecorded, `.` repeats the one above, `<` goes back, `q` or the end of the input stops. A field
met again shows what was typed in brackets; Enter then keeps it and `-` clears it.
"""

from __future__ import annotations

import sys
import textwrap
from collections.abc import Callable, MutableMapping, Sequence

from burnlog.cli.context import put

__all__ = ["KEYS", "Check", "ask_all", "ask_line", "put_indented"]

KEYS = "Enter = not recorded, . = as above, < = back one field, q = stop"
Check = Callable[[str, str], tuple[str, str]]
"""Name and text -> (what was understood, why it cannot be read); one of the two is empty."""


def put_indented(text: str) -> None:
    """Write under a prompt what is to be said of its answer, no wider than a small terminal."""
    put(textwrap.fill(text, 79, initial_indent="  ", subsequent_indent="  ", break_on_hyphens=False) + "\n")


def ask_line(prompt: str) -> str | None:
    """One line as typed; None at the end of the input."""
    while True:
        put(prompt)
        raw = sys.stdin.buffer.readline()
        if not raw:
            put("\n")
            return None
        try:
            return raw.decode(sys.stdin.encoding or "utf-8").strip()
        except UnicodeDecodeError:
            put("  that line is not text in this terminal's encoding; type it again\n")


def ask_all(
    names: Sequence[str],
    values: MutableMapping[str, str],
    *,
    label: Callable[[str], str],
    check: Check,
    above: Callable[[str], str | None],
    asked: Callable[[str], bool] = lambda name: True,
) -> bool:
    """Ask every field in turn, a bad one again with the reason; False where the person stopped.

    Parameters
    ----------
    names : sequence of str
        Fields in order.
    values : mutable mapping
        Field -> text; filled here.
    label : Callable
        What stands before the colon.
    check : Callable
        Reads a field.
    above : Callable
        The text of a field in the row above; None where there is no row.
    asked : Callable
        Whether a field is asked at all, with what has been typed so far.
    """
    place = 0
    while place < len(names):
        name = names[place]
        if not asked(name):
            values.pop(name, None)
            place += 1
            continue
        there = values.get(name, "")
        text = ask_line(f"{label(name)}{f' [{there}]' if there else ''}: ")
        if text is None or text.lower() == "q":
            return False
        if text == "<":
            place = _before(names, place, asked)
            if values.get(names[place]):
                put("  Enter keeps what stands in brackets, - clears it\n")
            continue
        if text == ".":
            repeated = above(name)
            if repeated is None:
                put("  there is nothing above to repeat\n")
                continue
            text = repeated
            put(f"  = {text or 'not recorded'}\n")
        elif text == "":
            text = there
        understood, why = check(name, text)
        if why:
            put_indented(why)
            continue
        if understood and understood != text:
            put(f"  = {understood}\n")
        if text:
            values[name] = text
        else:
            values.pop(name, None)
        place += 1
    return True


def _before(names: Sequence[str], place: int, asked: Callable[[str], bool]) -> int:
    for earlier in range(place - 1, -1, -1):
        if asked(names[earlier]):
            return earlier
    put("  this is the first field\n")
    return place
