"""A bar on stderr for work that takes longer than two seconds; silence where nobody watches a terminal."""

from __future__ import annotations

import sys
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager

__all__ = ["bar"]

PATIENCE_S = 2.0


@contextmanager
def bar(what: str, *, wanted: bool = True) -> Iterator[Callable[[int, int | None], None]]:
    """Hand out a callback of (done, to do or None) that draws a bar once the work has taken two seconds.

    Nothing is drawn where stderr is no terminal or nobody wants it, and the bar is gone when the work is done.
    """
    if not wanted or not sys.stderr.isatty():
        yield lambda done, to_do: None
        return
    from rich.console import Console
    from rich.progress import BarColumn, MofNCompleteColumn, Progress, TextColumn, TimeRemainingColumn

    began = time.monotonic()
    drawn = Progress(
        TextColumn(what),
        BarColumn(),
        MofNCompleteColumn(),
        TimeRemainingColumn(),
        console=Console(stderr=True),
        transient=True,
    )
    task = drawn.add_task(what, total=None)
    shown = False

    def tick(done: int, to_do: int | None) -> None:
        nonlocal shown
        if not shown and time.monotonic() - began > PATIENCE_S:
            drawn.start()
            shown = True
        drawn.update(task, completed=done, total=to_do)

    try:
        yield tick
    finally:
        if shown:
            drawn.stop()
