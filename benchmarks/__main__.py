"""Run one benchmark by name: `python -m benchmarks fit`."""

from __future__ import annotations

import importlib
import pkgutil
import sys

import benchmarks


def names() -> list[str]:
    """Modules of this folder that hold a `main`."""
    found = (module.name for module in pkgutil.iter_modules(benchmarks.__path__) if not module.name.startswith("_"))
    return sorted(name for name in found if hasattr(importlib.import_module(f"benchmarks.{name}"), "main"))


def main(words: list[str]) -> int:
    """Call the named benchmark with the remaining words."""
    if not words or words[0] not in names():
        print(f"usage: python -m benchmarks {{{'|'.join(names())}}} [options]", file=sys.stderr)
        return 2
    importlib.import_module(f"benchmarks.{words[0]}").main(words[1:])
    return 0


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
