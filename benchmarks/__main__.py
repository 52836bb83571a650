"""All benchmarks with a limit in one table, or one by name: `python -m benchmarks`, `python -m benchmarks fit`."""

from __future__ import annotations

import importlib
import importlib.metadata
import pkgutil
import platform
import sqlite3
import sys
from collections.abc import Iterator

import benchmarks
from benchmarks.lines import Line, print_table

IN_TABLE = ("fit", "rate_model", "imports", "entry", "estimate", "page")
LIBRARIES = ("numpy", "scipy", "pandas", "statsmodels", "sqlite-utils", "typer", "altair")
USAGE = "usage: python -m benchmarks [NAME [options]], NAME one of"


def names() -> list[str]:
    """Modules of this folder that hold a `main`."""
    found = (module.name for module in pkgutil.iter_modules(benchmarks.__path__) if not module.name.startswith("_"))
    return sorted(name for name in found if hasattr(importlib.import_module(f"benchmarks.{name}"), "main"))


def versions() -> str:
    """What was measured with, in one line."""
    libraries = ", ".join(f"{name} {importlib.metadata.version(name)}" for name in LIBRARIES)
    return f"Python {platform.python_version()}, SQLite {sqlite3.sqlite_version}, {libraries}"


def whole() -> Iterator[Line]:
    """Every line of the table, benchmark after benchmark."""
    for name in IN_TABLE:
        yield from importlib.import_module(f"benchmarks.{name}").lines()


def main(words: list[str]) -> int:
    """The table and the chart of growth, or the named benchmark with the remaining words."""
    if not words:
        print(f"{versions()}\n", flush=True)
        measured = print_table(whole())
        importlib.import_module("benchmarks.growth").main([])
        missed = [line.what for line in measured if line.met is False]
        print(f"\n{len(measured)} lines, {len(missed)} missed{': ' if missed else ''}{'; '.join(missed)}")
        return int(bool(missed))
    if words[0] not in names():
        print(f"{USAGE} {', '.join(names())}", file=sys.stderr)
        return 2
    importlib.import_module(f"benchmarks.{words[0]}").main(words[1:])
    return 0


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
